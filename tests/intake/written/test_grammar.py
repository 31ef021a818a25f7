import re
import unicodedata
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from anthroqa.intake.written.grammar import (
    Count,
    as_written,
    parse_quantity,
    read_count,
    tidy,
)
from anthroqa.intake.written.steps import Step
from anthroqa.notes import said_apart
from anthroqa.notes.intake.written import NoReading, OffMark, Refusal, Unread

STEPS = {
    "1 oz": Step(Fraction(1), "oz"),
    "1/2 oz": Step(Fraction(1, 2), "oz"),
    "1/16 oz": Step(Fraction(1, 16), "oz"),
    "1/64 oz": Step(Fraction(1, 64), "oz"),
    "1/4 lb": Step(Fraction(1, 4), "lb"),
    "0.1 lb": Step(Fraction(1, 10), "lb"),
    "1/8 in": Step(Fraction(1, 8), "in"),
    "1/16 in": Step(Fraction(1, 16), "in"),
    "0.1 kg": Step(Fraction(1, 10), "kg"),
    "0.05 kg": Step(Fraction(1, 20), "kg"),
    "10 g": Step(Fraction(10), "g"),
    "0.1 cm": Step(Fraction(1, 10), "cm"),
    "1 mm": Step(Fraction(1), "mm"),
}

ACCEPTED = [
    # ounces
    ("11 lb 10 oz", "1 oz", 186, "pounds"),
    ("11lb10oz", "1 oz", 186, "pounds"),
    ("11 lb, 10 oz", "1 oz", 186, "pounds"),
    ("11 Lbs. 10 Oz.", "1 oz", 186, "pounds"),
    ("11 lb. 10 oz.", "1 oz", 186, "pounds"),
    ("11 pounds 10 ounces", "1 oz", 186, "pounds"),
    ("11 lb", "1 oz", 176, "pounds"),
    ("11.0 lb", "1 oz", 176, "pounds"),
    ("11 1/2 lb", "1 oz", 184, "pounds"),
    ("0 lb 0 oz", "1 oz", 0, "pounds"),
    ("11 lb 15 oz", "1 oz", 191, "pounds"),
    ("186 oz", "1 oz", 186, "unit"),
    ("186", "1 oz", 186, "bare"),
    ("186.0", "1 oz", 186, "bare"),
    ("11 lb 10.5 oz", "1/2 oz", 373, "pounds"),
    ("11 lb 10 1/2 oz", "1/2 oz", 373, "pounds"),
    ("11 lb 10½ oz", "1/2 oz", 373, "pounds"),
    # eighths of an inch
    ("24 3/8", "1/8 in", 195, "bare"),
    ("24-3/8", "1/8 in", 195, "bare"),
    ("24 - 3 / 8", "1/8 in", 195, "bare"),
    ("24 3/8 in", "1/8 in", 195, "unit"),
    ('24 3/8"', "1/8 in", 195, "unit"),
    ("24 3/8 inches", "1/8 in", 195, "unit"),
    ("24.375", "1/8 in", 195, "bare"),
    ("24⅜", "1/8 in", 195, "bare"),
    ("24 ⅜ in.", "1/8 in", 195, "unit"),
    ("24\u00a03\u20448", "1/8 in", 195, "bare"),
    ("24\u20133/8", "1/8 in", 195, "bare"),
    ("24 6/16", "1/8 in", 195, "bare"),
    ("24", "1/8 in", 192, "bare"),
    ("3/8", "1/8 in", 3, "bare"),
    ("0 3/8", "1/8 in", 3, "bare"),
    # quarter pounds and tenths of a pound
    ("123 1/4", "1/4 lb", 493, "bare"),
    ("123.25 lb", "1/4 lb", 493, "pounds"),
    ("123 ¾ lb", "1/4 lb", 495, "pounds"),
    ("123.4", "0.1 lb", 1234, "bare"),
    ("123.4 lb", "0.1 lb", 1234, "pounds"),
    ("123 1/2 lb", "0.1 lb", 1235, "pounds"),
    # metric
    ("7.3", "0.1 kg", 73, "bare"),
    ("7.30 kg", "0.1 kg", 73, "unit"),
    ("7.35 KG", "0.05 kg", 147, "unit"),
    (".5", "0.05 kg", 10, "bare"),
    ("7350", "10 g", 735, "bare"),
    ("7350 g", "10 g", 735, "unit"),
    ("72.3 cm", "0.1 cm", 723, "unit"),
    ("723", "1 mm", 723, "bare"),
    # another unit of the same kind that lands on a step
    ("11 lb 8 oz", "1/4 lb", 46, "pounds"),
    ("1 lb", "0.1 lb", 10, "pounds"),
    ("60.96 cm", "1/8 in", 192, "unit"),
    ("723 mm", "0.1 cm", 723, "unit"),
    ("72.3 cm", "1 mm", 723, "unit"),
    ("7.35 kg", "10 g", 735, "unit"),
    ("7300 g", "0.1 kg", 73, "unit"),
    ("453.59237 g", "1 oz", 16, "unit"),
]


