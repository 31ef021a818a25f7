from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from anthroqa.intake.written.slip_catalogue import (
    CATALOGUE,
    TABLE,
    consistent_with,
    decimal_pounds,
    digits_exchanged,
    display,
    meant,
    on_display,
    place,
    style_of,
    written_for,
)
from anthroqa.intake.written.steps import Step
from anthroqa.notes.scores.slips import OtherUnit, Slipped

OUNCE, QUARTER = Step(Fraction(1), "oz"), Step(Fraction(1, 4), "lb")
EIGHTH, TENTH = Step(Fraction(1, 8), "in"), Step(Fraction(1, 10), "kg")
MILLIMETRE = Step(Fraction(1, 10), "cm")


@pytest.mark.parametrize(
    ("amount", "step", "low", "high", "slips"),
    [
        # 56.7 / 0.45359237 = 125.002; by hand from the pound of 1959
        ("56.7", QUARTER, 80, 400, ["kilograms written for pounds (near 125 lb)"]),
        # 4.2 kg = 4.2 / 0.45359237 lb = 9.25942 lb = 148.151 oz
        ("4.2", OUNCE, 112, 400, ["kilograms written for pounds (near 9 lb 4 oz)"]),
        ("11", OUNCE, 120, 400, ["kilograms written for pounds (near 24 lb 4 oz)",
                                 "pounds written for ounces (near 11 lb 0 oz)",
                                 "one 10 lb notch of the poise (near 10 lb 11 oz)"]),
        ("22", TENTH, 3, 12, ["pounds written for kilograms (near 10.0 kg)",
                              "one 10 kg notch of the poise (near 12.0 kg)"]),
        ("17.3", MILLIMETRE, 45, 80, ["two adjacent digits exchanged (near 71.3 cm)"]),
        ("116.3", MILLIMETRE, 100, 110, ["misread by 10 cm (near 106.3 cm)"]),
        # 70 1/2 lb is on a mark, and 50 lb more is inside; 20 1/2 and 60 1/2 are not
        ("70.5", QUARTER, 100, 150, ["one 50 lb notch of the poise (near 120 1/2 lb)"]),
        ("70.6", QUARTER, 100, 150, []),  # off a mark before and after
        ("61", EIGHTH, 20, 40, ["centimetres written for inches (near 24 in)"]),
        ("24", MILLIMETRE, 45, 110, ["inches written for centimetres (near 61.0 cm)"]),
        ("735", MILLIMETRE, 45, 110, ["a decimal point left out (near 73.5 cm)"]),
        ("7.35", MILLIMETRE, 45, 110, ["a decimal point slipped (near 73.5 cm)"]),
        ("5000", MILLIMETRE, 45, 110, []),
    ],
    ids=lambda value: str(value)[:24],
)  # fmt: skip
def test_a_reading_out_of_range_names_the_slips_it_is_consistent_with(
    amount, step, low, high, slips
):
    found = consistent_with(Fraction(amount), step, Fraction(low), Fraction(high))
    assert list(map(str, found)) == slips


@pytest.mark.parametrize(("low", "high"), [(None, None), (None, 40), (20, None)])
def test_without_both_ends_of_a_range_no_slip_is_named(low, high):
    assert consistent_with(Fraction(61), EIGHTH, low, high) == ()


def test_the_ends_of_the_range_belong_to_it():
    ten = Fraction(10)
    (found,) = consistent_with(Fraction(100), MILLIMETRE, ten, ten)
    assert (found.slip, found.meant) == (Slipped.POINT_LEFT_OUT, 10)
    assert str(found) == "a decimal point left out (near 10.0 cm)"


STEPS = {
    "1 oz": OUNCE, "1/4 lb": QUARTER, "1/8 in": EIGHTH, "0.1 kg": TENTH, "0.1 cm": MILLIMETRE,
    "0.01 lb": Step(Fraction(1, 100), "lb"), "1 mm": Step(Fraction(1), "mm"),
    "10 g": Step(Fraction(10), "g"),
}  # fmt: skip


def kind(words: str, step: Step):
    return next(k for k in on_display(step) if str(k.slip) == words)


@pytest.mark.parametrize(
    ("text", "exchanged"),
    [
        ("73.5", ["37.5", "75.3"]),
        ("186 3/4", ["816 3/4", "168 3/4"]),
        ("10 lb 12 oz", ["10 lb 21 oz"]),  # 01 lb is not how anybody writes a pound
        ("12 lb 7 oz", ["21 lb 7 oz"]),
        ("24-3/8 in", ["42-3/8 in"]),
        ("3/8", []),
        ("7.35", ["3.75", "7.53"]),
        ("0.95", ["9.05", "0.59"]),
        ("66", []),
    ],
)
def test_adjacent_digits_are_exchanged_within_one_number_and_never_in_a_fraction(text, exchanged):
    assert digits_exchanged(text) == exchanged


