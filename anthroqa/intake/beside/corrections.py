"""Which readings has the trainer corrected, to what, why, and who says so?

Corrections stand in a file of their own and are applied at intake, before the checks;
the file of readings is never edited.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from anthroqa.intake.tables.problems import Problem, did_you_mean
from anthroqa.intake.tables.table import Table, whole_number

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
        wrong = None
        if len(named) != 1:
            which = "no reading" if not named else f"{len(named)} readings"
            wrong = (
                "measurer", ", ".join(key), f"this correction names {which}",
                ("" if named else did_you_mean(", ".join(key), map(", ".join, places)))
                + "Mend the codes, the measure or the round so that it names one first reading.",
            )  # fmt: skip
        elif named[0] in matched:
            wrong = (
                "measurer", ", ".join(key), "this reading is corrected twice",
                "Keep one of the corrections.",
            )  # fmt: skip
        else:
            empty = next((c for c in ("corrected", "reason", "by") if not cells[c]), None)
            if empty:
                wrong = (
                    empty, "", f"a correction needs its {empty!r}",
                    "Give the reading (or NA to set it aside), a reason and your initials.",
                )  # fmt: skip
        if wrong:
            column, found, problem, remedy = wrong
            problems.append(Problem(
                file=table.file, row=row.number, column=column, found=found,
                problem=problem, remedy=remedy,
            ))  # fmt: skip
            continue
        matched[named[0]] = Correction(
            file=table.file, row=row.number,
            corrected=cells["corrected"], reason=cells["reason"], by=cells["by"],
            decimal_comma=table.decimal_comma,
        )  # fmt: skip
    return matched
