"""Where are the notebooks, what can be set in them, and how does one become a page?

A notebook runs in a kernel of this very Python, with its parameters checked by name first,
and comes out as one self-contained HTML file without its code.
"""

from __future__ import annotations

import ast
import io
import json
import sys
import tokenize
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock, Thread
from typing import Any

_PACKAGE = Path(__file__).resolve().parent.parent
_TEMPLATES = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One line of a notebook's parameters cell."""

    name: str
    type: str
    default: Any
    help: str


# a kernel that loads what draws figures while it waits for its first cell
_KERNEL = """
import gc, importlib, sys, threading
sys.path[:1] = []
gc.set_threshold(50_000)
threading.Thread(
    target=importlib.import_module, args=("anthroqa.reporting.marks",), daemon=True
).start()
from ipykernel.kernelapp import launch_new_instance
launch_new_instance()
"""
# arrays here are small: threads to multiply them cost more than they save
_ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


class NotebookError(Exception):
    """A notebook stopped; `kind` is the name of the exception in it."""

    def __init__(self, kind: str, text: str) -> None:
        self.kind = kind
        super().__init__(text)


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
    NotebookError
        If a cell stops.
    """
    known = [p.name for p in parameters(name)]
    unknown = sorted(set(values) - set(known))
    if unknown:
        raise ValueError(
            f"the notebook {name!r} has no parameter {', '.join(unknown)}; "
            f"it has {', '.join(known)}"
        )
    return execute(notebook_path(name), values)


def execute(path: Path, values: Mapping[str, Any]) -> Any:
    """Run the notebook in a file, parameters unchecked."""
    import papermill
    from jupyter_client.kernelspec import KernelSpec
    from jupyter_client.manager import AsyncKernelManager
    from papermill.exceptions import PapermillExecutionError

    with TemporaryDirectory(prefix="anthroqa-", ignore_cleanup_errors=True) as settings:

        class ThisPython(AsyncKernelManager):
            """A kernel of the Python that is running, with nobody's settings of their own."""

            @property
            def kernel_spec(self) -> KernelSpec:
                command = [sys.executable, "-c", _KERNEL, "-f", "{connection_file}"]
                command += [f"--ipython-dir={settings}"]
                command += ["--log-level=CRITICAL"]  # the errors of cells come by themselves
                return KernelSpec(
                    argv=command, language="python", display_name="Python 3", env=_ONE_THREAD
                )

        def make_ready(**_: Any) -> None:
            """Load the exporter while the kernel is at work."""
            Thread(target=_exporter, daemon=True).start()

        try:
            return papermill.execute_notebook(
                str(path), None, parameters=dict(values), kernel_name="python3",
                language="python", progress_bar=False, kernel_manager_class=ThisPython,
                on_notebook_start=make_ready,
                shutdown_kernel="immediate",  # everything that it made is here or on the disk
            )  # fmt: skip
        except PapermillExecutionError as error:
            raise NotebookError(error.ename, error.evalue) from error


_loading = Lock()


@lru_cache(maxsize=1)
def _loaded_exporter() -> Any:
    import nbformat
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(
        template_name="template",
        extra_template_basedirs=[str(_TEMPLATES)],
        exclude_input=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
    )
    exporter.from_notebook_node(nbformat.v4.new_notebook())  # compiles the templates
    return exporter


def _exporter() -> Any:
    """The exporter of every page, loaded once, by whichever thread comes first."""
    with _loading:
        return _loaded_exporter()


def to_html(notebook: Any, *, title: str) -> str:
    """One self-contained page: no script, no address outside itself, no code."""
    for number, cell in enumerate(notebook.cells):
        cell["id"] = f"part-{number}"  # the injected cell has a random one
    html, _ = _exporter().from_notebook_node(notebook, {"metadata": {"name": title}})
    return html
