"""A session folder becomes a folder with the report and its tables."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from anthroqa.reporting import notebooks
from anthroqa.reporting.folders import whole_folder


def report(session_folder: str | Path, out: str | Path, **parameters: Any) -> Path:
    """Write `session_report.html`, `scores.csv`, `decisions.csv` and `run.json` into `out`.

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
    folder, out = Path(session_folder).resolve(), Path(out).resolve()
    if out == folder:
        raise ValueError("the report cannot go into the session's own folder: give another")
    with whole_folder(out) as draft:
        values = {"session_folder": str(folder), "tables_folder": str(draft), **parameters}
        notebook = notebooks.run("session_report", values)
        title = json.loads((draft / "run.json").read_text(encoding="utf-8"))["title"]
        page = notebooks.to_html(notebook, title=title)
        (draft / "session_report.html").write_text(page, encoding="utf-8", newline="")
    return out / "session_report.html"
