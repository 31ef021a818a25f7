"""How are a person's own results said to that person, in the words of their instrument?

Plain text only, in the second person; whoever puts it on a page escapes it there. Nobody else's
code is in any of it: the one they are compared with is "the reference".
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from fractions import Fraction

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.intake.written.grammar import Count, nearest_mark, read_count
from anthroqa.notes.decisions import (
    InstrumentDiffers,
    Limit,
    SharedShift,
    TooFewDifferences,
    TooFewSubjects,
    TooNear,
)
from anthroqa.reporting.page import wording
from anthroqa.reporting.page.wording import amount, counted, label, listed, sentence
from anthroqa.reporting.session.marks_words import (
    ALIKE,
    DIGITS,
    MARKS,
    REASONS,
    REPEATS,
    kind,
    most,
    percent,
)
from anthroqa.scores.marks.screening import HABIT, NAMED, SCREENED

ASKED = {"repeatability": "repeat error", "bias": "difference"}
READING = ["measure", "subject", "round"]
_POUND = 16  # ounces
_MOST_LISTED = 4  # odd readings, corrections


def size(value: float, measure: Measure) -> str:
    """An amount without its sign as people say it: pounds and ounces, fractions of an inch.

    Ounces are cut to tenths of the step; where marks are fractions the nearest half step is said.
    """
    value, step = abs(value), measure.step
    if step.unit == "oz" and value >= _POUND:
        pounds = int(value // _POUND)
        return f"{pounds} lb {amount(value - _POUND * pounds, measure)} oz"
    if not _in_fractions(measure):
        return f"{amount(value, measure)} {step.unit}"
    half = step.size / 2
    whole, part = divmod(round(Fraction(value) / half) * half, 1)
    if not whole and not part:
        return f"less than {half} {step.unit}"
    return f"about {' '.join(str(n) for n in (whole, part) if n)} {step.unit}"


def repeat_error(row, measure: Measure) -> str:
    """A person's repeat error with its interval."""
    figure = wording.figure_of(row, measure)
    if math.isnan(row.estimate):
        return "no figure" if math.isnan(row.upper) else f"{figure} {row.unit}"
    there = not math.isnan(row.lower + row.upper)
    ends = wording.ends(row, measure) + (f" {row.unit}" if there else "")
    if _in_fractions(measure):
        return f"{size(row.estimate, measure)} ({figure} {row.unit}; {ends})"
    said = size(row.estimate, measure) if row.estimate >= _POUND else f"{figure} {row.unit}"
    return f"{said} ({ends})"


def _in_fractions(measure: Measure) -> bool:
    """Whether amounts are said as fractions of the unit, and so need decimals beside them."""
    return measure.step.by_halves and measure.step.unit != "oz"


def difference(row, measure: Measure) -> str:
    """A person's difference with its interval, high or low instead of signs."""
    if math.isnan(row.estimate):
        return "no figure"
    ends = _sides(row, measure)
    if round(row.estimate, wording.places(measure)) == 0:
        return f"none to be seen ({ends})"
    maybe = ", or none" if row.lower <= 0 <= row.upper else ""
    exact = f"{amount(abs(row.estimate), measure)} {row.unit}; " if _in_fractions(measure) else ""
    return f"{size(row.estimate, measure)} {way(row.estimate)}{maybe} ({exact}{ends})"


def way(value: float) -> str:
    """On which side of zero."""
    return "high" if value > 0 else "low"


def _sides(row, measure: Measure) -> str:
    """The interval of a difference with sides instead of signs: 0.8 low to 0.6 high."""
    shown = wording.shown_ends(row.lower, row.upper, measure, limit=row.limit)
    if not shown:
        return wording.NO_INTERVAL
    one, two = (wording.number(abs(end), decimals) for end, decimals in shown)
    low, high = (round(*end) for end in shown)
    if high <= 0:
        return f"{two} to {one} {row.unit} low"
    if low >= 0:
        return f"{one} to {two} {row.unit} high"
    return f"{one} {row.unit} low to {two} {row.unit} high"


