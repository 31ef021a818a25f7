"""What happened between the sessions of a program that a picture over time must show?

Somebody was trained again, read on another instrument than the time before, or was held against
another reference. No number is made here: it is what the files of the sessions say.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pandas as pd

from anthroqa.notes import NONE, Notes, Quoted, notes_of
from anthroqa.notes.program.staff import Followed
from anthroqa.program.staff.sessions import Program

RETRAINED, INSTRUMENT, REFERENCE = "retrained", "another instrument", "another reference"
LETTERS = {RETRAINED: "T", INSTRUMENT: "K", REFERENCE: "R"}
COLUMNS = ["date", "measure", "measurer", "event", "note"]
_Event = tuple[dt.date, str, str, str, Notes]


def events(program: Program) -> pd.DataFrame:
    """A row an event: `date, measure, measurer, event, note`; `date` is that of the session after.

    `note` holds codes: what was before and what came, or what the table of the retrained says.
    Training has its own date; a training in every measure has a row for each.
    """
    rows = [*_trainings(program), *_instruments(program), *_references(program)]
    return pd.DataFrame(rows, columns=COLUMNS)


def _trainings(program: Program) -> Iterator[_Event]:
    for row in program.retraining.itertuples():
        for measure in [row.measure] if row.measure else program.measures:
            said = notes_of(Quoted(text=str(row.note))) if row.note else NONE
            yield row.date, measure, row.measurer, RETRAINED, said


def _instruments(program: Program) -> Iterator[_Event]:
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
                note = Followed(before=tuple(sorted(earlier)), after=tuple(sorted(now)))
                yield session.date, measure, who, INSTRUMENT, notes_of(note)
            before[measure, who] = now


def _references(program: Program) -> Iterator[_Event]:
    """Sessions held against another reference than the one before, for everybody in them."""
    before: dict[str, str] = {}
    for session in program.sessions:
        for measure in session.measures if session.reference else ():
            last = before.get(measure)
            if last and last != session.reference:
                there = session.readings[session.readings["measure"] == measure]
                note = notes_of(Followed(before=(last,), after=(session.reference,)))
                for who in sorted(set(there["measurer"]) - {session.reference}):
                    yield session.date, measure, who, REFERENCE, note
            before[measure] = session.reference
