"""What happened between the sessions of a program that a picture over time must show?

Somebody was trained again, read on another instrument than the time before, or was held against
another reference. No number is made here: it is what the files of the sessions say.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pandas as pd

from anthroqa.program.staff.sessions import Program

RETRAINED, INSTRUMENT, REFERENCE = "retrained", "another instrument", "another reference"
LETTERS = {RETRAINED: "T", INSTRUMENT: "K", REFERENCE: "R"}
COLUMNS = ["date", "measure", "measurer", "event", "text"]


def events(program: Program) -> pd.DataFrame:
    """A row an event: `date, measure, measurer, event, text`; `date` is that of the session after.

    Training has its own date; a training in every measure has a row for each.
    """
    rows = [*_trainings(program), *_instruments(program), *_references(program)]
    return pd.DataFrame(rows, columns=COLUMNS)


def _trainings(program: Program) -> Iterator[tuple[dt.date, str, str, str, str]]:
    for row in program.retraining.itertuples():
        for measure in [row.measure] if row.measure else program.measures:
            yield row.date, measure, row.measurer, RETRAINED, str(row.note or "")


def _instruments(program: Program) -> Iterator[tuple[dt.date, str, str, str, str]]:
    """Who used none of the instruments of their session before."""
    before: dict[tuple[str, str], set[str]] = {}
    for session in program.sessions:
        if "instrument" not in session.readings:
            continue
        used = session.readings[session.readings["instrument"].fillna("") != ""]
        for (measure, who), codes in used.groupby(["measure", "measurer"])["instrument"]:
            now = set(codes)
            earlier = before.get((measure, who))
            if earlier and not earlier & now:
                text = f"{', '.join(sorted(earlier))}, then {', '.join(sorted(now))}"
                yield session.date, measure, who, INSTRUMENT, text
            before[measure, who] = now


def _references(program: Program) -> Iterator[tuple[dt.date, str, str, str, str]]:
    """Sessions held against another reference than the one before, for everybody in them."""
    before: dict[str, str] = {}
    for session in program.sessions:
        for measure in session.measures if session.reference else ():
            last = before.get(measure)
            if last and last != session.reference:
                there = session.readings[session.readings["measure"] == measure]
                for who in sorted(set(there["measurer"]) - {session.reference}):
                    yield session.date, measure, who, REFERENCE, f"{last}, then {session.reference}"
            before[measure] = session.reference
