"""What was set before anybody read it: slider positions on a board, test masses on a beam?

`true_values.csv` belongs to a drill: one row a setting, with an amount that may lie between two
steps. It is exact, like a reading, and every reading of a drill needs its setting.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import pandas as pd

from anthroqa.intake.described.settings import Measure, Settings
from anthroqa.intake.entries.readings import shorten
from anthroqa.intake.tables.problems import Problem, nearest_word, whole_file
from anthroqa.intake.tables.table import Row, Table
from anthroqa.intake.written.grammar import Refusal, read_amount
from anthroqa.notes import Note
from anthroqa.notes.intake.beside import (
    NobodyRead,
    NoTrueValues,
    SetAlready,
    SubjectNotSet,
    TrueValues,
)
from anthroqa.notes.intake.problems import UnknownMeasure

FILE = "true_values.csv"
COLUMNS = ["subject", "measure", "true"]
_MISSING = {"", "NA"}

Key = tuple[str, str]  # measure, subject


def no_true_values() -> pd.DataFrame:
    """The table of settings of a session that is no drill."""
    return pd.DataFrame({"subject": [], "measure": [], "true": [], "steps": []}).astype({
        "subject": object, "measure": object, "true": object, "steps": float,
    })  # fmt: skip


def missing_file() -> Problem:
    """A drill without its settings."""
    return whole_file(FILE, NoTrueValues(columns=tuple(COLUMNS)))


def match_true_values(
    table: Table, entries: list[dict[str, Any]], settings: Settings, problems: list[Problem]
) -> pd.DataFrame:
    """Settings as `subject, measure, true, steps`: the text, and its worth in steps.

    Adds to `problems` what is wrong with the file, and every subject that was read and has no
    setting.
    """
    problems += table.problems
    known: dict[Key, Fraction] = {}
    texts: dict[Key, str] = {}
    rows: dict[Key, int] = {}
    for row in table.rows:
        key = (row.cells["measure"], row.cells["subject"])
        wrong = _wrong(row, rows, settings)
        rows.setdefault(key, row.number)
        steps = None
        if wrong is None and key[0] in settings.measures:
            steps = _steps(row, settings.measures[key[0]], decimal_comma=table.decimal_comma)
            if isinstance(steps, Refusal):
                wrong = "true", steps.of("setting")
        if wrong is not None:
            column, code = wrong
            found = shorten(row.cells[column])
            problems.append(
                Problem(file=FILE, row=row.number, column=column, found=found, code=code)
            )
        elif isinstance(steps, Fraction):
            known[key], texts[key] = steps, row.cells["true"]
    if set(COLUMNS) <= set(table.columns):
        problems += _unset(rows, entries, settings.measures)
        table.notices += _unread(known, entries)
    return pd.DataFrame({
        "subject": [subject for _, subject in known], "measure": [measure for measure, _ in known],
        "true": list(texts.values()), "steps": [float(steps) for steps in known.values()],
    })  # fmt: skip


def _wrong(row: Row, rows: Mapping[Key, int], settings: Settings) -> tuple[str, Note] | None:
    """Column and problem of a row that names no setting of its own."""
    measure, subject = row.cells["measure"], row.cells["subject"]
    if subject in _MISSING:
        return "subject", TrueValues.NO_SUBJECT
    if measure not in settings.measures and measure not in settings.broken:
        near, known = nearest_word(measure, settings.measures), tuple(settings.measures)
        return "measure", UnknownMeasure(given=True, near=near, known=known)
    if (measure, subject) in rows:
        return "subject", SetAlready(row=rows[measure, subject])
    return ("true", TrueValues.NOT_SET) if row.cells["true"] in _MISSING else None


def _steps(row: Row, measure: Measure, *, decimal_comma: bool) -> Fraction | Refusal:
    return read_amount(row.cells["true"], measure.step, decimal_comma=decimal_comma)


def _unset(
    rows: Mapping[Key, int], entries: list[dict[str, Any]], measures: Mapping[str, Measure]
) -> list[Problem]:
    """Subjects that were read and have no setting; a measure without any is told once."""
    problems, told = [], set()
    given = {measure for measure, _ in rows}
    for entry in entries:
        measure, subject = entry["measure"], entry["subject"]
        if entry.get("missing") or measure not in measures or subject in _MISSING:
            continue
        key = (measure, subject if measure in given else "")
        if (measure, subject) in rows or key in told:
            continue
        told.add(key)
        if measure not in given:
            problems.append(Problem(
                file=FILE, row=None, column="measure", found=measure,
                code=TrueValues.MEASURE_NOT_SET,
            ))  # fmt: skip
            continue
        near = nearest_word(subject, [s for m, s in rows if m == measure], nearness=0.7)
        problems.append(Problem(
            file=entry["file"], row=entry["row"], column="subject", found=subject,
            code=SubjectNotSet(measure=measure, near=near),
        ))  # fmt: skip
    return problems


def _unread(known: Mapping[Key, Fraction], entries: list[dict[str, Any]]) -> list[tuple[str, Note]]:
    read = {(e["measure"], e["subject"]) for e in entries if not e.get("missing")}
    unread = tuple(key[::-1] for key in known if key not in read)
    return [(FILE, NobodyRead(settings=unread))] if unread else []
