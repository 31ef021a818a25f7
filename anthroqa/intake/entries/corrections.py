"""Which readings has the trainer corrected, to what, why, and who says so?

Corrections stand in a file of their own and are applied at intake, before the checks;
the file of readings is never edited.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from anthroqa.intake.tables.problems import Problem, nearest_word
from anthroqa.intake.tables.table import Table, whole_number
from anthroqa.notes import Note
from anthroqa.notes.intake.beside import Correcting, CorrectionLacks, NotOneReading

COLUMNS = ["measurer", "subject", "measure", "round", "corrected", "reason", "by"]
KEY = ("measurer", "subject", "measure", "round")


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One reading as it should have been written, or NA to set it aside."""

    file: str
    row: int
    corrected: str
    reason: str
    by: str
    decimal_comma: bool  # the file's columns are separated by semicolons


def match_corrections(
    table: Table, entries: list[dict[str, Any]], problems: list[Problem]
) -> dict[int, Correction]:
    """Corrections by the position of the entry that each one names.

    `entries` are the rows of the readings; retakes cannot be corrected. A correction
    that names no reading, or two, is a problem.
    """
    places: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for i, entry in enumerate(entries):
        if not entry["retake"]:
            places[tuple(str(entry[k]) for k in KEY)].append(i)
    matched: dict[int, Correction] = {}
    for row in table.rows:
        cells = row.cells
        turn = str(whole_number(cells["round"]) or cells["round"])
        key = (cells["measurer"], cells["subject"], cells["measure"], turn)
        named = places.get(key, [])
        wrong: tuple[str, str, Note] | None = None
        if len(named) != 1:
            found = ", ".join(key)
            near = None if named else nearest_word(found, map(", ".join, places))
            wrong = "measurer", found, NotOneReading(n=len(named), near=near)
        elif named[0] in matched:
            wrong = "measurer", ", ".join(key), Correcting.TWICE
        elif empty := next((c for c in ("corrected", "reason", "by") if not cells[c]), None):
            wrong = empty, "", CorrectionLacks(column=empty)
        if wrong:
            column, found, code = wrong
            problems.append(
                Problem(file=table.file, row=row.number, column=column, found=found, code=code)
            )
            continue
        matched[named[0]] = Correction(
            file=table.file, row=row.number,
            corrected=cells["corrected"], reason=cells["reason"], by=cells["by"],
            decimal_comma=table.decimal_comma,
        )  # fmt: skip
    return matched