@pytest.mark.parametrize(
    ("text", "step", "steps", "form"),
    ACCEPTED,
    ids=lambda value: str(value),
)
def test_a_reading_is_its_exact_count_of_steps(text, step, steps, form):
    other_system = text in ("60.96 cm", "453.59237 g")
    assert read_count(text, STEPS[step]) == Count(steps, form, converted=other_system)


AGAIN = "Look at the paper and type it again"
DATE = f"{AGAIN}, after setting the column's format to Text; write 3/8 as 0 3/8."
WITH_UNITS = "Write pounds and ounces with their units, as in 11 lb 10 oz."
REFUSED = [
    ("11.10 lb", "1 oz", "two ways: ounces after the point, or a decimal", WITH_UNITS),
    ("12.5 lb", "1 oz", "two ways: ounces after the point, or a decimal", WITH_UNITS),
    ("7..", "0.1 kg", "cannot be read as a number", "type it again"),
    ("12.7", "1 oz", "one every 1 oz", "If pounds and ounces were meant (12 lb 7 oz), write them"),
    (".5", "1 oz", "one every 1 oz", "If pounds and ounces were meant, write them"),
    ("12.75", "1 oz", "one every 1 oz", "If pounds and ounces were meant, write them"),
    ("12.5 lb", "1/2 oz", "can be read in two ways", WITH_UNITS),
    ("12.50 lb", "1 oz", "can be read in two ways", WITH_UNITS),
    ("12 lb 17 oz", "1 oz", "ounces run from 0 to 15", "Look at the paper: was a pound carried"),
    ("12 lb 16 oz", "1 oz", "ounces run from 0 to 15", "Look at the paper: was a pound carried"),
    ("11 1/2 lb 3 oz", "1 oz", "followed by ounces must be whole", "as in 11 lb 10 oz."),
    ("11 lb 10", "1 oz", "the unit of the second number is missing", WITH_UNITS),
    ("10 oz 11 lb", "1 oz", "they are not pounds and ounces", WITH_UNITS),
    ("24 in 3 in", "1/8 in", "they are not pounds and ounces", WITH_UNITS),
    ("11 10", "1 oz", "cannot be read as a number of marks", "as in 7.35, 24 3/8 or 11 lb 10 oz."),
    ("186.5", "1 oz", "one every 1 oz", "nearby are 11 lb 10 oz and 11 lb 11 oz. If pounds and"),
    ("25 3/0", "1/8 in", "3/0 divides by zero", "Look at the paper and type the mark again."),
    ("24 9/8", "1/8 in", "9/8 is not a position between two whole marks", "as in 24 3/8."),
    ("24 8/8", "1/8 in", "8/8 is not a position between two whole marks", "a fraction under one"),
    ("24.3", "1/8 in", "one every 1/8 in", "marks nearby are 24 1/4 and 24 3/8: was it estimated"),
    ("24 1/3", "1/8 in", "one every 1/8 in", "marks nearby are 24 1/4 and 24 3/8"),
    ("7.35", "0.1 kg", "one every 0.1 kg", "marks nearby are 7.3 and 7.4: was it estimated"),
    ("61 cm", "1/8 in", "one every 1/8 in", "between 24 and 24 1/8: write what the instrument"),
    ("5 kg", "1 oz", "one every 1 oz", "between 11 lb 0 oz and 11 lb 1 oz: write what the instr"),
    ("24 in", "1 mm", "one every 1 mm", "Turned into mm it falls between 609 and 610"),
    ("5 kg", "1/8 in", "kg is the wrong kind of unit", "Write it with the unit in, or move the"),
    ("24 in", "1 oz", "in is the wrong kind of unit", "Write it with the unit oz, or move the"),
    ("5 stone", "1 oz", "'stone' is not a unit", "Use one of kg, g, lb, oz, cm, mm, in."),
    ("-3", "0.1 kg", "a reading cannot be negative", f"{AGAIN}, without the minus sign."),
    ("\u22123.5 kg", "0.1 kg", "a reading cannot be negative", "without the minus sign."),
    ("- 24 3/8", "1/8 in", "a reading cannot be negative", "without the minus sign."),
    ("nan", "0.1 kg", "this is not a reading", "Leave the cell empty (or write NA) where nothing"),
    ("inf", "0.1 kg", "this is not a reading", "Leave the cell empty (or write NA) where nothing"),
    ("-inf", "0.1 kg", "this is not a reading", "Leave the cell empty (or write NA)"),
    ("#DIV/0!", "0.1 kg", "this is not a reading", "Leave the cell empty (or write NA)"),
    ("1e400", "0.1 kg", "a number in scientific notation", f"{AGAIN} in plain figures."),
    ("1e2", "0.1 kg", "a number in scientific notation", f"{AGAIN} in plain figures."),
    ("7.3E+0", "0.1 kg", "a number in scientific notation", f"{AGAIN} in plain figures."),
    ("'7.3", "0.1 kg", "as text with an apostrophe", "Delete the apostrophe."),
    ("7,3", "0.1 kg", "a decimal comma cannot be told", "Write a decimal point, or save the file"),
    ("7,3 kg", "0.1 kg", "a decimal comma cannot be told", "semicolons between columns."),
    ("194,1/4", "1/4 lb", "cannot be read as a number of marks", f"{AGAIN}, as in 7.35"),
    ("7.3.1", "0.1 kg", "", ""),
    ("about 7", "0.1 kg", "cannot be read as a number of marks", f"{AGAIN}, as in 7.35"),
    ("7.3 kg?", "0.1 kg", "cannot be read as a number of marks", f"{AGAIN}, as in 7.35"),
    ("+7.3", "0.1 kg", "cannot be read as a number of marks", f"{AGAIN}, as in 7.35"),
    ("\u0667.\u0663", "0.1 kg", "cannot be read as a number of marks", f"{AGAIN}, as in 7.35"),
    ("9" * 18, "0.1 kg", "too large to be a reading", "Look at the paper."),
    ("9" * 5000, "0.1 kg", "too long to be a reading", AGAIN),
    ("9" * 400 + ".05", "0.1 kg", "too long to be a reading", AGAIN),
    ("11 lb.5 oz", "1/2 oz", "cannot be read as a number of marks", "or 11 lb 10 oz."),
    ("11lb.5oz", "1 oz", "cannot be read as a number of marks", "or 11 lb 10 oz."),
    ("½0", "0.05 kg", "cannot be read as a number of marks", f"{AGAIN}, as in 7.35"),
    ("24⅜0", "1/8 in", "cannot be read as a number of marks", f"{AGAIN}, as in 7.35"),
    ("asleep", "0.1 kg", "a word and not a reading", "If nothing was read, leave the cell empty"),
    ("-", "0.1 kg", "a word and not a reading", "put the word in the column condition or note"),
    ("03:08:00", "1/8 in", "this is a date or a time", DATE),
    ("46089", "1/8 in", "how a spreadsheet keeps a date", "setting the column's format to Text"),
    ("", "0.1 kg", "cannot be read as a number of marks", f"{AGAIN}, as in 7.35"),
    *[
        (text, "1/8 in", "this is a date or a time: a spreadsheet turns a fraction", DATE)
        for text in (
            "3/8/2026", "03/08/26", "2026-03-08", "2026-03-08 00:00:00", "2026-03-08T00:00:00",
            "08.03.2026", "8-Mar", "08-Mar-26", "8-mars-2026", "Mar-26", "8 Mar", "8 March 2026",
            "24-Mar", "Mar 8", "8.Mär.2026",
        )
    ],
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "step", "problem", "remedy"), REFUSED, ids=[f"{c[0][:20]} @ {c[1]}" for c in REFUSED]
)
def test_a_text_that_is_not_one_reading_is_refused_with_its_remedy(text, step, problem, remedy):
    refusal = read_count(text, STEPS[step])
    assert isinstance(refusal, Refusal), refusal
    wrong, to_do = said_apart(refusal)
    assert problem in wrong
    assert remedy in to_do
    assert wrong
    assert to_do


