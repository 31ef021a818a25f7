"""Which slips of the pen or the eye would explain a reading that cannot be right?

The catalogue is data: what may have happened, on which instruments, how it acts, and by how
much. Kinds that act on one display are exact here, both ways: what was meant by what is written,
and what may be written where something was meant. Kinds that act on a table of readings are told
by a code; `scores.slips` looks for them. A slip is only ever something that a reading is
consistent with; a person decides. Sizes and how often kinds occur beside one another: common
practice, no source; that weights are written in the wrong unit or with a slipped point: Hirata
et al. (2017), from memory.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import ceil, floor

from anthroqa.intake.written.grammar import Count, as_written, read_count
from anthroqa.intake.written.steps import Step, convert
from anthroqa.notes import kind_of
from anthroqa.notes.scores.slips import Misread, Notch, OtherUnit, Slip, Slipped, WouldBe

Interval = tuple[float, float]
_MOST_HINTS = 3  # slips that a remedy names


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of slip."""

    slip: Slip | None = None  # None: misread, by an amount that depends on the display
    way: str  # "added", "marks", "times", "point", "digits", "tenths", "ounces" or "on the table"
    units: tuple[str, ...] = ()  # of the step; any where empty
    amount: Fraction = Fraction(0)  # what is added, in the first unit; or meant / written
    often: float = 1.0  # beside the other kinds
    mark: Fraction = Fraction(0)  # of the other display that was read, in the unit of the step


def _notches(unit: str, units: tuple[str, ...], sizes: tuple[int, ...]) -> tuple[Kind, ...]:
    return tuple(
        Kind(slip=Notch(amount=Fraction(n), unit=unit), way="added", units=(unit, *units),
             amount=Fraction(n), often=2.0)
        for n in sizes
    )  # fmt: skip


def _other_unit(written: str, meant: str, unit: str, factor: Fraction) -> Kind:
    """The number of another unit's display, which is taken to show tenths of it."""
    return Kind(slip=OtherUnit(written=written, meant=meant), way="times", units=(unit,),
                amount=factor, mark=factor / 10)  # fmt: skip


_LB_IN_KG, _IN_IN_CM = convert(Fraction(1), "lb", "kg"), convert(Fraction(1), "in", "cm")
_TABLE = "on the table"

CATALOGUE: tuple[Kind, ...] = (
    _other_unit("kg", "lb", "lb", 1 / _LB_IN_KG),
    _other_unit("kg", "lb", "oz", 16 / _LB_IN_KG),
    _other_unit("lb", "kg", "kg", _LB_IN_KG),
    _other_unit("cm", "in", "in", 1 / _IN_IN_CM),
    _other_unit("in", "cm", "cm", _IN_IN_CM),
    _other_unit("lb", "oz", "oz", Fraction(16)),
    Kind(slip=Slipped.POINT_LEFT_OUT, way="point", amount=Fraction(1, 10)),
    Kind(slip=Slipped.POINT_MOVED, way="point", amount=Fraction(10)),
    *_notches("lb", ("oz",), (50, 10, 1)),
    *_notches("kg", ("g",), (20, 10, 1)),
    Kind(way="added", units=("cm", "mm"), amount=Fraction(10), often=2.0),
    Kind(way="added", units=("in",), amount=Fraction(1), often=2.0),
    Kind(way="marks", amount=Fraction(5)),
    Kind(way="marks", units=("kg", "g", "cm", "mm"), amount=Fraction(1, 2)),
    Kind(slip=Slipped.DIGITS_EXCHANGED, way="digits", often=2.0),
    Kind(slip=Slipped.OUNCES_AS_TENTHS, way="tenths", units=("lb",), mark=Fraction(1, 16)),
    Kind(slip=Slipped.TENTHS_AS_OUNCES, way="ounces", units=("oz",), mark=Fraction(16, 10)),
    Kind(slip=Slipped.SUBJECTS_EXCHANGED, way=_TABLE, often=2.0),
    Kind(slip=Slipped.MEASURES_EXCHANGED, way=_TABLE),
    Kind(slip=Slipped.TARE_FORGOTTEN, way=_TABLE),
    Kind(slip=Slipped.TARE_TWICE, way=_TABLE),
    Kind(slip=Slipped.ANOTHER_TARE, way=_TABLE),
    Kind(slip=Slipped.CARRIED_FORWARD, way=_TABLE),
    Kind(slip=Slipped.SHEET_SHIFTED, way=_TABLE),
)  # fmt: skip
TABLE = {kind.slip: kind for kind in CATALOGUE if kind.way == _TABLE}
_OF_EQUALS = (
    Slipped.POINT_LEFT_OUT, Slipped.POINT_MOVED, Slipped.SHEET_SHIFTED, Slipped.CARRIED_FORWARD,
    OtherUnit, Misread, Notch, Slipped.OUNCES_AS_TENTHS, Slipped.TENTHS_AS_OUNCES,
    Slipped.TARE_FORGOTTEN, Slipped.ANOTHER_TARE, Slipped.TARE_TWICE, Slipped.DIGITS_EXCHANGED,
    Slipped.MEASURES_EXCHANGED, Slipped.SUBJECTS_EXCHANGED,
)  # fmt: skip


