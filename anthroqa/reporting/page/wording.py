"""How are a figure, a person's finding and a notice said in plain words?

Plain text only: whoever puts it on a page escapes it there.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Iterable

import pandas as pd

from anthroqa.intake import Measure, Session
from anthroqa.notes import said
from anthroqa.notes.decisions import Limit, TooNear
from anthroqa.reporting.words.decisions import TOO_NEAR

MINUS = "\u2212"
NO_INTERVAL = "no interval"
STATE_SIGNS = {
    "within limit": "\u25cf",
    "over limit": "\u25a0",
    "not settled": "\u25cb",
    "not judged": "\u00d7",
}


# control characters and those that turn a line around, to be shown by their number
CONTROLS = {
    code: f"\u27e8U+{code:04X}\u27e9"
    for code in (*range(32), 0x7F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))
}
ODD = "\u2020"  # beside a figure that holds a far reading
BEHIND = "\u2021"  # beside a repeat error that is the one behind the rounding
RESOLVED = "within_tem_resolved"
LIMITS = {"repeatability": "limit_tem", "bias": "limit_bias"}


def confidence_of(scores: pd.DataFrame) -> float:
    """The coverage of a score table's intervals."""
    return float(scores["confidence"].iloc[0])


def label(name: str) -> str:
    """A measure's identifier as words."""
    return name.replace("_", " ")


def sentence(text: str) -> str:
    """The text with a capital first letter and the others as they are."""
    return text[:1].upper() + text[1:]


def day(date: dt.date) -> str:
    """A date as people write it."""
    return f"{date.day} {date:%B %Y}"


def places(measure: Measure) -> int:
    """Decimals that show a tenth of the measure's step."""
    return max(0, math.ceil(-math.log10(float(measure.step.size) / 10) - 1e-9))


def unbroken(text: str) -> str:
    """Text that stays on one line."""
    return text.replace(" ", "\u00a0")


def number(value: float, decimals: int, *, signed: bool = False) -> str:
    """A number with a true minus sign and no minus zero; a dash where it is blank."""
    if value is None or math.isnan(value):
        return "\u2013"
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0:
        return text
    return (MINUS if value < 0 else "+" if signed else "") + text


def amount(value: float, measure: Measure, *, signed: bool = False) -> str:
    """A number in the measure's unit, without the unit."""
    return number(value, places(measure), signed=signed)


def reliability(value: float) -> str:
    """A reliability in three decimals, never rounded up to 1."""
    return "over 0.999" if 0.9995 <= value < 1 else number(value, 3)


def reading(value: float, measure: Measure) -> str:
    """A reading or a consensus as people write it: pounds and ounces for ounces."""
    if measure.step.unit != "oz" or math.isnan(value):
        return f"{amount(value, measure)} {measure.step.unit}"
    return f"{int(value // 16)} lb {value % 16:g} oz"


def interval(
    lower: float, upper: float, measure: Measure, *, signed: bool = False,
    limit: float = math.nan, more: int = 0,
) -> str:  # fmt: skip
    """The two ends of an interval, with so many `more` decimals."""
    shown = shown_ends(lower, upper, measure, limit=limit, more=more)
    return " to ".join(number(*end, signed=signed) for end in shown) or NO_INTERVAL


def shown_ends(
    lower: float, upper: float, measure: Measure, *, limit: float, more: int = 0
) -> list[tuple[float, int]]:
    """The two ends of an interval, each with its decimals; none where there is no interval.

    An end that would be rounded onto the limit gets the decimals that show its side.
    """
    ends = []
    for end in (lower, upper) if not math.isnan(lower + upper) else ():
        decimals = places(measure) + more
        while decimals < 6 and abs(end) != limit and abs(round(end, decimals)) == limit:
            decimals += 1
        ends.append((end, decimals))
    return ends


def exact(value: float | None) -> str:
    """An amount in three figures at most."""
    return "" if value is None or math.isnan(value) else f"{value:.3g}"


def limit_of(measure: Measure, key: str) -> str:
    """A limit as the program wrote it, with its worth in the measure's unit if that is another."""
    typed, value = measure.typed[key], getattr(measure, key)
    return (
        typed
        if typed.endswith(measure.step.unit)
        else f"{typed} ({exact(float(value))} {measure.step.unit})"
    )


def with_interval(row, measure: Measure) -> str:
    """A decision's figure, its unit and its interval."""
    if math.isnan(row.estimate):
        return "no figure" if math.isnan(row.upper) else f"{figure_of(row, measure)} {row.unit}"
    return f"{figure_of(row, measure)} {row.unit} ({ends(row, measure)})"


def figure_of(row, measure: Measure) -> str:
    """A decision's figure without its unit; only an upper bound where every repeat is equal.

    A repeat error behind the rounding has one decimal more, to show that it is under a step.
    """
    if row.statistic != RESOLVED:
        return amount(row.estimate, measure, signed=row.question == "bias")
    decimals = places(measure) + 1
    if math.isnan(row.estimate) and not math.isnan(row.upper):
        up = math.ceil(row.upper * 10**decimals - 1e-9) / 10**decimals
        return f"below {number(up, decimals)}"
    return number(row.estimate, decimals)


def ends(row, measure: Measure) -> str:
    """The interval of a decision's figure; a dash where the figure is a bound already."""
    behind = row.statistic == RESOLVED
    if behind and math.isnan(row.estimate):
        return number(row.estimate, 0)
    return interval(
        row.lower, row.upper, measure, signed=row.question == "bias", limit=row.limit, more=behind
    )


def counted(n: int, noun: str, many: str = "") -> str:
    """A number with its noun, in the plural unless it is one."""
    return f"{n} {noun}" if n == 1 else f"{n} {many or noun + 's'}"