@pytest.mark.parametrize("text", ["-3", "nan", "asleep", "9" * 18, "9" * 5000])
def test_a_refusal_names_the_thing_that_was_to_be_read(text):
    refusal = read_count(text, STEPS["0.1 kg"])
    assert isinstance(refusal, NoReading)
    wrong, to_do = said_apart(refusal)
    assert said_apart(refusal.of("tare")) == (wrong.replace("a reading", "a tare"), to_do)
    assert Unread.DATE.of("tare") is Unread.DATE


@pytest.mark.parametrize(
    ("text", "below", "point", "pounds"),
    [
        ("011.7", 11, True, ("011", 7)),
        ("12.75", 12, True, None),
        ("186.5 oz", 186, True, None),
        ("186 1/2", 186, False, None),
        ("11 lb 10.5 oz", 186, False, None),
    ],
)
def test_a_reading_off_a_mark_carries_the_mark_below_and_what_may_be_pounds(
    text, below, point, pounds
):
    assert read_count(text, STEPS["1 oz"]) == OffMark(
        unit="oz", step=STEPS["1 oz"], below=below, point=point, pounds=pounds
    )


@pytest.mark.parametrize(
    ("text", "step", "steps"),
    [
        ("7,3", "0.1 kg", 73),
        ("7,3 kg", "0.1 kg", 73),
        (",5", "0.1 kg", 5),
        ("24,375", "1/8 in", 195),
        ('24,375"', "1/8 in", 195),
        ("11 lb 10,5 oz", "1/2 oz", 373),
        ("11 lb, 10 oz", "1/2 oz", 372),
        ("7.3", "0.1 kg", 73),
    ],
)
def test_a_decimal_comma_is_a_point_where_columns_are_separated_by_semicolons(text, step, steps):
    read = read_count(text, STEPS[step], decimal_comma=True)
    assert isinstance(read, Count), read
    assert read.steps == steps


