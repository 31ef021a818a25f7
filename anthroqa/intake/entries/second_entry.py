"""Do the two entries of one workbook agree?

The sheet `second_entry` holds what a second person typed off the same paper. Rows find each other
by measurer, subject, measure, round and retake, in whatever order; what counts is the reading,
not its spelling: `186 oz` is `11 lb 10 oz`. What was not typed twice yet is no problem.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from anthroqa.intake.described.settings import Measure
from anthroqa.intake.entries.readings import MISSING, Entry, shorten
from anthroqa.intake.tables.problems import Problem
from anthroqa.intake.tables.table import Row, Table, whole_number
from anthroqa.intake.written.grammar import Refusal, read_count
from anthroqa.notes import Note
from anthroqa.notes.intake.beside import EntriesDiffer, FirstEmpty, SecondEntry, TypedTwiceThere

SHEET = "second_entry"
REQUIRED = ["measurer", "subject", "measure", "round", "reading"]
OPTIONAL = ["group", "tare", "retake"]


def match_second(
    table: Table, entries: list[Entry], measures: Mapping[str, Measure], problems: list[Problem]
) -> set[tuple[Any, ...]]:
    """Hold every row that was typed twice against the first; gives the keys of those rows."""
    first = {_key_of(entry): entry for entry in reversed(entries)}
    seen: dict[tuple[Any, ...], int] = {}
    for row in table.rows:
        typed = [c for c in ("reading", "tare") if row.cells.get(c)]
        if not typed:
            continue
        key = _key(row.cells)

        def report(column: str, code: Note, row: Row = row) -> None:
            problems.append(Problem(
                file=table.file, row=row.number, column=column,
                found=shorten(row.cells.get(column, "")), code=code,
                cell=table.address(row.number, column),
            ))  # fmt: skip

        if key in seen:
            report("reading", TypedTwiceThere(row=seen[key]))
            continue
        seen[key] = row.number
        entry = first.get(key)
        if entry is None:
            report("subject", SecondEntry.NOT_IN_FIRST)
            continue
        for column in typed:
            _compare(entry, row.cells[column], column, measures.get(entry["measure"]), report)
    return set(seen)


def _compare(entry: Entry, text: str, column: str, measure: Measure | None, report) -> None:
    """One cell of the second entry against that of the first."""
    other = entry.get(column, "")
    if text == other or (text in MISSING and other in MISSING):
        return
    row = entry["row"]
    cell = entry["address"](row, column)
    if other in MISSING:
        report(column, FirstEmpty(cell=cell, row=row, column=column))
        return
    counts = [] if measure is None else [read_count(t, measure.step) for t in (text, other)]
    unread = [c for c in counts if isinstance(c, Refusal)]
    if counts and not unread and counts[0].steps == counts[1].steps:
        return
    report(column, EntriesDiffer(cell=cell, row=row, other=shorten(other)))


def _key(cells: Mapping[str, str]) -> tuple[Any, ...]:
    turn = whole_number(cells["round"]) or cells["round"]
    again = whole_number(cells.get("retake", "")) or 0
    return cells["measurer"], cells["subject"], cells["measure"], turn, again


def _key_of(entry: Entry) -> tuple[Any, ...]:
    return tuple(entry[k] for k in ("measurer", "subject", "measure", "round", "retake"))
