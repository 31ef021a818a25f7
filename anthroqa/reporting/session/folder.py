"""A session folder becomes a folder with a page and its tables."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from anthroqa.reporting.page.notebooks import page_of_session


def report(session_folder: str | Path, out: str | Path, **parameters: Any) -> Path:
    """Write `session_report.html`, its tables as CSV files and `run.json` into `out`.

    The tables are `scores`, `decisions`, `mark_findings`, `slips`, `instrument_figures`
    (instruments against known loads), `variants` (figures with and without some readings) and
    `parts` (of the error).

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
    SessionError
        If the session needs attention.
    ValueError
        If a parameter is unknown or wrong, or `out` is the session's own folder.
    """
    return page_of_session("session_report", session_folder, out, parameters)
