"""What does the page of a read-back drill say: who reads which mark, and how?"""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd

from anthroqa.analysis import Analysis
from anthroqa.intake import Measure, Session
from anthroqa.notes import said
from anthroqa.notes.scores.marks import Drill, Reads
from anthroqa.reporting.page import wording
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, image, paragraph, table
from anthroqa.reporting.page.ruler_plots import alt_rulers, rulers
from anthroqa.reporting.page.wording import amount, label, number, unbroken
from anthroqa.scores.drill.read_back import NEAREST, WRONG_SIDE

SHARED = Drill.SHARED_DISPLACEMENT
_CROWD = 20  # people in one line before they are only counted
_AN_IMAGE = 10  # people; a printed page holds so many panels


def opening(analysis: Analysis) -> Html:
    """Who reads which mark and how, in words, and what to think of before acting."""
    session, marks = analysis.session, analysis.drill_marks
    return Html(
        heading(session.title, 1),
        _facts(session),
        heading("In short", 2),
        *(part for measure in session.measures.values()
          for part in _in_short(measure, marks[marks["measure"] == measure.name])),
        *_doubtful(analysis.drill_readings),
        paragraph(
            "A drill shows how marks are read on a board or a beam that keeps still. It is no "
            "result on children: set it beside one. Rounding down or up cannot be told from an "
            "offset of that size on one instrument: check its zero, and let the person read a "
            "second one. Settings have an error of their own, which should be under a quarter "
            "of a mark. Local protocol and licensed practice decide.",
            lead="Before you act.",
        ),
    )  # fmt: skip


def _facts(session: Session) -> str:
    readings = session.readings
    date = f"{wording.day(session.date)}. " if session.date else ""
    return paragraph(
        f"{date}Read-back drill: "
        f"{wording.counted(readings['measurer'].nunique(), 'person', 'people')}, "
        f"{wording.counted(len(session.true_values), 'setting')} of "
        f"{wording.counted(len(session.measures), 'measure')}, "
        f"{wording.counted(len(readings), 'reading')}."
    )


def _in_short(measure: Measure, rows: pd.DataFrame) -> Iterator[str]:
    """Those who read every mark to the nearest in one line, everybody else in one each."""
    if rows.empty:
        return
    clean = (rows["finding"] == NEAREST) & (rows["mark_steps"] == 1).fillna(False)
    named = f": {_people(rows[clean])}" if clean.any() and clean.sum() <= _CROWD else ""
    who = f"{clean.sum()} of {wording.counted(len(rows), 'person', 'people')}"
    yield paragraph(
        f"{who} read every mark ({measure.step}) to the nearest{named}.",
        lead=f"{wording.sentence(label(measure.name))}.",
    )
    rest = rows[~clean]
    yield bullets(_said(row) for row in rest.head(SOME).itertuples())
    yield from cut(rest, "people")
    yield bullets(_besides(rows[clean]))
    shared = rows.loc[[SHARED in note for note in rows["note"]], "measurer"]
    if len(shared):
        yield paragraph(
            f"{wording.listed(shared)}: nearly everybody who read this instrument is displaced "
            "the same way. It may be the instrument's zero, or what was set: check both before "
            "anything is said to a person.",
            lead="The instrument or the settings?",
        )


def _people(rows: pd.DataFrame) -> str:
    """The codes of people, or how many they are."""
    return wording.listed(rows["measurer"]) if len(rows) <= _CROWD else f"{len(rows)} people"


def _besides(rows: pd.DataFrame) -> Iterator[str]:
    """What else is noted of people who read to the nearest, those with the same note together."""
    more = rows["note"].map(lambda note: note.without(Reads, SHARED))
    for note, some in rows.groupby(more, sort=False):
        if note:
            yield f"{_people(some)}: {note}."


def _said(row) -> str:
    """One person's way of reading in words, with the displacement where it is the matter."""
    notes = row.note.without(SHARED)
    if not row.mark:
        return f"{row.measurer}: {notes}."
    how, *more = notes
    shift = f": {_shift(row)} of a mark" if row.finding not in (NEAREST, WRONG_SIDE) else ""
    return "; ".join([f"{row.measurer} {how}{shift}", *map(said, more)]) + "."


def _shift(row) -> str:
    """The displacement in marks and its interval, kept on one line."""
    if math.isnan(row.shift):
        return number(math.nan, 0)
    ends = (
        "no interval"
        if math.isnan(row.lower)
        else f"{number(row.lower, 2, signed=True)} to {number(row.upper, 2, signed=True)}"
    )
    return unbroken(f"{number(row.shift, 2, signed=True)} ({ends})")


def _doubtful(read: pd.DataFrame) -> Iterator[str]:
    """Settings that most people read a whole mark away or more."""
    odd = read[read["doubtful"]].drop_duplicates(["measure", "subject"])
    if odd.empty:
        return
    yield paragraph(
        "Most people read these a whole mark or more away from what true_values.csv says. Were "
        "they set, or written down, wrongly?",
        lead="Settings to look at:",
    )
    yield bullets(f"{r.subject}, {label(r.measure)}: {r.true}" for r in odd.head(SOME).itertuples())
    yield from cut(odd, "settings")


def by_person(analysis: Analysis) -> Html:
    """Each instrument's ruler with every person's readings, and the table of what was found."""
    parts: list[str] = []
    marks, read, confidence = analysis.drill_marks, analysis.drill_readings, analysis.confidence
    for measure in analysis.session.measures.values():
        rows = marks[marks["measure"] == measure.name]
        if rows.empty:
            continue
        mine, shown = read[read["measure"] == measure.name], rows.head(SOME)
        unit = measure.step.unit
        parts.append(heading(wording.sentence(label(measure.name)), 3))
        for start in range(0, len(shown), _AN_IMAGE):
            some = shown.iloc[start : start + _AN_IMAGE]
            parts.append(image(rulers(mine, some, measure)[0], alt=alt_rulers(some, measure)))
        parts += [
            *cut(rows, "people, in the table below"),
            table(
                ["Who", "Mark read", "How", "Displaced (marks)", f"Displaced ({unit})",
                 f"Error of reading ({unit})", "Settings"],
                [_cells(row, measure) for row in rows.itertuples()],
                caption=f"Marks read, {label(measure.name)}; in brackets the "
                f"{100 * confidence:.0f} % interval",
            ),
        ]  # fmt: skip
    return Html(*parts)


def _cells(row, measure: Measure) -> tuple[object, ...]:
    size = float(measure.step.size)
    steps = row.shift * row.mark_steps if row.mark else math.nan
    return (
        row.measurer, unbroken(row.mark) or number(math.nan, 0), unbroken(row.finding), _shift(row),
        amount(steps * size, measure, signed=True), _error(row.error * size, measure), row.settings,
    )  # fmt: skip


def _error(value: float, measure: Measure) -> str:
    """An error of reading; one too small to be shown is under the last place, and not zero."""
    text = amount(value, measure)
    places = wording.places(measure)
    return text if round(value, places) != 0 else unbroken(f"under {number(0.1**places, places)}")