@pytest.mark.parametrize(
    ("words", "step", "written", "expected"),
    [
        ("two adjacent digits exchanged", QUARTER, "168.75", ["618.75", "186.75"]),
        # 21 oz beside pounds is no reading, so 10 lb 12 oz has one exchange less
        ("two adjacent digits exchanged", OUNCE, 12 * 16 + 7, [21 * 16 + 7]),
        ("one 50 lb notch of the poise", QUARTER, "136.5", ["86.5", "186.5"]),
        ("one 10 lb notch of the poise", OUNCE, 200, [40, 360]),
        ("one 1 kg notch of the poise", STEPS["10 g"], 7350, [6350, 8350]),
        ("misread by 10 cm", STEPS["1 mm"], 861, [761, 961]),
        ("misread by 5 cm", MILLIMETRE, "86.1", ["81.1", "91.1"]),
        ("misread by 1 in", EIGHTH, "24.375", ["23.375", "25.375"]),
        ("a decimal point left out", MILLIMETRE, 735, ["73.5"]),
        # 12 lb 7 oz keyed as 12.7 and 12 lb 12 oz keyed as 12.12: by hand, 7/16 and 12/16
        ("ounces entered as tenths of a pound", STEPS["0.01 lb"], "12.7", ["12.4375"]),
        ("ounces entered as tenths of a pound", STEPS["0.01 lb"], "12.12", ["12.75"]),
        ("ounces entered as tenths of a pound", STEPS["0.01 lb"], "12.1", ["12.0625", "12.625"]),
        # 12.7 lb written as 12 lb 7 oz: 12.7 * 16 = 203.2
        ("tenths of a pound entered as ounces", OUNCE, 12 * 16 + 7, ["203.2"]),
        ("tenths of a pound entered as ounces", OUNCE, 12 * 16 + 11, []),
    ],
    ids=str,
)
def test_what_was_meant_is_exact(words, step, written, expected):
    found = meant(kind(words, step), Fraction(written), step, "pounds")
    assert list(found) == [Fraction(amount) for amount in expected]


def test_kilograms_are_turned_into_pounds_by_the_pound_of_1959():
    (found,) = meant(kind("pounds written for kilograms", TENTH), Fraction(22), TENTH, "plain")
    assert found == Fraction("9.97903214")


@given(st.sampled_from(sorted(STEPS)), st.integers(80, 4000))
def test_what_may_be_written_is_the_inverse_of_what_was_meant(name, count):
    step = STEPS[name]
    amount = count * step.size
    for k in on_display(step):
        for m in meant(k, amount, step, "pounds"):
            windows = written_for(k, float(m) - 1e-9, float(m) + 1e-9, step, "pounds")
            near = float(step.size) / 2 + 1e-6
            if k.way in ("digits", "added") and (m / step.size).denominator != 1:
                continue
            assert any(low - near <= float(amount) <= high + near for low, high in windows), k


@given(st.sampled_from(sorted(STEPS)), st.integers(80, 4000))
def test_exchanging_the_same_digits_again_gives_what_was_written(name, count):
    step = STEPS[name]
    k = kind("two adjacent digits exchanged", step)
    for m in meant(k, count * step.size, step, "pounds"):
        text = display(m, step, "pounds")
        if text[0] != "0" or step.decimals:
            assert count * step.size in meant(k, m, step, "pounds")


def test_ounces_are_exchanged_as_they_were_written():
    k = kind("two adjacent digits exchanged", OUNCE)
    assert style_of("186 oz", OUNCE) == "ounces"
    assert style_of("11 lb 10 oz", OUNCE) == "pounds"
    assert style_of("186", OUNCE) == "ounces"
    assert style_of("73.5", MILLIMETRE) == "plain"
    assert meant(k, Fraction(186), OUNCE, "ounces") == (816, 168)
    assert meant(k, Fraction(186), OUNCE, "pounds") == ()  # 01 oz; 11


@pytest.mark.parametrize("step", STEPS.values(), ids=str)
def test_the_kinds_of_a_display_have_amounts_and_say_them(step):
    kinds = on_display(step)
    assert len({k.slip for k in kinds}) == len({str(k.slip) for k in kinds}) == len(kinds)
    for k in kinds:
        assert k.often > 0
        assert k.way in ("digits", "tenths", "ounces") or k.amount > 0
        assert k.way not in ("times", "point") or k.amount != 1


def test_no_kind_accuses():
    slips = {k.slip for step in STEPS.values() for k in on_display(step)} | set(TABLE)
    assert {k.slip for k in CATALOGUE} - {None} <= slips
    for slip in slips:
        assert not {"error", "mistake", "wrong", "careless"} & set(str(slip).split())
    assert len(TABLE) == 7


def test_slips_that_explain_a_reading_equally_well_keep_one_order():
    kinds = [*on_display(TENTH), *TABLE.values()]
    kept = sorted((k.slip for k in kinds if not isinstance(k.slip, OtherUnit)), key=place)
    assert list(map(str, kept)) == sorted(map(str, kept))
    for step in STEPS.values():
        assert all(place(k.slip) for k in on_display(step))


@pytest.mark.parametrize(
    ("pounds", "low", "high", "found"),
    [
        ("12.7", None, None, ["ounces entered as tenths of a pound (near 12 lb 7 oz)"]),
        ("11.10", None, None, ["ounces entered as tenths of a pound (near 11 lb 1 oz)",
                               "ounces entered as tenths of a pound (near 11 lb 10 oz)"]),
        ("12.7", 20 * 16, 30 * 16, []),
    ],
)  # fmt: skip
def test_decimal_pounds_may_stand_for_ounces(pounds, low, high, found):
    assert list(map(str, decimal_pounds(Fraction(pounds), OUNCE, low, high))) == found
