"""Who was retrained, in what, when, and which session led to it?"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import pandas as pd

from anthroqa.files import sha256
from anthroqa.intake import Problem, Session
from anthroqa.intake.tables.files import read_file
from anthroqa.intake.tables.problems import nearest_word, whole_file
from anthroqa.intake.tables.table import Row, Table, found_in
from anthroqa.notes import Note
from anthroqa.notes.program.program_problems import (
    NoTable,
    PickedLater,
    Retrained,
    UnknownMeasure,
    UnknownMeasurer,
    UnknownSession,
)

FILE = "retraining.csv"
REQUIRED, OPTIONAL = ["measurer", "date"], ["measure", "picked_in", "note"]
COLUMNS = ["measurer", "measure", "date", "picked_in", "note"]


def read_retraining(
    paths: Sequence[Path], sessions: Sequence[Session], problems: list[Problem],
    files: dict[str, str],
) -> pd.DataFrame:  # fmt: skip
    """The sound rows of these files, one a person and measure; faults join `problems`.

    The SHA-256 of each file joins `files`.
    """
    rows: list[tuple] = []
    for path in paths:
        try:
            data = path.read_bytes()
        except OSError as error:
            problems.append(whole_file(path.name, NoTable(error=str(error.strerror))))
            continue
        files[path.name] = sha256(data)
        table = read_file(data, path.name, required=REQUIRED, optional=OPTIONAL)
        problems += table.problems
        for row in table.rows:
            rows += _trained(table, row, sessions, problems)
    frame = pd.DataFrame(rows, columns=COLUMNS)
    again = frame.duplicated(["measurer", "measure", "date"])
    return frame[~again].sort_values(["date", "measurer", "measure"]).reset_index(drop=True)


def _trained(
    table: Table, row: Row, sessions: Sequence[Session], problems: list[Problem]
) -> list[tuple]:
    """One row of the table as rows of a measure; none where it needs attention."""
    cells = {c: row.cells.get(c, "") for c in (*REQUIRED, *OPTIONAL)}

    def wrong(column: str, code: Note) -> None:
        problems.append(found_in(table, row.number, column, cells[column], code))

    def near(column: str, known: Iterable[str]) -> str | None:
        return nearest_word(cells[column], known)

    staff = {p for s in sessions for p in s.readings["measurer"]}
    measures = tuple(dict.fromkeys(m for s in sessions for m in s.measures))
    names = tuple(s.name for s in sessions)
    before = len(problems)
    date = _date(cells["date"])
    if cells["measurer"] not in staff:
        wrong("measurer", UnknownMeasurer(near=near("measurer", staff)))
    if date is None:
        wrong("date", Retrained.NO_DATE)
    if cells["measure"] and cells["measure"] not in measures:
        wrong("measure", UnknownMeasure(near=near("measure", measures), known=measures))
    if cells["picked_in"] and cells["picked_in"] not in names:
        wrong("picked_in", UnknownSession(near=near("picked_in", names), known=names))
    if len(problems) > before or date is None:
        return []
    days = {s.name: s.date for s in sessions}
    if date <= sessions[0].date:
        wrong("date", Retrained.NO_SESSION_BEFORE)
    elif date > sessions[-1].date:
        wrong("date", Retrained.NO_SESSION_AFTER)
    picked = cells["picked_in"]
    if picked and days[picked] > date:
        wrong("picked_in", PickedLater(date=days[picked]))
        return []
    if not picked:
        own = [
            s.name for s in sessions
            if s.date < date and (s.readings["measurer"] == cells["measurer"]).any()
        ]  # fmt: skip
        picked = own[-1] if own else ""
    wanted = (cells["measure"],) if cells["measure"] else measures
    return [(cells["measurer"], m, date, picked, cells["note"]) for m in wanted]


def _date(text: str) -> dt.date | None:
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None