def place(slip: Slip) -> tuple[int, Fraction]:
    """Where a slip stands among those that explain a reading equally well: an order by habit."""
    amount = slip.amount if isinstance(slip, Misread | Notch) else Fraction(0)
    return _OF_EQUALS.index(kind_of(slip)), amount


@lru_cache(maxsize=64)
def on_display(step: Step) -> tuple[Kind, ...]:
    """The kinds that may act on a display with this step, with their amounts filled in."""
    found = []
    for kind in CATALOGUE:
        if kind.way == _TABLE or (kind.units and step.unit not in kind.units):
            continue
        amount = kind.amount
        if kind.way == "marks":
            if kind.amount < 1 and step.cycle() not in (10, 20, 100):
                continue
            amount *= step.whole_mark()
        elif kind.way == "added":
            amount = convert(amount, kind.units[0], step.unit)
        elif kind.way == "tenths" and step.by_halves:
            continue
        slip = kind.slip or Misread(amount=amount, unit=step.unit)
        way = "added" if kind.way == "marks" else kind.way
        found.append(replace(kind, slip=slip, way=way, units=(), amount=amount))
    return tuple(found)


def style_of(text: str, step: Step) -> str:
    """How a display was written down: "pounds", "ounces" or "plain"."""
    if step.unit != "oz":
        return "plain"
    read = read_count(text, step)
    return "ounces" if isinstance(read, Count) and read.form != "pounds" else "pounds"


def display(amount: Fraction, step: Step, style: str) -> str:
    """What is written for an amount that is on a mark, in a style."""
    if style == "ounces":
        return f"{float(amount):.12g}"
    return as_written(int(amount / step.size), step)


def meant(kind: Kind, amount: Fraction, step: Step, style: str) -> tuple[Fraction, ...]:
    """What may have been meant by an amount that is written, in the step's unit."""
    if kind.way == "added":
        both = (amount - kind.amount, amount + kind.amount)
        return tuple(m for m in both if m >= 0)
    if kind.way in ("times", "point"):
        return (amount * kind.amount,)
    if kind.way == "digits":
        return _exchanged(amount, step, style)
    if kind.way == "ounces":
        pounds, ounces = divmod(amount, 16)
        told = ounces.denominator == 1 and 0 < ounces < 10
        return (pounds * 16 + ounces * Fraction(16, 10),) if told else ()
    pounds, part = divmod(amount, 1)  # 12.7 for 12 lb 7 oz, 12.10 for 12 lb 10 oz
    ounces = [n for n, least in ((part * 10, 1), (part * 100, 10)) if least <= n < 16]
    return tuple(pounds + n / 16 for n in ounces if n.denominator == 1)


