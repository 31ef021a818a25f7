"""A session folder becomes a folder with a page and its tables."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from anthroqa.files import whole_folder
from anthroqa.reporting.page import notebooks


def report(session_folder: str | Path, out: str | Path, **parameters: Any) -> Path:
    """Write `session_report.html`, its tables as CSV files and `run.json` into `out`.

    The tables are `scores`, `decisions`, `mark_findings`, `slips`, `instrument_figures` (instruments against
    known loads), `variants` (figures with and without some readings) and `parts` (of the error).

    Parameters
    ----------
    session_folder : str or pathlib.Path
        The session; its files are only read.
    out : str or pathlib.Path
        A folder, made if need be; it changes only once everything is ready.
    **parameters
        Parameters of the notebook `session_report`, such as `confidence`.

    Returns
    -------
    pathlib.Path
        The page.

    Raises
    ------
    ValueError
        If a parameter is unknown, or `out` is the session's own folder.
    NotebookError
        If the session cannot be read or scored; `kind` says which error it was.
    """
    return _page("session_report", session_folder, out, parameters)


def drill(session_folder: str | Path, out: str | Path, **parameters: Any) -> Path:
    """Write `marks_drill.html`, `marks.csv`, `scores.csv` and `run.json` into `out`.

    Parameters
    ----------
    session_folder : str or pathlib.Path
        The drill, with its `true_values.csv`; its files are only read.
    out : str or pathlib.Path
        A folder, made if need be; it changes only once everything is ready.
    **parameters
        Parameters of the notebook `marks_drill`, such as `confidence`.

    Returns
    -------
    pathlib.Path
        The page.

    Raises
    ------
    ValueError
        If a parameter is unknown, or `out` is the drill's own folder.
    NotebookError
        If the drill cannot be read, or the session is none; `kind` says which error it was.
    """
    return _page("marks_drill", session_folder, out, parameters)


def _page(
    notebook: str, session_folder: str | Path, out: str | Path, parameters: dict[str, Any]
) -> Path:
    """Run a notebook on a session; its page and its tables appear in `out` together."""
    folder, out = Path(session_folder).resolve(), Path(out).resolve()
    if out == folder:
        raise ValueError("the report cannot go into the session's own folder: give another")
    with whole_folder(out) as draft:
        values = {"session_folder": str(folder), "tables_folder": str(draft), **parameters}
        done = notebooks.run(notebook, values)
        title = json.loads((draft / "run.json").read_text(encoding="utf-8"))["title"]
        page = notebooks.to_html(done, title=title)
        (draft / f"{notebook}.html").write_text(page, encoding="utf-8", newline="")
    return out / f"{notebook}.html"
