"""Session folders become a folder with the page of staff over many sessions and its tables."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from anthroqa.files import read_record, whole_folder
from anthroqa.reporting.page import notebooks

NOTEBOOK = "staff_review"
PAGE = f"{NOTEBOOK}.html"


def review(folders: Iterable[str | Path], out: str | Path, **parameters: Any) -> Path:
    """Write `staff_review.html`, its tables as CSV files and `run.json` into `out`.

    The tables are `history` (figures by session), `funnel`, `drifts`, `named`, `moderated`,
    `retrained`, `due` and `instrument_drifts`. What was left out of the sessions, and why, is on
    the page and under `problems` of `run.json`: `left_out` reads it.

    Parameters
    ----------
    folders : iterable of str or pathlib.Path
        Session folders, or folders that hold session folders; their files are only read.
    out : str or pathlib.Path
        A folder, made if need be; it changes only once everything is ready.
    **parameters
        Parameters of the notebook `staff_review`, such as `recheck_months`.

    Returns
    -------
    pathlib.Path
        The page.

    Raises
    ------
    SessionError
        If no session can be used.
    ValueError
        If a parameter is unknown, no folder is given, or `out` is one of the folders.
    """
    given, out = [Path(folder).resolve() for folder in folders], Path(out).resolve()
    if not given:
        raise ValueError("no folder is given: give the folders of the sessions to review")
    if any(out in (folder, *_sessions_in(folder)) for folder in given):
        raise ValueError("the page cannot go into a folder of the sessions: give another")
    with whole_folder(out) as draft:
        values = {"program_folders": "\n".join(map(str, given)), **_whole(parameters)}
        notebooks.write_page(NOTEBOOK, values, draft)
    return out / PAGE


def left_out(out: str | Path) -> list[str]:
    """What the last review in `out` could not use, and why: a line a problem."""
    return list(read_record(Path(out))["problems"])


def folders_of(text: str) -> list[Path]:
    """The folders of a parameter: one a line, or with semicolons between them."""
    return [Path(part.strip()) for part in re.split(r"[;\n]", text) if part.strip()]


def _sessions_in(folder: Path) -> list[Path]:
    return [p.parent for p in folder.glob("*/session.toml")] if folder.is_dir() else []


def _whole(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """The parameters, with the file of training as a whole path: a notebook runs elsewhere."""
    values = dict(parameters)
    if values.get("retraining_file"):
        values["retraining_file"] = str(Path(values["retraining_file"]).resolve())
    return values
