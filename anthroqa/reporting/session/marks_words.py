"""How are a habit of marks, and second readings that are too alike, said in plain words?

Plain text only. Second readings are `as expected` or `more alike than expected`, never more.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction
from itertools import takewhile

import pandas as pd

from anthroqa.decisions.reach_of_marks import POWER
from anthroqa.intake import Measure
from anthroqa.intake.written.steps import Step
from anthroqa.notes import Notes, notes_of
from anthroqa.notes.scores.figures import NoPValue, Repeats
from anthroqa.notes.scores.marks import ConvertedLeftOut
from anthroqa.reporting.page.wording import counted, label, listed, sentence
from anthroqa.scores.marks.screening import NAMED_AT, SCREENED_AT, TESTS, UNTESTED

MARKS, REPEATS, DIGITS = TESTS
ALIKE = "more alike than expected"
REASONS = (
    f"{sentence(ALIKE)} has many possible reasons: the first sheet in sight, a reading "
    "remembered or copied, an unusually steady person."
)
_NEARLY_ALL = 0.95
_UNITS = {
    "kg": "kilograms", "g": "grams", "lb": "pounds", "oz": "ounces", "cm": "centimetres",
    "mm": "millimetres", "in": "inches",
}  # fmt: skip
_BESIDES = (Repeats.CONVERTED_LEFT_OUT, Repeats.TARED)  # no reasons, nor is what follows
_PARTS = {Fraction(1): "whole", Fraction(1, 2): "half", Fraction(1, 4): "quarter"}


def leaning(row, measure: Measure) -> str:
    """What share of a person's readings is put on a mark, and at least how much."""
    bound = (
        f"at least {percent(row.lower)}" if row.lower >= 0.005 else f"up to {percent(row.upper)}"
    )
    return (
        f"{row.measurer} puts {most(row.estimate)} {label(measure.name)} readings on "
        f"{kind(row.statistic, measure)} ({bound})"
    )


def habit(row, measure: Measure) -> str:
    """What most of the staff do."""
    return (
        f"Most of the staff put {label(measure.name)} readings on {kind(row.statistic, measure)}, "
        f"on average {percent(row.estimate)} of them: a habit of the group, nobody is named for it"
    )


def alike(row, measure: Measure, repeats: int) -> str:
    """How many of a person's repeats equal the first reading."""
    return (
        f"{row.measurer}: {row.estimate * repeats:.0f} of {repeats} second readings of "
        f"{label(measure.name)} equal the first ({percent(row.estimate)}; {between(row)}), "
        f"{ALIKE}"
    )


def mark(statistic: str) -> str:
    """What the mark of a share is called on the instrument; "" for another statistic."""
    return statistic.partition(":")[2]


def steps_of(statistic: str, measure: Measure) -> int:
    """The mark of a share in steps; one for another statistic."""
    return {called: n for n, called in measure.coarse_marks.items()}.get(mark(statistic), 1)


def kind(statistic: str, measure: Measure) -> str:
    """A mark in words: quarter inches, whole pounds, 2 oz marks."""
    size = steps_of(statistic, measure) * measure.step.size
    found = Step(size, measure.step.unit).in_larger()
    part = _PARTS.get(found.size)
    return f"{part} {_UNITS[found.unit]}" if part else f"{mark(statistic)} marks"


def tests(mark_findings: pd.DataFrame) -> int:
    """How many tests could name a person."""
    return int(
        (mark_findings["test"].isin([MARKS, REPEATS]) & (mark_findings["state"] != UNTESTED)).sum()
    )


def by_chance(mark_findings: pd.DataFrame) -> str:
    """What chance alone would give, before and after the adjustment; "" without tests."""
    n = tests(mark_findings)
    if not n:
        return ""
    return (
        f"{counted(n, 'test')} of marks and second readings could name a person. Taken one by "
        f"one, 1 in {1 / NAMED_AT:.0f} would do so by chance alone: {n * NAMED_AT:.1f} here. "
        f"After the adjustment (Holm) at most 1 session in {1 / NAMED_AT:.0f} names anybody by "
        f"chance; of what is listed as worth a look, about 1 in {1 / SCREENED_AT:.0f} is chance."
    )


def must_take(marked: pd.DataFrame) -> list[str]:
    """How strong a habit must be to be named, from `marks_reach`: of each measure the ends."""
    seen, hidden = [], []
    for name, rows in marked.groupby("measure", sort=False):
        some = list(rows[rows["least_share"].notna()].itertuples())
        ends = [f"{percent(r.least_share)} ({r.mark})" for r in some]
        if ends:
            span = " or ".join(dict.fromkeys([ends[0], ends[-1]]))
            seen.append(f"{label(name)} {span}")
        else:
            hidden.append(label(name))
    weak = f"no habit of marks is likely to be named in {listed(hidden)}."
    return [
        "A habit of marks must take at least this share of the readings to be named in "
        f"{100 * POWER:.0f} % of such sessions: {'; '.join(seen)}."
    ] * bool(seen) + [weak] * bool(hidden)


def why_untested(notes: Notes) -> Notes:
    """The reason at the head of these, without what was left out."""
    said = takewhile(lambda n: n not in _BESIDES, notes.without(ConvertedLeftOut))
    return notes_of(*(n.why if isinstance(n, NoPValue) else n for n in said))


def converted(notes: Iterable[Notes]) -> int:
    """How many readings were left out because they were converted at intake."""
    return sum(found.readings for n in notes if (found := n.first(ConvertedLeftOut)))


def percent(share: float) -> str:
    """A share as a whole percentage; a dash where it is blank."""
    return "\u2013" if math.isnan(share) else f"{100 * share:.0f}\u00a0%"


def most(share: float) -> str:
    """A share in a sentence, before the noun."""
    if share >= _NEARLY_ALL or share < 0.005:
        return "nearly all" if share >= _NEARLY_ALL else "hardly any"
    return f"about {percent(share)} of the"


def between(row) -> str:
    """The interval of a share."""
    if math.isnan(row.lower):
        return "no interval"
    return f"{100 * row.lower:.0f} to {percent(row.upper)}"
