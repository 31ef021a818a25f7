"""What did the person write down, as a whole count of the instrument's steps?

A reading is understood in exactly one way or it is refused with the reason: nothing is rounded
and nothing is guessed. `as_written` is the way back.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from anthroqa.intake.written.steps import CUSTOMARY, UNITS, Step, convert, same_kind
from anthroqa.notes.intake.written import (
    ByZero,
    Negative,
    NotBelowOne,
    OffMark,
    OtherKindOfUnit,
    Placeholder,
    Refusal,
    TooLarge,
    TooLong,
    TwoWays,
    UnknownUnit,
    Unread,
    Word,
)

_ALIASES = {
    "lbs": "lb", "pound": "lb", "pounds": "lb",
    "ozs": "oz", "ounce": "oz", "ounces": "oz",
    "inch": "in", "inches": "in", "ins": "in", '"': "in",
    "kgs": "kg",
}  # fmt: skip

_AMOUNT = r"(?:(\d+)(?: +| *- *))?(\d+) *[/] *(\d+)|(\d+(?:\.\d*)?|\.\d+)"
_UNIT = r'([a-z]+|")'
_ONE = re.compile(rf"(?:{_AMOUNT})(?: *{_UNIT}\.?)?", re.IGNORECASE | re.ASCII)
_TWO = re.compile(
    # "lb.5" is no pound-and-ounce form: an abbreviation's point, or a decimal one?
    rf"(?:{_AMOUNT}) *{_UNIT}(?!\.\d)\.?[ ,]*(?:{_AMOUNT})(?: *{_UNIT}\.?)?",
    re.IGNORECASE | re.ASCII,
)
_LONGEST = 80  # characters: no display shows more, and any amount this short fits a float
_SCIENTIFIC = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+) *e *[-+]?\d+", re.IGNORECASE)

_SAME_SIGN = str.maketrans({
    "\u00a0": " ", "\u2007": " ", "\u2009": " ", "\u202f": " ", "\t": " ",
    "\u2044": "/", "\u2215": "/",
    "\u2212": "-", "\u2010": "-", "\u2011": "-", "\u2013": "-", "\u2014": "-",
    "\u2033": '"', "\u201d": '"',
    "\ufeff": None, "\u200b": None,
})  # fmt: skip

_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
_DATE = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}(?:[ T].*)?"  # 2026-03-08, 3/8/2026
    r"|\d{1,2}[-/.][^\W\d_]{3,9}\.?(?:[-/. ]\d{2,4})?"  # 8-Mar, 8-mars-26
    r"|[^\W\d_]{3,9}\.?[-/]\d{1,4}"  # Mar-26
    rf"|\d{{1,2}} ?{_MONTH}\.?(?: \d{{2,4}})?|{_MONTH}\.? \d{{1,4}}",  # 8 Mar, Mar 26
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Term:
    """One number with its unit, if one was written."""

    amount: Fraction
    unit: str | None
    whole: bool  # written without a decimal point or a fraction
    decimal: bool  # written with a decimal point


@dataclass(frozen=True, slots=True)
class Count:
    """A reading as whole steps, and how it was written."""

    steps: int
    form: str  # "bare", "pounds" or "unit"
    converted: bool = False  # from pounds or inches into metric, or back: other marks were read


def tidy(text: str) -> str:
    """The same text with one kind of space, dash, stroke and fraction, outer spaces gone."""
    text = text.translate(_SAME_SIGN)
    if any(unicodedata.decomposition(c).startswith("<fraction>") for c in text):
        text = "".join(
            f" {unicodedata.normalize('NFKC', c)} ".replace("\u2044", "/")
            if unicodedata.decomposition(c).startswith("<fraction>")
            else c
            for c in text
        )
    return text.strip()


def _term(whole: str, num: str, den: str, dec: str, unit: str) -> Term | Refusal:
    if unit is not None:
        unit = _ALIASES.get(unit.lower(), unit.lower())
        if unit not in UNITS:
            return UnknownUnit(unit=unit)
    if dec is not None:
        return Term(Fraction(dec.rstrip(".") or "0"), unit, "." not in dec, "." in dec)
    if int(den) == 0:
        return ByZero(num=num, den=den)
    if int(num) >= int(den):
        return NotBelowOne(num=num, den=den)
    amount = Fraction(int(whole or 0)) + Fraction(int(num), int(den))
    return Term(amount, unit, False, False)


def _not_a_number(text: str) -> Refusal:
    """The reason a text that no form fits is refused."""
    if text.startswith("'"):
        return Unread.APOSTROPHE
    if re.fullmatch(r"- *(?:\d|\.\d).*", text):
        return Negative()
    if _SCIENTIFIC.fullmatch(text):
        return Unread.SCIENTIFIC
    if re.fullmatch(r"[-+]?(?:nan|inf|infinity|null|none|n/a|#\S+)", text, re.IGNORECASE):
        return Placeholder()
    if re.fullmatch(r"\d+,\d+(?: *[a-z]+)?", text, re.IGNORECASE):
        return Unread.DECIMAL_COMMA
    if re.fullmatch(r"-+|\?+|[^\W\d_]+(?: [^\W\d_]+)*[.!]?", text) and not _DATE.fullmatch(text):
        return Word()
    if re.fullmatch(r"\d+ *(?:lbs?|pounds?)\.?[ ,]*\d+", text, re.IGNORECASE):
        return Unread.SECOND_UNIT_MISSING
    if re.fullmatch(r"\d{1,2}:\d{2}(?::\d{2})?", text) or _DATE.fullmatch(text):
        return Unread.DATE
    return Unread.NO_NUMBER_OF_MARKS


def parse_terms(text: str, *, decimal_comma: bool) -> tuple[Term, ...] | Refusal:
    """One or two numbers with their units from a tidied text."""
    if len(text) > _LONGEST:
        return TooLong()
    if decimal_comma:
        text = re.sub(r"(?<![\d.,])(\d+|^),(\d+)(?![\d.,])", r"\1.\2", text)
    for pattern in () if _SCIENTIFIC.fullmatch(text) else (_ONE, _TWO):
        match = pattern.fullmatch(text)
        if match:
            parts = match.groups()
            terms = [_term(*parts[i : i + 5]) for i in range(0, len(parts), 5)]
            refused = next((t for t in terms if isinstance(t, Refusal)), None)
            if refused is not None:
                # "24-Mar" has the shape of a number with a unit; it is a date all the same
                return _not_a_number(text) if _DATE.fullmatch(text) else refused
            return tuple(terms)  # type: ignore[arg-type]
    return _not_a_number(text)


def parse_quantity(text: str) -> tuple[Fraction, str] | Refusal:
    """An amount and its unit, as settings write them: `1.5 oz`, `1/4 lb`, `3 lb 8 oz`."""
    terms = parse_terms(tidy(text), decimal_comma=False)
    if isinstance(terms, Refusal):
        return terms
    if len(terms) == 2:
        return _pounds_and_ounces(terms)
    if terms[0].unit is None:
        return Unread.UNIT_MISSING
    return terms[0].amount, terms[0].unit


def _pounds_and_ounces(terms: tuple[Term, ...]) -> tuple[Fraction, str] | Refusal:
    pounds, ounces = terms
    if (pounds.unit, ounces.unit) != ("lb", "oz"):
        return Unread.NOT_POUNDS_AND_OUNCES
    if not pounds.whole:
        return Unread.POUNDS_NOT_WHOLE
    if ounces.amount >= 16:
        return Unread.SIXTEEN_OUNCES
    return pounds.amount * 16 + ounces.amount, "oz"


@dataclass(frozen=True, slots=True)
class _Read:
    """An amount as it was written, before it is put on steps."""

    terms: tuple[Term, ...]
    amount: Fraction
    unit: str
    form: str  # "bare", "pounds" or "unit"


def _read(text: str, step: Step, *, decimal_comma: bool) -> _Read | Refusal:
    terms = parse_terms(tidy(text), decimal_comma=decimal_comma)
    if isinstance(terms, Refusal):
        return terms
    if len(terms) == 2:
        quantity = _pounds_and_ounces(terms)
        if isinstance(quantity, Refusal):
            return _not_a_number(tidy(text)) if terms[1].unit is None else quantity
        read = _Read(terms, *quantity, "pounds")
    else:
        term = terms[0]
        amount, unit = term.amount, term.unit or step.unit
        form = "bare" if term.unit is None else "pounds" if unit == "lb" else "unit"
        if step.unit == "oz" and unit == "lb" and term.decimal and amount.denominator != 1:
            return TwoWays(text=text)
        read = _Read(terms, amount, unit, form)
    if not same_kind(read.unit, step.unit):
        return OtherKindOfUnit(unit=read.unit, step=step)
    if step.by_halves and read.form == "bare" and terms[0].whole and 40_000 <= read.amount < 60_000:
        return Unread.NUMBER_OF_A_DATE
    return read


def read_amount(text: str, step: Step, *, decimal_comma: bool = False) -> Fraction | Refusal:
    """An amount in steps, exactly and on a step or not: where a slider was set, a test mass.

    Examples
    --------
    >>> read_amount("24 9/16 in", Step(Fraction(1, 8), "in"))
    Fraction(393, 2)
    """
    read = _read(text, step, decimal_comma=decimal_comma)
    if isinstance(read, Refusal):
        return read
    return convert(read.amount, read.unit, step.unit) / step.size


@lru_cache(maxsize=100_000)
def read_count(text: str, step: Step, *, decimal_comma: bool = False) -> Count | Refusal:
    """A reading as displayed, in whole steps; a bare number is in the step's unit.

    `text` is what was written, `step` the finest mark of the measure.
    """
    read = _read(text, step, decimal_comma=decimal_comma)
    if isinstance(read, Refusal):
        return read
    count = convert(read.amount, read.unit, step.unit) / step.size
    if count.denominator != 1:
        return _off_mark(tidy(text), read, int(count), step)
    if count >= 2**53:
        return TooLarge()
    converted = (read.unit in CUSTOMARY) != (step.unit in CUSTOMARY)
    return Count(int(count), read.form, converted)


def _off_mark(text: str, read: _Read, below: int, step: Step) -> OffMark:
    if not (read.terms[0].decimal and read.unit == step.unit == "oz"):
        return OffMark(unit=read.unit, step=step, below=below)
    pounds, _, ounces = text.partition(".")
    whole = pounds.isdigit() and ounces.isdigit() and int(ounces) < 16
    told = (pounds, int(ounces)) if whole else None
    return OffMark(unit=read.unit, step=step, below=below, point=True, pounds=told)


def as_written(count: int, step: Step) -> str:
    """The text that a careful person writes for `count` steps.

    Examples
    --------
    >>> from fractions import Fraction
    >>> as_written(186, Step(Fraction(1), "oz"))
    '11 lb 10 oz'
    >>> as_written(195, Step(Fraction(1, 8), "in"))
    '24 3/8'
    >>> as_written(735, Step(Fraction(1, 100), "kg"))
    '7.35'
    """
    amount = count * step.size
    if step.unit == "oz":
        pounds, ounces = divmod(amount, 16)
        return f"{pounds} lb {float(ounces):.12g} oz"
    if step.by_halves:
        whole, part = divmod(amount, 1)
        return f"{whole} {part}" if part else f"{whole}"
    return f"{float(amount):.{step.decimals}f}"


def nearest_mark(amount: Fraction, step: Step) -> str:
    """The mark nearest to an amount in the step's unit, as written, with its unit."""
    mark = as_written(round(amount / step.size), step)
    return mark if step.unit == "oz" else f"{mark} {step.unit}"
