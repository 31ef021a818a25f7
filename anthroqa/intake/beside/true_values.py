"""What was set before anybody read it: slider positions on a board, test masses on a beam?

`true_values.csv` belongs to a drill: one row a setting, with an amount that may lie between two
steps. It is exact, like a reading, and every reading of a drill needs its setting.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import pandas as pd

from anthroqa.intake.rows import shorten
from anthroqa.intake.settings import Measure, Settings
from anthroqa.intake.tables.problems import Problem, did_you_mean
from anthroqa.intake.tables.table import Row, Table
from anthroqa.intake.written.grammar import Refusal, read_amount

FILE = "true_values.csv"
COLUMNS = ["subject", "measure", "true"]
NOT_USED = "this file is not used: it belongs to a drill, and exercise is not set to that"
_MISSING = {"", "NA"}
_SHOWN = 10  # codes in a notice

Key = tuple[str, str]  # measure, subject


def no_true_values() -> pd.DataFrame:
    """The table of settings of a session that is no drill."""
    return pd.DataFrame({"subject": [], "measure": [], "true": [], "steps": []}).astype({
        "subject": object, "measure": object, "true": object, "steps": float,
    })  # fmt: skip


def missing_file() -> Problem:
    """A drill without its settings."""
    return Problem(
        file=FILE, row=None, column="", found="", problem="a drill needs this file",
        remedy=f"Write what was set into it, with the columns {', '.join(COLUMNS)}; or write "
        'exercise = "session" in session.toml.',
    )  # fmt: skip


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
                wrong = ("true", steps.problem.replace("a reading", "a setting"), steps.remedy)
        if wrong is not None:
            column, problem, remedy = wrong
            problems.append(Problem(
                file=FILE, row=row.number, column=column, found=shorten(row.cells[column]),
                problem=problem, remedy=remedy,
            ))  # fmt: skip
        elif isinstance(steps, Fraction):
            known[key], texts[key] = steps, row.cells["true"]
    if set(COLUMNS) <= set(table.columns):
        problems += _unset(rows, entries, settings.measures)
        table.notices += _unread(known, entries)
    return pd.DataFrame({
        "subject": [subject for _, subject in known], "measure": [measure for measure, _ in known],
        "true": list(texts.values()), "steps": [float(steps) for steps in known.values()],
    })  # fmt: skip


def _wrong(row: Row, rows: Mapping[Key, int], settings: Settings) -> tuple[str, str, str] | None:
    """Column, problem and remedy of a row that names no setting of its own."""
    measure, subject = row.cells["measure"], row.cells["subject"]
    if subject in _MISSING:
        return "subject", "the subject's code is missing", "Give the code on the sheets."
    if measure not in settings.measures and measure not in settings.broken:
        hint = did_you_mean(measure, settings.measures)
        described = f"session.toml describes {', '.join(settings.measures) or 'none'}."
        return "measure", "this measure is not described", hint + described
    if (measure, subject) in rows:
        return (
            "subject", f"this subject's setting is given in row {rows[measure, subject]} already",
            "Keep one of the two, or mend a code.",
        )  # fmt: skip
    if row.cells["true"] in _MISSING:
        return "true", "the setting is missing", "Write what was set, or delete the row."
    return None


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
                problem="this measure was read and has no setting",
                remedy="Add a row for each of its subjects, or take its readings out of the drill.",
            ))  # fmt: skip
            continue
        hint = did_you_mean(subject, [s for m, s in rows if m == measure], nearness=0.7)
        problems.append(Problem(
            file=entry["file"], row=entry["row"], column="subject", found=subject,
            problem=f"this subject has no setting of {measure} in {FILE}",
            remedy=f"{hint}Add its row to {FILE}, or mend the code.",
        ))  # fmt: skip
    return problems


def _unread(known: Mapping[Key, Fraction], entries: list[dict[str, Any]]) -> list[tuple[str, str]]:
    read = {(e["measure"], e["subject"]) for e in entries if not e.get("missing")}
    codes = [
        f"{subject} ({measure})" for measure, subject in known if (measure, subject) not in read
    ]
    if not codes:
        return []
    more = f" and {len(codes) - _SHOWN} more" if len(codes) > _SHOWN else ""
    return [(FILE, f"settings that nobody read: {', '.join(codes[:_SHOWN])}{more}")]
