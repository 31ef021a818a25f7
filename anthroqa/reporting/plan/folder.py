"""A plan becomes a session folder that is ready to use: settings, workbook, sheets, page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from anthroqa.files import RECORD, sha256_of, whole_folder, write_record
from anthroqa.reporting.page import notebooks

PAGE, SHEETS, PRINT = "session_plan.html", "sheets.html", "sheets.pdf"
WORKBOOK = "readings.xlsx"
FILES = (
    PAGE, SHEETS, PRINT, "session.toml", WORKBOOK, "order.csv", "chances.csv", RECORD,
)  # fmt: skip


def plan(folder: str | Path, **parameters: Any) -> list[Path]:
    """Make a session folder from the `plan.toml` in it.

    It holds `session.toml`, the workbook `readings.xlsx`, the sheets to print (`sheets.html`,
    and `sheets.pdf` where the extra `pdf` is installed), `session_plan.html` on what the session
    can settle, `chances.csv`, `order.csv` and `run.json`. All of them appear together, or none.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder with a `plan.toml`.
    **parameters
        Parameters of the notebook `session_plan`, such as `confidence`.

    Returns
    -------
    list of pathlib.Path
        The files written, the page first.

    Raises
    ------
    SessionError
        If the plan needs attention, or a file in the folder is not as a plan left it.
    ValueError
        If a parameter is unknown.
    """
    from anthroqa.planning import check_free, read_plan

    folder = Path(folder).resolve()
    read_plan(folder)
    check_free(folder, FILES)
    with whole_folder(folder) as draft:
        values = {"session_folder": str(folder), **parameters}
        record = notebooks.write_page("session_plan", values, draft)
        made = [name for name in FILES if (draft / name).exists()]
        record["outputs"] = {name: sha256_of(draft / name) for name in made if name != RECORD}
        write_record(draft, record)
        check_free(folder, FILES)  # somebody may have typed meanwhile
    for name in set(FILES) - set(made):
        (folder / name).unlink(missing_ok=True)  # of an earlier order
    return [folder / name for name in made]
