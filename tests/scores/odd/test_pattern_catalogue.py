"""The patterns as data: whole, exact, and in the words of a trainer."""

from fractions import Fraction

import pytest

from anthroqa.intake import Measure
from anthroqa.intake.written.steps import Step
from anthroqa.scores.odd.pattern_catalogue import (
    ALL_KINDS,
    BIAS,
    INSTRUMENT,
    PATTERNS,
    REPEAT,
    SKEWNESS,
)


def of(words: str, kind: str):
    return next(p for p in PATTERNS if str(p.fault).startswith(words) and kind in p.kinds)


def measure(step: Fraction, unit: str, kind: str | None = None) -> Measure:
    return Measure(name="m", step=Step(step, unit), kind=kind)


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda p: str(p.fault))
def test_every_pattern_is_whole(pattern):
    assert set(pattern.kinds) <= set(ALL_KINDS)
    assert pattern.kinds
    assert pattern.figure in (BIAS, SKEWNESS, REPEAT, INSTRUMENT)
    assert pattern.direction in (-1, 0, 1)
    assert str(pattern.fault)
    assert str(pattern.technique)
    unit = "kg" if "weight" in pattern.kinds else "cm"
    least, most = pattern.sizes(measure(Fraction(1, 10), unit))
    assert 0 < least < most


def test_sizes_are_converted_exactly():
    diaper = of("clothing", "weight")
    assert diaper.sizes(measure(Fraction(1), "oz"))[1] == 32  # 2 lb
    assert diaper.sizes(measure(Fraction(1, 10), "kg"))[0] == 0.1
    assert diaper.sizes(measure(Fraction(1), "oz"))[0] == pytest.approx(3.527396, abs=5e-7)
    shoes = of("shoes", "height")
    assert shoes.sizes(measure(Fraction(1, 8), "in"))[1] == pytest.approx(4 / 2.54)
    assert of("marks", "weight").sizes(measure(Fraction(1, 4), "lb"))[1] == 0.25  # one step


def test_the_sizes_of_a_diaper_are_the_usual_ones_and_a_full_one():
    # common practice, no source: usually 0.1 to 0.3 kg, a full one up to 2 lb
    least, most = of("clothing", "weight").sizes(measure(Fraction(1, 10), "kg"))
    assert (least, most) == (0.1, pytest.approx(2 * 0.45359237))


def test_the_kind_decides_what_can_happen_and_the_unit_where_there_is_none():
    knees, tape, diaper = (
        of("knees", "height"),
        of("tape", "circumference"),
        of("clothing", "weight"),
    )
    cm, kg = measure(Fraction(1, 10), "cm"), measure(Fraction(1, 10), "kg")
    assert [p.fits(cm) for p in (knees, tape, diaper)] == [True, False, False]
    assert [p.fits(kg) for p in (knees, tape, diaper)] == [False, False, True]
    head = measure(Fraction(1, 10), "cm", "circumference")
    assert [p.fits(head) for p in (knees, tape, diaper)] == [False, True, False]
