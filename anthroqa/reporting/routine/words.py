"""How are the findings of routine records said in plain words? Plain text only."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pandas as pd

from anthroqa.intake import EVERYBODY, Measure
from anthroqa.program.routine.findings.behind_changes import COMB, OFF_STEP
from anthroqa.reporting.page.wording import label, listed, number, unbroken
from anthroqa.reporting.routine.figures import month
from anthroqa.reporting.session.marks_words import kind, percent

PERSON, SITE, INSTRUMENT, PROGRAM = "measurer", "site", "instrument", "everybody"
PLURAL = {PERSON: "people", SITE: "sites", INSTRUMENT: "instruments"}
_CROWD = 20  # codes in one line before they are only counted


def who(level: str, code: str) -> str:
    """A person by the code alone, a site or an instrument with what it is."""
    if level == PROGRAM or code in ("", EVERYBODY):
        return "everybody"
    return code if level == PERSON else f"{level} {code}"


def counted(n: int, noun: str, many: str = "") -> str:
    """A number, its thousands apart, with its noun."""
    return f"{n:,} {noun if n == 1 else many or noun + 's'}"


def codes(some: Iterable[str], what: str = "people") -> str:
    """Codes in a line, or how many they are."""
    some = list(some)
    return listed(some) if len(some) <= _CROWD else f"{len(some)} {what}"


def marks(mark: str, measure: Measure) -> str:
    """A mark in words, as in quarter inches."""
    return kind(f"coarse_share:{mark}", measure)


def whole_mark(measure: Measure) -> str:
    """What the whole mark of a measure is called; "" where the step does not say."""
    return measure.coarse_marks.get(measure.cycle or 0, "")


def points(lower: float, upper: float, estimate: float = math.nan, *, signed: bool = False) -> str:
    """The interval of a difference of shares in points of a hundred, after its estimate if any."""
    known = [abs(100 * v) for v in (lower, upper, estimate) if not math.isnan(v)]
    decimals = 0 if not known or max(known) >= 9.5 else 1
    ends = (
        "no interval"
        if math.isnan(lower) or math.isnan(upper)
        else f"{number(100 * lower, decimals, signed=signed)} to "
        f"{number(100 * upper, decimals, signed=signed)}"
    )
    if math.isnan(estimate):
        return unbroken(ends)
    return unbroken(f"{number(100 * estimate, decimals, signed=signed)} ({ends})")


def excess(row) -> str:
    """How many points more than expected are put on a mark."""
    return points(row.excess_lower, row.excess_upper, row.excess)


def put(row, measure: Measure) -> str:
    """What share of the readings is put on a mark, and beyond what."""
    usual = f", {percent(row.expected)} expected" if row.expected >= 0.005 else ""
    ends = unbroken(f"{100 * row.lower:.0f} to {percent(row.upper)}")
    return (
        f"puts {percent(row.share)} of {counted(int(row.n), 'reading')} on "
        f"{marks(row.mark, measure)} ({ends}{usual})"
    )


def leaning(row, measure: Measure) -> str:
    """One person of the audit as a sentence's body."""
    return f"{who(row.level, row.who)}, {label(row.measure)}: {put(row, measure)}"


def place(row) -> str:
    """Site, instrument and person of a row, as far as they are told."""
    said = [who(of, getattr(row, of)) for of in (SITE, INSTRUMENT, PERSON) if getattr(row, of)]
    return ", ".join(said) or "everybody"


def converted(row) -> str:
    """One conversion as a sentence's body."""
    since = f", {periods(row.period)}" if row.period else ""
    share = row.on / row.n if row.n else math.nan
    return (
        f"{place(row)}, {label(row.measure)}{since}: {percent(share)} of "
        f"{counted(int(row.n), 'reading')} lie on marks of {row.source}, where chance gives "
        f"{percent(row.expected)}"
    )


def periods(period: str) -> str:
    """A period, or from one to another."""
    first, _, last = period.partition("..")
    return f"{month(first)} to {month(last)}" if last else month(first)


def share_of_what(mark: str, measure: Measure) -> str:
    """What a share by month is of: readings on a mark, or what else is followed."""
    if mark in measure.coarse_marks.values():
        return f"on {marks(mark, measure)}"
    return {COMB: "on marks of another unit", OFF_STEP: "off every mark"}.get(mark, mark)


def changed(row, measure: Measure) -> str:
    """One change point as a sentence's body."""
    return (
        f"{who(row.level, row.who)}, {label(row.measure)}: from {month(row.period)} on "
        f"{percent(row.after)} {share_of_what(row.mark, measure)}, {percent(row.before)} before"
    )


def repeated(row) -> str:
    """One finding of repeated values as a sentence's body."""
    return (
        f"{who(row.level, row.who)}, {label(row.measure)}: {int(row.same):,} of "
        f"{counted(int(row.followed), 'reading')} equal the one before of the same child "
        f"({percent(row.share)}), {percent(row.expected)} among the others"
    )


def share_span(row) -> str:
    """The interval of a share."""
    if math.isnan(row.lower):
        return "no interval"
    return unbroken(f"{100 * row.lower:.0f} to {percent(row.upper)}")


def small(share: float) -> str:
    """A share that may be small, in percent; a dash for none at all."""
    if math.isnan(share) or share == 0:
        return number(math.nan, 0)
    return unbroken(f"{number(100 * share, 0 if share >= 0.095 else 1)} %")


def p(value: float) -> str:
    """A p-value in three decimals."""
    if math.isnan(value):
        return number(math.nan, 0)
    return "under 0.001" if value < 0.0005 else f"{value:.3f}"


def total(counts: pd.DataFrame, what: str) -> int:
    """How many rows of the records are of a kind."""
    return int(counts.loc[counts["kind"] == what, "n"].sum())


def of_marks(row, measure: Measure) -> str:
    """The kind of a finding of the audit: who, and which marks."""
    return f"{_some(row.level)}, {label(row.measure)} on {marks(row.mark, measure)}"


def of_unit(row) -> str:
    """The kind of a conversion."""
    return f"{label(row.measure)} on marks of {row.source}, sites, instruments and people"


def of_change(row, measure: Measure) -> str:
    """The kind of a change."""
    what = share_of_what(row.mark, measure)
    return f"{_some(row.level)}, {label(row.measure)} {what}, from {month(row.period)} on"


def of_repeats(row) -> str:
    """The kind of a finding of repeated values."""
    return f"{_some(row.level)}, {label(row.measure)}"


def _some(level: str) -> str:
    return PLURAL.get(level, level)