def compared_with(row) -> str:
    """With whom a difference is, nobody named."""
    return "the other staff" if row.statistic == "bias_from_others" else "the reference"


def why_open(row, *, odd: bool) -> str:
    """Why a finding is not settled or not judged, and what would settle it; "" for others."""
    if row.state == "not judged":
        return f"{_unjudged(row)}{_needed(row)}"
    if row.state != "not settled":
        return ""
    if odd:
        return ""  # told of the odd reading
    if not pd.isna(row.more_subjects):
        return f"{counted(int(row.more_subjects), 'more subject')} would settle it if it stays so"
    if near := row.note.first(TooNear):
        return f"too near the limit: over {near.most} more subjects would be needed"
    return str(row.note.reason) or "it has no interval"


def _unjudged(row) -> str:
    if row.limit != row.limit:
        return "the program has set no limit"
    if few := row.note.first(TooFewDifferences):
        return f"too few pairs of readings, {few.least} are the least"
    if few := row.note.first(TooFewSubjects):
        return f"too few subjects that both measured, {few.least} are the least"
    return str(row.note.reason)


def _needed(row) -> str:
    if pd.isna(row.more_subjects) or row.more_subjects == 0:
        return ""
    return f": {counted(int(row.more_subjects), 'more subject')} would settle it if it stays so"


def held(row) -> Iterator[str]:
    """What else is in a finding that is not the person's."""
    if Limit.TOO_FINE in row.note:
        yield "this limit is too fine for the marks of the instrument"
    if InstrumentDiffers in row.note:
        yield "the reference used another instrument, and part of it may be theirs"
    if SharedShift.DECIDES in row.note:
        yield "it hangs on a shift between rounds that all share"


def by_measure(rows: pd.DataFrame) -> str:
    """Findings with their measures: infant weight (difference), length (both)."""
    said = []
    for name, some in rows.groupby("measure", sort=False):
        asked = [ASKED[q] for q in some["question"]]
        said.append(f"{label(name)} ({' and '.join(asked)})")
    return listed(said)


def instrument(row, measure: Measure) -> str:
    """What an instrument over its tolerance showed for a known load."""
    at = f"for a known {wording.exact(row.load)} {row.unit}" if row.load else "with nothing on it"
    error = row.statistic.startswith("error")
    what = f"read {size(row.estimate, measure)} {way(row.estimate)}" if error else (
        f"was unsteady by {size(row.estimate, measure)}"
    )  # fmt: skip
    return (
        f"{row.instrument} ({label(measure.name)}) {what} {at}; the published tolerance there is "
        f"{wording.exact(row.tolerance)} {row.unit}"
    )


def odd_readings(slips: pd.DataFrame, measures: Mapping[str, Measure]) -> list[str]:
    """One person's odd readings and what they are consistent with; two that change places once."""
    best = slips[slips["place"] == 1].drop_duplicates(READING)
    index = {tuple(row[k] for k in READING): row for row in best.to_dict("records")}
    lines, told = [], set()
    for key, row in index.items():
        if key in told:
            continue
        measure = measures[row["measure"]]
        other = index.get((row["measure"], row["partner"], row["round"]))
        if other and other["partner"] == row["subject"]:
            told.add((row["measure"], row["partner"], row["round"]))
            lines.append(_both(row, other, measure))
            continue
        mine = slips[(slips[READING] == list(key)).all(axis=1)]
        lines.append(_one(row, mine, measure))
    return lines


def _both(one: dict, two: dict, measure: Measure) -> str:
    """Two readings that are consistent with having changed places."""
    wrote, expected = (
        " and ".join(texts) for texts in (
            [_with_unit(r["written"], measure) for r in (one, two)],
            [_mark(r["expected"], measure) for r in (one, two)],
        )
    )  # fmt: skip
    return (
        f"{sentence(label(measure.name))}, subjects {one['subject']} and {two['subject']}, round "
        f"{one['round']}: you wrote {wrote}; about {expected} was expected. Consistent with "
        f"{one['consistent_with']}{_by_chance(max(one['chance'], two['chance']))}."
    )


