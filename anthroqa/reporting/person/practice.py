"""Which steps of technique do a person's own readings point to?

At most three, and none where nothing points to one. A step comes from a pattern over all of the
readings (`scores.watch_for`), from a habit of marks or second readings that are more alike than
expected (`scores.mark_findings`), or from an odd reading that is consistent with a slip. What helps
against a slip or a habit is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.reporting.page.wording import label, listed, sentence
from anthroqa.reporting.person import words
from anthroqa.reporting.session.marks_words import DIGITS, REPEATS
from anthroqa.scores.marks.screening import NAMED, SCREENED

MOST = 3
REPEATS_APART, _SKEWED = "times the others'", "skewness"  # units of patterns that are no difference
_OVER = "over limit"
_WORTH = 0.5  # chance from which on an explanation of a reading is worth nothing; no source
_NOT_TOLD = "cannot be told"  # in the note of a reading that only two people read
_SLIPS = (
    ("poise", "seat each poise in its notch, and read both of them aloud before you write"),
    ("misread by", "read the large figure first, then the small marks, and say both"),
    ("digits exchanged", "after writing, read the sheet back against the display"),
    ("decimal point", "write the point clearly, and read it back against the display"),
    ("written for|entered as", "look which unit the display shows, and write it down with it"),
    ("exchanged|by a row", "find the line by the subject's code, and say the code aloud"),
    ("tare", "write both displays, and check which caregiver is on the scale"),
    ("carried", "look at the display anew for every reading"),
)
_MARKS = "eye level with the mark; write the finest mark every time"
_FRESH = "second reading on a fresh sheet, the first one out of sight, in another order"


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """A step to practise, and what points to it."""

    do: str
    why: str
    order: tuple[int, int]  # the least first


def against_slip(consistent_with: str) -> str:
    """What helps against a slip; "" where nothing is known to."""
    for pattern, do in _SLIPS:
        if re.search(pattern, consistent_with):
            return do
    return ""


def practise(
    decisions: pd.DataFrame, patterns: pd.DataFrame, mark_findings: pd.DataFrame, slips: pd.DataFrame,
    measures: Mapping[str, Measure],
) -> list[Practice]:  # fmt: skip
    """The steps that one person's rows of these tables point to, at most three.

    First what goes with a finding over a limit, one step a measure; then what is named, odd
    readings, and the rest.
    """
    found = [
        *_from_patterns(decisions, patterns, measures),
        *_from_leads(mark_findings, measures),
        *_from_slips(slips, measures),
    ]
    steps: dict[str, Practice] = {}
    for step in sorted(found, key=lambda s: s.order):
        steps.setdefault(step.do, step)
    return list(steps.values())[:MOST]


def _from_patterns(
    decisions: pd.DataFrame, patterns: pd.DataFrame, measures: Mapping[str, Measure]
) -> Iterator[Practice]:
    """A step a pattern, told of the measure in which its figure is over a limit, if in any."""
    state = {(d.measure, d.question): d.state for d in decisions.itertuples()}
    place = patterns.groupby("measure").cumcount()
    for pattern, rows in patterns.assign(place=place).groupby("pattern", sort=False):
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
            f"{pattern.partition(':')[0]}",
            order=(3 * later if finding == _OVER else 4 + later, row.place),
        )


def _asked(row) -> str:
    """The question whose finding goes with a pattern."""
    return "repeatability" if row.unit == REPEATS_APART else "bias"


def _shows(row, measure: Measure) -> str:
    what = label(row.measure)
    if row.unit == measure.step.unit:
        return f"{what} {words.size(row.estimate, measure)} {words.way(row.estimate)}"
    if row.unit == _SKEWED:
        return f"some {what} readings lie far {words.way(row.estimate)}er than the rest"
    return f"{what} repeats {row.estimate:.1f} times as far apart as is usual here"


def _from_leads(mark_findings: pd.DataFrame, measures: Mapping[str, Measure]) -> Iterator[Practice]:
    rows = mark_findings[mark_findings["state"].isin([NAMED, SCREENED])]
    for row in rows.itertuples():
        yield Practice(
            do=_FRESH if row.test == REPEATS else _MARKS,
            why=words.leaning(row, measures[row.measure]),
            order=(1 if row.state == NAMED else 7, row.test == DIGITS),
        )


def _from_slips(slips: pd.DataFrame, measures: Mapping[str, Measure]) -> Iterator[Practice]:
    """From the best explanation of each odd reading, where it is worth something."""
    best = slips[(slips["place"] == 1) & (slips["chance"] < _WORTH)]
    for row in best[~best["note"].str.contains(_NOT_TOLD)].itertuples():
        if do := against_slip(row.consistent_with):
            where = f"{label(row.measure)}, subject {row.subject}, round {row.round}"
            why = f"{where}: consistent with {row.consistent_with}"
            yield Practice(do=do, why=why, order=(2, 0))


def said(step: Practice) -> tuple[str, str]:
    """A step and its reason as two sentences."""
    return f"{sentence(step.do)}.", f"{sentence(step.why)}."
