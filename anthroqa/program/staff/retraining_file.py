"""Who was retrained, in what, when, and which session led to it?"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from anthroqa.intake import Problem, Session
from anthroqa.intake.tables.files import read_file
from anthroqa.intake.tables.problems import did_you_mean, whole_file
from anthroqa.intake.tables.table import Row, Table, found_in

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
            problems.append(whole_file(
                path.name, f"the file cannot be read ({error.strerror})",
                "Give the table of who was retrained, or none.",
            ))  # fmt: skip
            continue
        files[path.name] = hashlib.sha256(data).hexdigest()
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

    def wrong(column: str, problem: str, remedy: str) -> None:
        problems.append(found_in(table, row.number, column, cells[column], problem, remedy))

    staff = {p for s in sessions for p in s.readings["measurer"]}
    measures = list(dict.fromkeys(m for s in sessions for m in s.measures))
    names = [s.name for s in sessions]
    before = len(problems)
    date = _date(cells["date"])
    if cells["measurer"] not in staff:
        wrong(
            "measurer", "nobody of this code is in the sessions",
            did_you_mean(cells["measurer"], staff) + "Write the code as in the readings.",
        )  # fmt: skip
    if date is None:
        wrong("date", "this is not a date", "Write it as 2026-10-06.")
    if cells["measure"] and cells["measure"] not in measures:
        wrong(
            "measure", "this measure is in no session",
            did_you_mean(cells["measure"], measures) + f"Known are {', '.join(measures)}.",
        )  # fmt: skip
    if cells["picked_in"] and cells["picked_in"] not in names:
        wrong(
            "picked_in", "no session that can be used has this name",
            did_you_mean(cells["picked_in"], names) + f"Known are {', '.join(names)}.",
        )  # fmt: skip
    if len(problems) > before or date is None:
        return []
    days = {s.name: s.date for s in sessions}
    if date <= sessions[0].date or date > sessions[-1].date:
        side = "before" if date <= sessions[0].date else "after"
        wrong(
            "date", f"no session lies {side} this date: what the retraining did is not judged",
            f"Mend the date, or give the sessions {side} it too.",
        )  # fmt: skip
    picked = cells["picked_in"]
    if picked and days[picked] > date:
        wrong(
            "picked_in", f"this session ({days[picked]}) lies after the retraining",
            "Name the session that led to it, or leave the cell empty.",
        )  # fmt: skip
        return []
    if not picked:
        own = [
            s.name for s in sessions
            if s.date < date and (s.readings["measurer"] == cells["measurer"]).any()
        ]  # fmt: skip
        picked = own[-1] if own else ""
    wanted = [cells["measure"]] if cells["measure"] else measures
    return [(cells["measurer"], m, date, picked, cells["note"]) for m in wanted]


def _date(text: str) -> dt.date | None:
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None