def _one(best: dict, some: pd.DataFrame, measure: Measure) -> str:
    text = (
        f"{sentence(label(measure.name))}, subject {best['subject']}, round {best['round']}: you "
        f"wrote {_with_unit(best['written'], measure)}; {_expected(best, measure)}."
    )
    likely = some[some["consistent_with"].map(bool)]
    note = f" ({best['note']})" if best["note"] else ""
    if likely.empty:
        return f"{text} No known slip fits{note}."
    fits = "; or ".join(_fit(row, measure) for row in likely.head(2).itertuples())
    return f"{text} Consistent with {fits}{_by_chance(best['chance'])}{note}."


def _expected(best: dict, measure: Measure) -> str:
    """What was expected, and what came of what was written: less a tare, or corrected."""
    expected, gave = f"about {_mark(best['expected'], measure)} was expected", ""
    read = read_count(best["written"], measure.step)
    if not isinstance(read, Count) or read.steps != round(best["value"] / measure.step.size):
        gave = f"which gave {_mark(best['value'], measure)}; "
    return gave + expected


def _by_chance(chance: float) -> str:
    return f" (so would {max(round(100 * chance), 1)} in 100 errors by pure chance)"


def _fit(row, measure: Measure) -> str:
    partner = f" (with {label(row.partner)})" if row.partner else ""
    meant = row.would_have_been
    return f"{row.consistent_with}{partner}" + (
        f", which would give {_mark(meant, measure)}" if meant == meant else ""
    )


def _with_unit(written: str, measure: Measure) -> str:
    bare = written.rstrip()[-1:].isdigit()
    return f"{written} {measure.step.unit}" if bare else written


def _mark(value: float, measure: Measure) -> str:
    """The mark nearest to a value, as people write it."""
    return nearest_mark(Fraction(value), measure.step)


def mark_findings(rows: pd.DataFrame, measures: Mapping[str, Measure]) -> Iterator[str]:
    """What a person's findings say; of digits only where no single mark is said of them."""
    said = rows[rows["state"].isin([NAMED, SCREENED, HABIT])]
    marked = set(said.loc[said["test"] == MARKS, "measure"])
    for row in said.itertuples():
        if row.test == DIGITS and row.measure in marked:
            continue
        text = sentence(leaning(row, measures[row.measure]))
        if row.state == HABIT:
            text += ", as most of the staff do: a habit of the group"
        yield f"{text}."
    if (said["test"] == REPEATS).any():
        yield REASONS


def leaning(row, measure: Measure) -> str:
    """What one finding on marks, digits or second readings says, to the person."""
    what = label(measure.name)
    chance = "; worth a look, and about 1 in 10 such is chance" if row.state == SCREENED else ""
    if row.test == MARKS:
        bound = f" (at least {percent(row.lower)})" if row.lower >= 0.005 else ""
        marks = kind(row.statistic, measure)
        return f"{most(row.estimate)} {what} readings are put on {marks}{bound}{chance}"
    if row.test == DIGITS:
        return f"last figures of {what} are spread less evenly than these subjects give{chance}"
    return f"second readings of {what} are {ALIKE}: {percent(row.estimate)} equal the first{chance}"


def correction(row, measure: Measure) -> str:
    """One correction of their readings; who made it and why is not on this page."""
    return (
        f"{label(measure.name)}, subject {row.subject}, round {row.round}: "
        f"{row.written or 'blank'} became {row.corrected or 'blank'}"
    )


def some_of(items: list[str], what: str) -> Iterator[str]:
    """The first few, and how many more there are."""
    yield from items[:_MOST_LISTED]
    if len(items) > _MOST_LISTED:
        yield f"and {len(items) - _MOST_LISTED} more {what}, which you may ask to see"
