from fractions import Fraction

import pytest

from anthroqa.intake.written.steps import UNITS, Step, convert, same_kind

# International yard and pound agreement (1959): 1 yd = 0.9144 m, 1 lb = 0.453 592 37 kg.
# In the United States: 24 FR 5348, 1 July 1959, which gives 1 in = 2.54 cm exactly.
LEGAL = [
    ("lb", "kg", "0.45359237"),
    ("oz", "g", "28.349523125"),
    ("lb", "oz", "16"),
    ("in", "cm", "2.54"),
    ("in", "mm", "25.4"),
    ("kg", "g", "1000"),
    ("cm", "mm", "10"),
]


@pytest.mark.parametrize(("unit", "to", "factor"), LEGAL, ids=lambda text: text)
def test_units_are_the_exact_legal_ones_in_both_directions(unit, to, factor):
    assert convert(Fraction(1), unit, to) == Fraction(factor)
    assert convert(Fraction(factor), to, unit) == 1


@pytest.mark.parametrize(
    ("step", "to", "size"),
    [
        (Step(Fraction(1, 4), "lb"), "kg", "0.1133980925"),
        (Step(Fraction(1, 8), "in"), "cm", "0.3175"),
        (Step(Fraction(1), "oz"), "g", "28.349523125"),
        (Step(Fraction(1, 2), "oz"), "g", "14.1747615625"),
    ],
    ids=str,
)
def test_customary_steps_have_their_exact_metric_size(step, to, size):
    assert convert(step.size, step.unit, to) == Fraction(size)


def test_a_yard_of_inches_is_the_agreed_length():
    assert convert(Fraction(36), "in", "cm") == Fraction("91.44")


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("to", UNITS)
def test_mass_and_length_are_never_converted_into_each_other(unit, to):
    mass = {"kg", "g", "lb", "oz"}
    alike = (unit in mass) == (to in mass)
    assert same_kind(unit, to) is alike
    if alike:
        assert convert(convert(Fraction(7, 3), unit, to), to, unit) == Fraction(7, 3)
    else:
        with pytest.raises(ValueError, match=f"{unit} and {to} do not measure the same thing"):
            convert(Fraction(1), unit, to)


@pytest.mark.parametrize(
    ("size", "unit", "text", "halves", "decimals"),
    [
        (Fraction(1), "oz", "1 oz", False, 0),
        (Fraction(1, 2), "oz", "1/2 oz", True, 1),
        (Fraction(1, 4), "lb", "1/4 lb", True, 2),
        (Fraction(1, 10), "lb", "0.1 lb", False, 1),
        (Fraction(1, 8), "in", "1/8 in", True, 3),
        (Fraction(1, 20), "kg", "0.05 kg", False, 2),
        (Fraction(10), "g", "10 g", False, 0),
        (Fraction(1), "mm", "1 mm", False, 0),
    ],
    ids=lambda value: str(value),
)
def test_a_step_knows_how_it_is_written(size, unit, text, halves, decimals):
    step = Step(size, unit)
    assert str(step) == text
    assert step.by_halves is halves
    assert step.decimals == decimals


@pytest.mark.parametrize(
    ("step", "cycle", "marks"),
    [
        (Step(Fraction(1), "oz"), 16, "2 oz, 4 oz, 8 oz, 1 lb"),
        (Step(Fraction(1, 2), "oz"), 32, "1 oz, 2 oz, 4 oz, 8 oz, 1 lb"),
        (Step(Fraction(1, 4), "lb"), 4, "1/2 lb, 1 lb"),
        (Step(Fraction(1, 10), "lb"), 10, "0.2 lb, 0.5 lb, 1 lb"),
        (Step(Fraction(1, 8), "in"), 8, "1/4 in, 1/2 in, 1 in"),
        (Step(Fraction(1, 16), "in"), 16, "1/8 in, 1/4 in, 1/2 in, 1 in"),
        (Step(Fraction(1, 10), "kg"), 10, "0.2 kg, 0.5 kg, 1 kg"),
        (Step(Fraction(1, 20), "kg"), 20, "0.1 kg, 0.2 kg, 0.25 kg, 0.5 kg, 1 kg"),
        (Step(Fraction(10), "g"), 10, "20 g, 50 g, 0.1 kg"),
        (Step(Fraction(1, 100), "kg"), 10, "0.02 kg, 0.05 kg, 0.1 kg"),
        (Step(Fraction(1, 10), "cm"), 10, "0.2 cm, 0.5 cm, 1 cm"),
        (Step(Fraction(1), "mm"), 10, "2 mm, 5 mm, 1 cm"),
        (Step(Fraction(1), "cm"), 10, "2 cm, 5 cm, 10 cm"),
        (Step(Fraction(1, 2), "cm"), 2, "1 cm"),
        (Step(Fraction(3, 10), "cm"), None, ""),  # 1 cm is no whole number of these
        (Step(Fraction(3), "oz"), None, ""),
    ],
    ids=str,
)
def test_the_eye_rests_on_the_divisors_of_the_whole_mark(step, cycle, marks):
    assert step.cycle() == cycle
    assert ", ".join(step.coarse_marks().values()) == marks
    assert all(cycle % steps == 0 for steps in step.coarse_marks())


def test_a_whole_mark_that_is_given_comes_before_any_rule():
    thirds = Step(Fraction(3, 10), "cm")
    assert thirds.cycle(Fraction(3)) == 10
    assert thirds.coarse_marks(Fraction(3)) == {2: "0.6 cm", 5: "1.5 cm", 10: "3 cm"}
    assert thirds.cycle(Fraction(3, 10)) is None  # the step itself is no coarser mark


def test_metric_marks_are_decimals_and_customary_ones_fractions():
    assert str(Step(Fraction(1, 2), "cm")) == "0.5 cm"
    assert str(Step(Fraction(1, 2), "lb")) == "1/2 lb"
