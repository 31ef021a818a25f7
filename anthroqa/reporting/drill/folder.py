"""A drill becomes a folder with a page and its tables."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from anthroqa.reporting.page.notebooks import page_of_session


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
    SessionError
        If the drill needs attention.
    ValueError
        If a parameter is unknown or wrong, or `out` is the drill's own folder.
    """
    return page_of_session("marks_drill", session_folder, out, parameters)
