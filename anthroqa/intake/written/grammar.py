"""What did the person write down, as a whole count of the instrument's steps?

A reading is understood in exactly one way or it is refused with the reason and
the remedy: nothing is rounded and nothing is guessed. `as_written` is the way back.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from anthroqa.intake.written.steps import CUSTOMARY, UNITS, Step, convert, same_kind

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
class Refusal:
    """Why a text is not a reading, and what to do."""

    problem: str
    remedy: str


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
            return Refusal(
                f"{unit!r} is not a unit known here",
                f"Use one of {', '.join(UNITS)}.",
            )
    if dec is not None:
        return Term(Fraction(dec.rstrip(".") or "0"), unit, "." not in dec, "." in dec)
    if int(den) == 0:
        return Refusal(f"{num}/{den} divides by zero", "Look at the paper and type the mark again.")
    if int(num) >= int(den):
        return Refusal(
            f"{num}/{den} is not a position between two whole marks",
            "Write the whole number and a fraction under one, as in 24 3/8.",
        )
    amount = Fraction(int(whole or 0)) + Fraction(int(num), int(den))
    return Term(amount, unit, False, False)


def _not_a_number(text: str) -> Refusal:
    """The reason a text that no form fits is refused."""
    again = "Look at the paper and type it again"
    if text.startswith("'"):
        return Refusal(
            "a spreadsheet marked this number as text with an apostrophe",
            "Delete the apostrophe.",
        )
    if re.fullmatch(r"- *(?:\d|\.\d).*", text):
        return Refusal("a reading cannot be negative", f"{again}, without the minus sign.")
    if _SCIENTIFIC.fullmatch(text):
        return Refusal(
            "a number in scientific notation is not something that is read from a scale",
            f"{again} in plain figures.",
        )
    if re.fullmatch(r"[-+]?(?:nan|inf|infinity|null|none|n/a|#\S+)", text, re.IGNORECASE):
        return Refusal(
            "this is not a reading",
            "Leave the cell empty (or write NA) where nothing was read.",
        )
    if re.fullmatch(r"\d+,\d+(?: *[a-z]+)?", text, re.IGNORECASE):
        return Refusal(
            "a decimal comma cannot be told from a column separator here",
            "Write a decimal point, or save the file with semicolons between columns.",
        )
    if re.fullmatch(r"-+|\?+|[^\W\d_]+(?: [^\W\d_]+)*[.!]?", text) and not _DATE.fullmatch(text):
        return Refusal(
            "this is a word and not a reading",
            "If nothing was read, leave the cell empty and put the word in the column condition "
            f"or note; else {again[0].lower()}{again[1:]}.",
        )
    if re.fullmatch(r"\d+ *(?:lbs?|pounds?)\.?[ ,]*\d+", text, re.IGNORECASE):
        return Refusal(
            "the unit of the second number is missing",
            "Write pounds and ounces with their units, as in 11 lb 10 oz.",
        )
    if re.fullmatch(r"\d{1,2}:\d{2}(?::\d{2})?", text) or _DATE.fullmatch(text):
        return Refusal(
            "this is a date or a time: a spreadsheet turns a fraction such as 3/8 into one",
            f"{again}, after setting the column's format to Text; write 3/8 as 0 3/8.",
        )
    return Refusal(
        "this cannot be read as a number of marks",
        f"{again}, as in 7.35, 24 3/8 or 11 lb 10 oz.",
    )


def parse_terms(text: str, *, decimal_comma: bool) -> tuple[Term, ...] | Refusal:
    """One or two numbers with their units from a tidied text."""
    if len(text) > _LONGEST:
        return Refusal("this is too long to be a reading", "Look at the paper and type it again.")
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
        return Refusal("there is no unit", f"Add one of {', '.join(UNITS)}.")
    return terms[0].amount, terms[0].unit


def _pounds_and_ounces(terms: tuple[Term, ...]) -> tuple[Fraction, str] | Refusal:
    pounds, ounces = terms
    if (pounds.unit, ounces.unit) != ("lb", "oz"):
        return Refusal(
            "two numbers are written and they are not pounds and ounces",
            "Write pounds and ounces with their units, as in 11 lb 10 oz.",
        )
    if not pounds.whole:
        return Refusal(
            "pounds that are followed by ounces must be whole",
            "Look at the paper and write it as in 11 lb 10 oz.",
        )
    if ounces.amount >= 16:
        return Refusal(
            "ounces run from 0 to 15 beside pounds",
            "Look at the paper: was a pound carried, or a figure slipped?",
        )
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
            return _ambiguous_pounds(text)
        read = _Read(terms, amount, unit, form)
    if not same_kind(read.unit, step.unit):
        return Refusal(
            f"{read.unit} is the wrong kind of unit for a measure recorded to {step}",
            f"Write it with the unit {step.unit}, or move the row to the measure it belongs to.",
        )
    if step.by_halves and read.form == "bare" and terms[0].whole and 40_000 <= read.amount < 60_000:
        return Refusal(
            "this is how a spreadsheet keeps a date when its cell is shown as a number",
            "Look at the paper and type it again, after setting the column's format to Text.",
        )
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
        return _off_step(tidy(text), read.terms, read.amount, read.unit, count, step)
    if count >= 2**53:
        return Refusal("the number is too large to be a reading", "Look at the paper.")
    converted = (read.unit in CUSTOMARY) != (step.unit in CUSTOMARY)
    return Count(int(count), read.form, converted)


def _ambiguous_pounds(text: str) -> Refusal:
    return Refusal(
        f"{text!r} can be read in two ways: ounces after the point, or a decimal part of a pound",
        "Write pounds and ounces with their units, as in 11 lb 10 oz.",
    )


def _off_step(
    text: str, terms: tuple[Term, ...], amount: Fraction, unit: str, count: Fraction, step: Step
) -> Refusal:
    below = int(count)
    between = f"{as_written(below, step)} and {as_written(below + 1, step)}"
    if terms[0].decimal and unit == step.unit == "oz":
        pounds, _, ounces = text.partition(".")
        whole = pounds.isdigit() and ounces.isdigit() and int(ounces) < 16
        meant = f" ({pounds} lb {int(ounces)} oz)" if whole else ""
        remedy = (
            f"Marks nearby are {between}. If pounds and ounces were meant{meant}, write them "
            "with their units, as in 11 lb 10 oz."
        )
    elif unit == step.unit:
        remedy = f"The marks nearby are {between}: was it estimated, converted, or mistyped?"
    else:
        remedy = (
            f"Turned into {step.unit} it falls between {between}: write what the instrument "
            "showed, not a converted value."
        )
    return Refusal(f"it is not on a mark of this instrument, which has one every {step}", remedy)


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