def written_for(kind: Kind, low: float, high: float, step: Step, style: str) -> list[Interval]:
    """What may be written, by this kind, where an amount from `low` to `high` was meant."""
    if kind.way == "added":
        size = float(kind.amount)
        return [(low - size, high - size), (low + size, high + size)]
    if kind.way in ("times", "point"):
        return [(low / float(kind.amount), high / float(kind.amount))]
    half = float(step.size) / 2
    if kind.way == "digits":
        marks = range(max(ceil(low / step.size), 0), floor(high / step.size) + 1)
        exchanged = (w for m in marks for w in _exchanged(m * step.size, step, style))
        return [(float(w) - half, float(w) + half) for w in exchanged]
    # one pound's worth of tenths or ounces on either side holds whatever may be written
    pound = 1 if kind.way == "tenths" else 16
    marks = range(max(ceil((low - pound) / step.size), 0), floor((high + pound) / step.size) + 1)
    amounts = (m * step.size for m in marks)
    fit = (w for w in amounts if any(low <= m <= high for m in meant(kind, w, step, style)))
    return [(float(w) - half, float(w) + half) for w in fit]


@lru_cache(maxsize=50_000)
def _exchanged(amount: Fraction, step: Step, style: str) -> tuple[Fraction, ...]:
    """Amounts whose display is that of `amount` with two adjacent digits exchanged."""
    found = []
    for text in digits_exchanged(display(amount, step, style)):
        read = read_count(text, step)
        if isinstance(read, Count) and read.steps * step.size not in found:
            found.append(read.steps * step.size)
    return tuple(found)


def digits_exchanged(text: str) -> list[str]:
    """The text with each two adjacent digits of a number exchanged; fractions stay.

    Examples
    --------
    >>> digits_exchanged("73.5"), digits_exchanged("186 3/4"), digits_exchanged("10 lb 12 oz")
    (['37.5', '75.3'], ['816 3/4', '168 3/4'], ['10 lb 21 oz'])
    """
    found = []
    for number in re.finditer(r"(?<![\d/.])\d+(?:\.\d+)?(?![\d/.])", text):
        digits = [i for i in range(*number.span()) if text[i] != "."]
        for i, j in pairwise(digits):
            new = [*text]
            new[i], new[j] = text[j], text[i]
            start = "".join(new[number.start() : number.end()])
            if text[i] != text[j] and not re.match(r"0\d", start):
                found.append("".join(new))
    return found


def consistent_with(
    amount: Fraction, step: Step, low: Fraction | None, high: Fraction | None
) -> tuple[WouldBe, ...]:
    """Slips that bring an amount in the step's unit on a mark inside `low` to `high`.

    Each with the mark nearest to what would have been meant; what was written in another unit
    falls between marks, so there the nearest one will do.
    """
    if low is None or high is None:
        return ()
    found = []
    for kind in on_display(step):
        on_mark = (amount / step.size).denominator == 1
        if kind.way in ("digits", "tenths", "ounces") and not on_mark:
            continue
        for m in meant(kind, amount, step, "pounds"):
            marked = kind.way in ("times", "point") or (m / step.size).denominator == 1
            if marked and low <= m <= high:
                found.append(_would_be(kind, m, step))
    return tuple(found[:_MOST_HINTS])


def decimal_pounds(
    pounds: Fraction, step: Step, low: Fraction | None, high: Fraction | None
) -> tuple[WouldBe, ...]:
    """What decimal pounds may stand for in a measure of ounces, inside the range."""
    kind = next(kind for kind in CATALOGUE if kind.way == "tenths")
    amounts = [16 * m for m in meant(kind, pounds, Step(Fraction(1, 100), "lb"), "plain")]
    return tuple(
        _would_be(kind, m, step)
        for m in amounts
        if (low is None or m >= low) and (high is None or m <= high)
    )


def _would_be(kind: Kind, meant: Fraction, step: Step) -> WouldBe:
    return WouldBe(slip=kind.slip, meant=meant, size=step.size, unit=step.unit)