@pytest.mark.parametrize("text", ["1.234,5", "1,234,5", "1,234.5", "7,", "11,10 lb"])
def test_a_comma_that_is_not_surely_decimal_is_refused_even_there(text):
    assert isinstance(read_count(text, STEPS["1 oz"], decimal_comma=True), Refusal)


@pytest.mark.parametrize("name", STEPS)
@settings(max_examples=60, deadline=None)
@given(count=st.integers(0, 100_000))
def test_what_a_careful_person_writes_reads_back_as_the_same_count(name, count):
    step = STEPS[name]
    read = read_count(as_written(count, step), step)
    assert isinstance(read, Count), read
    assert read.steps == count


def worth(text: str, unit: str) -> Fraction:
    """The amount in `unit` that an accepted text states, added up token by token."""
    in_unit = {
        "kg": Fraction(1000), "g": Fraction(1), "lb": Fraction("453.59237"),
        "oz": Fraction("28.349523125"), "cm": Fraction(10), "mm": Fraction(1),
        "in": Fraction("25.4"),
    }  # fmt: skip
    plain = {"pound": "lb", "ounce": "oz", "inche": "in", "inch": "in", '"': "in"}
    spread = "".join(
        f" {Fraction(unicodedata.numeric(c)).limit_denominator(20)} "
        if unicodedata.decomposition(c).startswith("<fraction>")
        else c
        for c in text.replace("\u2044", "/").replace("\u2215", "/")
    )
    total, pending = Fraction(0), Fraction(0)
    spread = re.sub(r" *[/] *", "/", spread)
    spread = re.sub("[\u2033\u201d]", '"', spread)
    for token in re.findall(r'\d+/\d+|\d*\.?\d+|[a-z]+|"', spread.lower()):
        if token[0].isdigit() or token[0] == ".":
            pending += Fraction(token)
        else:
            name = token if token in in_unit else token.removesuffix("s")
            total += pending * in_unit[plain.get(name, name)] / in_unit[unit]
            pending = Fraction(0)
    return total + pending


