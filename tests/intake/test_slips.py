from fractions import Fraction

import pytest

from anthroqa.intake.slips import CATALOGUE, consistent_with
from anthroqa.intake.steps import Step

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
                                 "pounds written for ounces (near 11 lb 0 oz)"]),
        ("22", TENTH, 3, 12, ["pounds written for kilograms (near 10.0 kg)"]),
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
    assert consistent_with(Fraction(amount), step, Fraction(low), Fraction(high)) == slips


@pytest.mark.parametrize(("low", "high"), [(None, None), (None, 40), (20, None)])
def test_without_both_ends_of_a_range_no_slip_is_named(low, high):
    assert consistent_with(Fraction(61), EIGHTH, low, high) == []


def test_the_ends_of_the_range_belong_to_it():
    ten = Fraction(10)
    assert consistent_with(Fraction(100), MILLIMETRE, ten, ten) == [
        "a decimal point left out (near 10.0 cm)"
    ]


def test_no_slip_leaves_a_reading_as_it_was():
    assert all(factor > 0 and factor != 1 for _, _, factor in CATALOGUE)