def listed(items: Iterable[str]) -> str:
    """Items with commas and a last 'and'."""
    items = list(items)
    return " and ".join([", ".join(items[:-1]), items[-1]]) if len(items) > 1 else "".join(items)


def question(row, session: Session) -> str:
    """What was asked of a person, in words."""
    if row.question == "repeatability":
        return "repeat error"
    if row.statistic == "bias_from_others":
        return "difference from the other staff"
    return f"difference from {session.reference}"


def state(row) -> str:
    """A finding's state with its sign, kept on one line."""
    return unbroken(f"{STATE_SIGNS[row.state]} {row.state}")


def reason(row, measure: Measure, odd: Collection[tuple[str, str]]) -> str:
    """What people with one finding share: why it is open, and which repeat error was judged."""
    parts = [] if row.state in ("within limit", "over limit") else [why_not(row, odd)]
    if row.statistic == RESOLVED and not math.isnan(row.upper):
        parts.append(f"under one step of {measure.step}, so the error behind the rounding")
    return "; ".join(parts)


def why_not(row, odd: Collection[tuple[str, str]]) -> str:
    """The reason that a finding is not settled or not judged, as people share it."""
    if (row.measure, row.measurer) in odd and row.state == "not settled":
        return "an odd reading is inside, and no number of subjects outweighs it"
    if row.state == "not judged":
        return str(row.note.reason) if pd.isna(row.more_subjects) else "too few readings"
    if not pd.isna(row.more_subjects):
        return "more subjects would settle it if the figure stands"
    return TOO_NEAR if TooNear in row.note else str(row.note.reason)


def with_help(row, measure: Measure, odd: Collection[tuple[str, str]]) -> str:
    """A person's figure and interval on one line, and how many more subjects would settle it.

    `odd` holds the measures and measurers with a far reading: no number of subjects helps there.
    """
    marked = (row.measure, row.measurer) in odd
    text = f"{row.measurer}{ODD if marked else ''} {with_interval(row, measure)}"
    text = text.replace(" ", "\u00a0").replace("-", "-\u2060")  # no break inside
    if marked or row.state not in ("not settled", "not judged") or pd.isna(row.more_subjects):
        return text
    return f"{text}, {counted(row.more_subjects, 'more subject')}"


def over_limit(row, session: Session, first: str) -> str:
    """One finding over a limit, with what to look at `first`, before believing it."""
    measure = session.measures[row.measure]
    behind = " behind the rounding" if row.statistic == RESOLVED else ""
    text = (
        f"{row.measurer}, {label(row.measure)}, {question(row, session)}: "
        f"{with_interval(row, measure)}{behind}; limit {limit_of(measure, LIMITS[row.question])}"
    )
    hints = [h for h in (first, *map(said, row.note.without(Limit.WITHOUT_SOURCE))) if h]
    return ". ".join([text, *map(sentence, hints)]) + "."


def by_chance(reach: pd.DataFrame, confidence: float) -> str:
    """How many findings over a limit chance alone would give."""
    people, expected = int(reach["people"].sum()), reach["by_chance"].sum()
    if not people:
        return "Nothing could be held against a limit here, so chance had no finding to give."
    one_in = round(2 / (1 - confidence))
    return (
        f"Even if everybody's true figure lay exactly on the limit, about 1 in {one_in} would come "
        f"out over it by chance alone: {expected:.1f} of the {counted(people, 'finding')} that "
        "could be settled here, and as many within it. For people well inside the limit it is far "
        "rarer. Differences share the error of what they are compared with: they can be wrong "
        "together."
    )


def cannot_show(rows: pd.DataFrame, measure: Measure, against: str) -> str:
    """What a session of this size cannot show about one measure."""
    unit, parts = measure.step.unit, []
    for row in rows.itertuples():
        low, high = (amount(v, measure) for v in (row.within_below, row.over_above))
        if row.question == "repeatability":
            parts.append(
                f"a repeat error is called within the limit only under {low} {unit}, and over it "
                f"only above {high} {unit}"
            )
            continue
        half = amount(row.half_width, measure)
        parts.append(
            f"a difference from {against} under about {half} {unit} cannot be told from none"
        )
        if row.within_below <= 0:
            parts.append("few differences, if any, can be shown to be within the limit")
    return f"{label(measure.name)}: {'; '.join(parts)}."


def round_shift(row, measure: Measure) -> str:
    """What happened between two rounds for all staff together."""
    later = row.statistic.split(":")[1]
    if math.isnan(row.estimate):
        return f"{label(row.measure)}: round {later} cannot be compared with round 1 ({row.note})."
    size = f"{amount(abs(row.estimate), measure)} {row.unit}"
    ends = interval(row.lower, row.upper, measure, signed=True)
    if row.lower > 0 or row.upper < 0:
        way = "higher" if row.estimate > 0 else "lower"
        return (
            f"{label(row.measure)}: round {later} came out {size} {way} than round 1 for the staff "
            f"together ({ends}). Nobody's error: it is taken out before repeat errors of a step or "
            "more are judged."
        )
    return f"{label(row.measure)}: no shift between rounds 1 and {later} can be seen ({ends})."


def too_fine(row, measure: Measure) -> str:
    """One limit that is too fine for its method, and the least that would do."""
    what = "weights with a tare" if row.method == "tared" else "readings"
    return (
        f"{row.limit_name} of {label(row.measure)}, {limit_of(measure, row.limit_name)}, is too "
        f"fine for {what} to {measure.step}: rounding alone gives {exact(row.floor)} {row.unit}, "
        f"and a limit should be three times that, {exact(row.least)} {row.unit}, or more."
    )
