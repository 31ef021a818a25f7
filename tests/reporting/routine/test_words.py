"""How findings of routine records are worded, and how options are understood."""

import math
from fractions import Fraction
from types import SimpleNamespace

import pytest

from anthroqa.intake.described.settings import Measure
from anthroqa.intake.written.steps import Step
from anthroqa.reporting.routine import words
from anthroqa.reporting.routine.made_from import Asked

OUNCES = Measure(name="infant_weight", step=Step(Fraction(1), "oz"))


def plain(text):
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("ends", "estimate", "signed", "text"),
    [
        ((0.15, 0.21), 0.18, True, "+18 (+15 to +21)"),
        ((-0.01, 0.062), 0.004, True, "+0.4 (\u22121.0 to +6.2)"),
        ((0.0, 0.03), 0.0, True, "0.0 (0.0 to +3.0)"),
        ((math.nan, math.nan), math.nan, True, "no interval"),
        ((0.15, 0.21), math.nan, False, "15 to 21"),
    ],
)
def test_points_of_a_hundred(ends, estimate, signed, text):
    assert plain(words.points(*ends, estimate, signed=signed)) == text


def test_a_share_is_said_with_its_interval_and_what_was_expected():
    row = SimpleNamespace(
        level="measurer", who="V03", measure="infant_weight", mark="1 lb", n=12345, share=0.31,
        lower=0.28, upper=0.34, expected=0.08,
    )  # fmt: skip
    assert plain(words.leaning(row, OUNCES)) == (
        "V03, infant weight: puts 31 % of 12,345 readings on whole pounds (28 to 34 %, 8 % "
        "expected)"
    )
    row.expected = 0.0
    assert plain(words.leaning(row, OUNCES)).endswith("on whole pounds (28 to 34 %)")


def test_places_periods_and_small_shares():
    row = SimpleNamespace(site="C", instrument="C1", measurer="")
    assert words.place(row) == "site C, instrument C1"
    assert words.place(SimpleNamespace(site="", instrument="", measurer="")) == "everybody"
    assert words.periods("2026-01..2026-03") == "Jan 2026 to Mar 2026"
    assert words.periods("2026-02") == "Feb 2026"
    assert [plain(words.small(s)) for s in (0.0, 0.004, 0.12)] == ["\u2013", "0.4 %", "12 %"]
    assert [words.p(p) for p in (0.0001, 0.0213)] == ["under 0.001", "0.021"]
    assert words.codes([f"V{i}" for i in range(30)]) == "30 people"
    assert words.who("measurer", "V1") == "V1"
    assert words.who("everybody", "(all)") == "everybody"


def test_options_are_pairs_with_an_equals_sign_or_a_colon():
    asked = Asked(recorded_to="a: 1 oz; b=1/8 in;", ranges="a=3 lb to 45 lb")
    assert [(w.name, str(w.measure.step), w.low, w.high) for w in asked.measures()] == [
        ("a", "1 oz", 48, 720), ("b", "1/8 in", 0, 2**40),
    ]  # fmt: skip
    assert set(asked.options()) == {"recorded_to", "ranges", "clusters"}


@pytest.mark.parametrize("text", ["a", "a=", "=1 oz", "a=1 oz; a=2 oz"])
def test_options_that_are_no_pairs_are_refused(text):
    with pytest.raises(ValueError, match=r"NAME=VALUE|given twice"):
        Asked(recorded_to=text).measures()
