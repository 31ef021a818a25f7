"""Where are the notebooks, what can be set in them, and how does one become a page?

A notebook runs in this very process, from top to bottom, with its parameters checked by name
first: papermill puts them in, and an engine of ours runs the cells. It comes out as one
self-contained HTML file without its code.
"""

from __future__ import annotations

import ast
import io
import json
import tokenize
from collections.abc import Mapping
from contextlib import redirect_stdout
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from anthroqa.files import read_record, whole_folder, write

_PACKAGE = Path(__file__).resolve().parents[2]
_TEMPLATES = Path(__file__).resolve().parent / "template"
_ENGINE = "in_process"


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One line of a notebook's parameters cell."""

    name: str
    type: str
    default: Any
    help: str


def notebook_path(name: str) -> Path:
    """The file of a notebook: in the installed package, or in a checkout beside it."""
    for folder in (_PACKAGE / "notebooks", _PACKAGE.parent / "notebooks"):
        path = folder / f"{name}.ipynb"
        if path.is_file():
            return path
    raise FileNotFoundError(f"the notebook {name!r} is not part of this installation")


def parameters(name: str) -> list[Parameter]:
    """What can be set in a notebook, from the annotated lines of its parameters cell."""
    cells = json.loads(notebook_path(name).read_text(encoding="utf-8"))["cells"]
    tagged = [c for c in cells if "parameters" in c["metadata"].get("tags", [])]
    source = "".join(tagged[0]["source"])
    comments = {
        token.start[0]: token.string.lstrip("# ")
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type == tokenize.COMMENT
    }
    return [
        Parameter(
            name=line.target.id,
            type=ast.unparse(line.annotation),
            default=ast.literal_eval(line.value),
            help=comments.get(line.lineno, ""),
        )
        for line in ast.parse(source).body
        if isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name) and line.value
    ]


def run(name: str, values: Mapping[str, Any]) -> Any:
    """Run a notebook from top to bottom and give it back with its outputs.

    Raises
    ------
    ValueError
        If a parameter is not one of the notebook's, before anything runs.
    Exception
        Whatever a cell raises, as it is.
    """
    known = [p.name for p in parameters(name)]
    unknown = sorted(set(values) - set(known))
    if unknown:
        raise ValueError(
            f"the notebook {name!r} has no parameter {', '.join(unknown)}; "
            f"it has {', '.join(known)}"
        )
    return execute(notebook_path(name), values)


def write_page(name: str, values: Mapping[str, Any], draft: Path) -> dict[str, Any]:
    """Run a notebook that leaves its tables in a draft folder, and put its page beside them.

    Returns the record that it left.
    """
    done, record = run(name, {**values, "tables_folder": str(draft)}), read_record(draft)
    write(draft / f"{name}.html", to_html(done, title=record["title"]))
    return record


def page_of_session(
    name: str, session_folder: str | Path, out: str | Path, parameters: Mapping[str, Any]
) -> Path:
    """Run a notebook on a session; its page and its tables appear in `out` together."""
    folder, out = Path(session_folder).resolve(), Path(out).resolve()
    if out == folder:
        raise ValueError("the report cannot go into the session's own folder: give another")
    with whole_folder(out) as draft:
        write_page(name, {"session_folder": str(folder), **parameters}, draft)
    return out / f"{name}.html"


def execute(path: Path, values: Mapping[str, Any]) -> Any:
    """Run the notebook in a file, parameters unchecked."""
    import pandas as pd
    import papermill

    _register()
    # text of these small tables is quicker as it is than in Arrow, where that is installed
    with pd.option_context("mode.string_storage", "python"):
        return papermill.execute_notebook(
            str(path), None, parameters=dict(values), engine_name=_ENGINE,
            kernel_name="python3", language="python", progress_bar=False,
        )  # fmt: skip


@lru_cache(maxsize=1)
def _register() -> None:
    """Tell papermill of the engine that runs cells in this process."""
    from papermill.engines import Engine, papermill_engines

    class InProcess(Engine):
        @classmethod
        def execute_managed_notebook(cls, nb_man: Any, kernel_name: str, **_: Any) -> None:
            names: dict[str, Any] = {"__name__": "__main__"}
            for index, cell in enumerate(nb_man.nb.cells):
                nb_man.cell_start(cell, index)
                if cell.cell_type == "code":
                    cell.outputs = _outputs(cell.source, names, f"cell {index}")
                nb_man.cell_complete(cell, cell_index=index)

    papermill_engines.register(_ENGINE, InProcess)


def _outputs(source: str, names: dict[str, Any], where: str) -> list[Any]:
    """What a cell prints, and the value of its last line, as a notebook holds them."""
    from nbformat.v4 import new_output

    tree, value, printed = ast.parse(source, where), None, io.StringIO()
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    with redirect_stdout(printed):
        exec(compile(tree, where, "exec"), names)
        if last is not None:
            value = eval(compile(ast.Expression(last.value), where, "eval"), names)
    found = [new_output("stream", name="stdout", text=printed.getvalue())] * bool(
        printed.getvalue()
    )
    if value is not None:
        data = {"text/plain": repr(value)}
        if hasattr(value, "_repr_html_"):
            data["text/html"] = value._repr_html_()
        found.append(new_output("execute_result", data=data, execution_count=None))
    return found


def to_html(notebook: Any, *, title: str) -> str:
    """One self-contained page: no script, no address outside itself, no code."""
    return _template().render(cells=notebook.cells, title=title) + "\n"


@lru_cache(maxsize=1)
def _template() -> Any:
    import jinja2
    import mistune

    look = jinja2.Environment(loader=jinja2.FileSystemLoader(_TEMPLATES))
    look.filters["markdown"] = mistune.create_markdown(escape=False)
    return look.get_template("page.html.j2")
