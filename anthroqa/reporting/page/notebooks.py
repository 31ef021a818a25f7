"""Where are the notebooks, what can be set in them, and how does one become a page?

A notebook runs in a kernel of this very Python, with its parameters checked by name first,
and comes out as one self-contained HTML file without its code.
"""

from __future__ import annotations

import ast
import io
import json
import os
import secrets
import socket
import subprocess
import sys
import tokenize
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock, Thread
from typing import Any

_PACKAGE = Path(__file__).resolve().parents[2]
_TEMPLATES = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One line of a notebook's parameters cell."""

    name: str
    type: str
    default: Any
    help: str


# a kernel that loads what a page needs while it starts, and has it before a cell runs: two threads
# that import at once may see half a module. scipy asks numpy for every name in its list, a compiler
# of Fortran among them, and matplotlib for axes in space: nobody here needs either. Nor the
# debugger, which goes through all that is loaded, and stops where the thread loads more meanwhile.
_KERNEL = """
import gc, importlib, sys, threading
sys.path[:1] = []
gc.set_threshold(50_000)
import numpy, types
numpy.f2py = None
sys.modules["debugpy"] = None
sys.modules["mpl_toolkits.mplot3d"] = types.SimpleNamespace(Axes3D=type("None", (), {"name": "3d"}))
load = threading.Thread(
    target=importlib.import_module, args=("anthroqa.reporting.session.in_short",), daemon=True
)
load.start()
from ipykernel.kernelapp import IPKernelApp
kernel = IPKernelApp.instance()
kernel.initialize()
kernel.shell.events.register("pre_run_cell", lambda info: load.join())
kernel.start()
"""
# pandas loads Arrow wherever it is installed, which takes long and is of no use to these pages:
# only records in a database may be asked through a library that needs it
_WITHOUT_ARROW = 'import sys\nsys.modules["pyarrow"] = None\n'
_ARROW = ("routine_records",)
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
    with _kernel("" if path.stem in _ARROW else _WITHOUT_ARROW) as kernel:
        import papermill  # while the kernel starts
        from papermill.exceptions import PapermillExecutionError

        def make_ready(**_: Any) -> None:
            """Load the exporter while the kernel is at work."""
            Thread(target=_exporter, daemon=True).start()

        try:
            return papermill.execute_notebook(
                str(path), None, parameters=dict(values), kernel_name="python3",
                language="python", progress_bar=False, km=kernel, on_notebook_start=make_ready,
            )  # fmt: skip
        except PapermillExecutionError as error:
            raise NotebookError(error.ename, error.evalue) from error


@contextmanager
def _kernel(first: str) -> Iterator[Any]:
    """A kernel of the Python that is running, with nobody's settings of their own.

    `first` is what it does before anything else.

    It is started before anything that speaks to it is loaded, which takes as long as it does.
    """
    settings = TemporaryDirectory(prefix="anthroqa-", ignore_cleanup_errors=True)
    file = Path(settings.name, "kernel.json")
    file.write_text(json.dumps(_connection()), encoding="utf-8")
    command = [sys.executable, "-c", first + _KERNEL, "-f", str(file)]
    command += [f"--ipython-dir={settings.name}"]
    command += ["--log-level=CRITICAL"]  # the errors of cells come by themselves
    alone = {**os.environ, **_ONE_THREAD, "JPY_PARENT_PID": str(os.getpid())}
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, env=alone)
    clients: list[Any] = []

    def close() -> None:
        """End it at once: everything that it made is here or on the disk."""
        process.kill()
        process.wait()
        settings.cleanup()

    try:
        from jupyter_client.kernelspec import KernelSpec
        from jupyter_client.manager import AsyncKernelManager
        from jupyter_client.provisioning import LocalProvisioner

        class Noted(AsyncKernelManager):
            def client(self, **given: Any) -> Any:
                clients.append(super().client(**given))
                return clients[-1]

        kernel = Noted(connection_file=str(file))
        kernel.load_connection_file()
        kernel.provisioner = LocalProvisioner(
            kernel_id=file.stem, kernel_spec=KernelSpec(argv=command), parent=kernel
        )
        kernel.provisioner.process, kernel.provisioner.pid = process, process.pid
        yield kernel
    finally:  # nobody waits for its end; Python itself does before it ends
        for client in clients:
            client.stop_channels()
        Thread(target=close).start()


def _connection() -> dict[str, Any]:
    """Where a kernel is spoken to: free ports of this machine, and a key that nobody knows."""
    names = ("shell_port", "iopub_port", "stdin_port", "control_port", "hb_port")
    with ExitStack() as open_:
        sockets = [open_.enter_context(socket.socket()) for _ in names]
        for one in sockets:
            one.bind(("127.0.0.1", 0))
        ports = [one.getsockname()[1] for one in sockets]
    return {
        **dict(zip(names, ports, strict=True)), "ip": "127.0.0.1", "transport": "tcp",
        "key": secrets.token_hex(32), "signature_scheme": "hmac-sha256", "kernel_name": "python3",
    }  # fmt: skip


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
    exporter, resources = _exporter(), {"metadata": {"name": title}}
    from nbconvert.exporters.templateexporter import TemplateExporter

    # that of HTMLExporter would read the whole page again, for what this template has already
    html, _ = TemplateExporter.from_notebook_node(exporter, notebook, resources)
    return html
