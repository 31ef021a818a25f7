"""Which steps of technique do a person's own readings point to?

At most three, and none where nothing points to one. A step comes from a pattern over all of the
readings (`scores.watch_for`), from a habit of marks or second readings that are more alike than
expected (`scores.mark_findings`), or from an odd reading that is consistent with a slip. What helps
against a slip or a habit is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.notes import Kind, kind_of
from anthroqa.notes.scores.odd import Explanation, Technique
from anthroqa.notes.scores.slips import Misread, Notch, OtherUnit, Slip, Slipped
from anthroqa.reporting.page.wording import label, listed, sentence
from anthroqa.reporting.person import words
from anthroqa.reporting.session.marks_words import DIGITS, REPEATS
from anthroqa.reporting.words.scores import odd
from anthroqa.scores.marks.screening import NAMED, SCREENED
from anthroqa.scores.odd.pattern_catalogue import SKEWNESS, TIMES_THE_OTHERS

MOST = 3
_OVER = "over limit"
_WORTH = 0.5  # chance from which on an explanation of a reading is worth nothing; no source
AGAINST: dict[Kind, Technique] = {
    Notch: Technique.SEAT_THE_POISE,
    Misread: Technique.LARGE_FIGURE_FIRST,
    OtherUnit: Technique.NOTE_THE_UNIT,
    Slipped.DIGITS_EXCHANGED: Technique.READ_THE_SHEET_BACK,
    Slipped.POINT_LEFT_OUT: Technique.WRITE_THE_POINT,
    Slipped.POINT_MOVED: Technique.WRITE_THE_POINT,
    Slipped.OUNCES_AS_TENTHS: Technique.NOTE_THE_UNIT,
    Slipped.TENTHS_AS_OUNCES: Technique.NOTE_THE_UNIT,
    Slipped.SUBJECTS_EXCHANGED: Technique.SAY_THE_CODE,
    Slipped.MEASURES_EXCHANGED: Technique.SAY_THE_CODE,
    Slipped.SHEET_SHIFTED: Technique.SAY_THE_CODE,
    Slipped.TARE_FORGOTTEN: Technique.WRITE_BOTH_DISPLAYS,
    Slipped.TARE_TWICE: Technique.WRITE_BOTH_DISPLAYS,
    Slipped.ANOTHER_TARE: Technique.WRITE_BOTH_DISPLAYS,
    Slipped.CARRIED_FORWARD: Technique.LOOK_ANEW,
}  # what helps against a slip


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """A step to practise, and what points to it."""

    do: Technique
    why: str
    order: tuple[int, int]  # the least first


def practise(
    decisions: pd.DataFrame, patterns: pd.DataFrame, mark_findings: pd.DataFrame,
    slips: pd.DataFrame, measures: Mapping[str, Measure],
) -> list[Practice]:  # fmt: skip
    """The steps that one person's rows of these tables point to, at most three.

    First what goes with a finding over a limit, one step a measure; then what is named, odd
    readings, and the rest.
    """
    found = [
        *_from_patterns(decisions, patterns, measures),
        *_from_marks(mark_findings, measures),
        *_from_slips(slips, measures),
    ]
    steps: dict[Technique, Practice] = {}
    for step in sorted(found, key=lambda s: s.order):
        steps.setdefault(step.do, step)
    return list(steps.values())[:MOST]


def _from_patterns(
    decisions: pd.DataFrame, patterns: pd.DataFrame, measures: Mapping[str, Measure]
) -> Iterator[Practice]:
    """A step a pattern, told of the measure in which its figure is over a limit, if in any."""
    state = {(d.measure, d.question): d.state for d in decisions.itertuples()}
    place = patterns.groupby("measure").cumcount()
    for fault, rows in patterns.assign(place=place).groupby("pattern", sort=False):
        found = [
            (state.get((row.measure, _asked(row)), "not judged"), row) for row in rows.itertuples()
        ]
        finding, row = min(found, key=lambda one: one[0] != _OVER)  # the first of equals
        also = [label(other.measure) for _, other in found if other is not row]
        alike = f", and the same in {listed(also)}" if also else ""
        later = row.place > 0
        yield Practice(
            do=row.technique,
            why=f"{_shows(row, measures[row.measure])} ({finding}){alike}: as with "
            f"{odd.name(fault)}",
            order=(3 * later if finding == _OVER else 4 + later, row.place),
        )


def _asked(row) -> str:
    """The question whose finding goes with a pattern."""
    return "repeatability" if row.unit == TIMES_THE_OTHERS else "bias"


def _shows(row, measure: Measure) -> str:
    what = label(row.measure)
    if row.unit == measure.step.unit:
        return f"{what} {words.size(row.estimate, measure)} {words.way(row.estimate)}"
    if row.unit == SKEWNESS:
        return f"some {what} readings lie far {words.way(row.estimate)}er than the rest"
    return f"{what} repeats {row.estimate:.1f} times as far apart as is usual here"


def _from_marks(mark_findings: pd.DataFrame, measures: Mapping[str, Measure]) -> Iterator[Practice]:
    rows = mark_findings[mark_findings["state"].isin([NAMED, SCREENED])]
    for row in rows.itertuples():
        yield Practice(
            do=Technique.FRESH_SHEET if row.test == REPEATS else Technique.FINEST_MARK,
            why=words.leaning(row, measures[row.measure]),
            order=(1 if row.state == NAMED else 7, row.test == DIGITS),
        )


def _from_slips(slips: pd.DataFrame, measures: Mapping[str, Measure]) -> Iterator[Practice]:
    """From the best explanation of each odd reading, where it is worth something."""
    best = slips[(slips["place"] == 1) & (slips["chance"] < _WORTH)]
    for row in best.itertuples():
        slip = row.consistent_with.first(Slip)
        if slip and Explanation.EITHER not in row.note:
            where = f"{label(row.measure)}, subject {row.subject}, round {row.round}"
            why = f"{where}: consistent with {slip}"
            yield Practice(do=AGAINST[kind_of(slip)], why=why, order=(2, 0))


def said(step: Practice) -> tuple[str, str]:
    """A step and its reason as two sentences."""
    return f"{sentence(str(step.do))}.", f"{sentence(step.why)}."