@pytest.mark.parametrize("case", ACCEPTED, ids=lambda c: c[0])
def test_the_slow_sum_of_tokens_agrees_with_the_accepted_forms(case):
    text, name, steps, _ = case
    assert worth(text, STEPS[name].unit) == steps * STEPS[name].size


NUMBERS = st.from_regex(
    r"[ ]?([0-9]{1,3}[ -]?)?([0-9]{1,2} ?/ ?[0-9]{1,2}|\.[0-9]{1,3}|[0-9]|[½⅜¾⅔↉])?"
    r" ?(kg|g|lbs?|oz|cm|mm|in|\"|inches|st)?[.]?"
    r"([, ]{0,2}[0-9]{1,2}(\.[05]|½| 1/2)? ?(oz|ounces|lb)?)?",
    fullmatch=True,
)
TEXTS = st.one_of(
    NUMBERS,
    st.text(alphabet="0123456789 ./-,lbozinkgcm'\"eE+⅜½\u00a0\u2044", max_size=14),
    st.text(max_size=20),
)


@settings(max_examples=1500, deadline=None)
@given(text=TEXTS, name=st.sampled_from(sorted(STEPS)), comma=st.booleans())
@example(text="9" * 4400 + " lb", name="1 oz", comma=False)
@example(text="9" * 400 + ".5 lb", name="1 oz", comma=False)
@example(text="1/" + "9" * 79, name="1/8 in", comma=False)
def test_any_text_is_its_exact_worth_or_refused_with_a_remedy(text, name, comma):
    step = STEPS[name]
    read = read_count(text, step, decimal_comma=comma)
    if isinstance(read, Refusal):
        assert all(said_apart(read))
        return
    if comma:
        text = re.sub(r"(\d),(\d)", r"\1.\2", text)
        text = re.sub(r"^\s*,(\d)", r".\1", text)
    assert read.steps * step.size == worth(text, step.unit)
    assert read.form in ("bare", "pounds", "unit")


@settings(max_examples=200, deadline=None)
@given(text=st.text(max_size=20))
def test_tidying_twice_changes_nothing_more(text):
    once = tidy(text)
    assert tidy(once) == once


@pytest.mark.parametrize(
    ("text", "amount", "unit"),
    [
        ("1.5 oz", Fraction(3, 2), "oz"),
        ("1/4 lb", Fraction(1, 4), "lb"),
        ("3 lb 8 oz", Fraction(56), "oz"),
        ("0.1 cm", Fraction(1, 10), "cm"),
    ],
)
def test_a_quantity_of_the_settings_is_exact(text, amount, unit):
    assert parse_quantity(text) == (amount, unit)


def test_a_quantity_without_its_unit_is_refused():
    assert parse_quantity("1.5") is Unread.UNIT_MISSING
    assert said_apart(Unread.UNIT_MISSING) == (
        "there is no unit",
        "Add one of kg, g, lb, oz, cm, mm, in.",
    )
