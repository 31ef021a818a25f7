import math
import re
from fractions import Fraction
from types import SimpleNamespace

import pandas as pd
import pytest

from anthroqa.decisions.findings import STATES
from anthroqa.intake.described.settings import Measure
from anthroqa.intake.written.steps import Step
from anthroqa.notes import NONE, notes_of
from anthroqa.notes.decisions import InstrumentDiffers, Limit, TooNear
from anthroqa.notes.scores.figures import Repeats
from anthroqa.reporting.page import wording
from anthroqa.reporting.session import odd

OUNCES = Measure(name="infant_weight", step=Step(Fraction(1), "oz"))
EIGHTHS = Measure(name="length", step=Step(Fraction(1, 8), "in"))


@pytest.mark.parametrize(
    ("size", "unit", "decimals"),
    [
        (Fraction(1), "oz", 1), (Fraction(1, 8), "in", 2), (Fraction(1, 4), "lb", 2),
        (Fraction(1, 10), "cm", 2), (Fraction(10), "g", 0), (Fraction(1, 20), "kg", 3),
    ],
)  # fmt: skip
def test_decimals_show_a_tenth_of_the_step(size, unit, decimals):
    assert wording.places(Measure(name="m", step=Step(size, unit))) == decimals


@pytest.mark.parametrize(
    ("value", "signed", "text"),
    [
        (-0.3, True, "\u22120.3"), (0.3, True, "+0.3"), (0.3, False, "0.3"), (-0.04, True, "0.0"),
        (math.nan, False, "\u2013"), (1234.56, False, "1234.6"),
    ],
)  # fmt: skip
def test_numbers_have_a_true_minus_and_no_minus_zero(value, signed, text):
    assert wording.number(value, 1, signed=signed) == text


def test_an_interval_that_is_blank_is_said_to_be():
    assert wording.interval(math.nan, math.nan, OUNCES) == "no interval"
    assert wording.interval(1.04, 2.0, OUNCES) == "1.0 to 2.0"
    assert wording.interval(-0.1, 0.25, EIGHTHS, signed=True) == "\u22120.10 to +0.25"


def test_every_state_has_a_sign_of_its_own():
    assert set(wording.STATE_SIGNS) == set(STATES)
    assert len(set(wording.STATE_SIGNS.values())) == len(STATES)


def test_items_are_listed_with_a_last_and():
    assert wording.listed([]) == ""
    assert wording.listed(["K1"]) == "K1"
    assert wording.listed(["K1", "K2", "K3"]) == "K1, K2 and K3"


def test_an_over_limit_finding_points_to_the_odd_reading_first(outreach, outreach_analysis):
    made, decisions = outreach_analysis, outreach_analysis.decisions
    over = decisions[(decisions["state"] == "over limit") & (decisions["measurer"] == "M1")]
    row = next(over[over["measure"] == "length"].itertuples())
    first = odd.in_short(made.slips, odd.findings(made.variants), row)
    text = wording.over_limit(row, outreach, first)
    assert text.startswith("M1, length, repeat error: 1.77 cm (1.22 to 3.38); limit 0.6 cm.")
    told = "(subject C2, round 2, consistent with two subjects exchanged; subject C5, round 2"
    assert f"2 of these readings lie far from the rest {told}" in text
    assert text.endswith("look at them on paper first; without them: not judged.")


def test_a_shift_shared_by_the_staff_is_said_to_be_nobodys_error(outreach, outreach_analysis):
    scores, decisions = outreach_analysis.scores, outreach_analysis.decisions
    shift = scores[(scores["statistic"] == "round_shift:2") & (scores["measure"] == "height")]
    text = wording.round_shift(next(shift.itertuples()), outreach.measures["height"])
    assert text.startswith("height: round 2 came out 0.35 cm lower than round 1 for the staff")
    assert "Nobody's error" in text
    row = decisions[(decisions["measure"] == "height") & (decisions["measurer"] == "M3")].iloc[0]
    assert row["statistic"] == "within_tem_less_shift"


def test_chance_is_one_in_twenty_of_the_findings_with_an_interval(outreach_analysis):
    reached = outreach_analysis.reach
    people = int(reached["people"].sum())
    text = wording.by_chance(reached, 0.90)
    said = re.search(rf"by chance alone: (\d+\.\d) of the {people} findings", text)
    assert float(said.group(1)) == pytest.approx(people / 20, abs=0.051)  # as printed
    assert "about 1 in 20" in text
    assert "chance had no finding to give" in wording.by_chance(reached.iloc[:0], 0.90)


def test_what_cannot_be_shown_is_said_with_numbers():
    rows = pd.DataFrame({
        "question": ["repeatability", "bias"], "half_width": [math.nan, 0.7],
        "within_below": [1.32, -0.2], "over_above": [2.65, 1.2],
    })  # fmt: skip
    text = wording.cannot_show(rows, OUNCES, "LEAD")
    assert "within the limit only under 1.3 oz, and over it only above 2.6 oz" in text
    assert "a difference from LEAD under about 0.7 oz cannot be told from none" in text
    assert "few differences, if any, can be shown to be within the limit" in text


def decision(**more):
    row = {
        "measure": "weight", "measurer": "M4", "question": "repeatability",
        "statistic": "within_tem_resolved", "estimate": 0.01477, "lower": 0.00249,
        "upper": 0.03944, "unit": "kg", "limit": 0.1, "state": "within limit",
        "more_subjects": 0, "note": NONE,
    }  # fmt: skip
    return SimpleNamespace(**row | more)


TENTHS = Measure(name="weight", step=Step(Fraction(1, 10), "kg"), typed={"limit_tem": "0.1 kg"},
                 limit_tem=Fraction(1, 10))  # fmt: skip


def test_a_repeat_error_behind_the_rounding_has_one_decimal_more_and_is_said_to_be_one():
    assert wording.with_interval(decision(), TENTHS) == "0.015 kg (0.002 to 0.039)"
    behind = "under one step of 0.1 kg, so the error behind the rounding"
    assert wording.reason(decision(), TENTHS, set()) == behind
    assert wording.reason(decision(statistic="within_tem"), TENTHS, set()) == ""
    open_ = decision(state="not settled", more_subjects=3)
    assert wording.reason(open_, TENTHS, set()) == (
        f"more subjects would settle it if the figure stands; {behind}"
    )
    plain = decision(statistic="within_tem", estimate=0.251, lower=0.17, upper=0.48)
    assert wording.with_interval(plain, TENTHS) == "0.25 kg (0.17 to 0.48)"


def test_where_every_repeat_is_equal_only_an_upper_bound_is_given_never_rounded_down():
    row = decision(estimate=math.nan, lower=0.0, upper=0.02113)
    assert wording.with_interval(row, TENTHS) == "below 0.022 kg"
    assert wording.ends(row, TENTHS) == "\u2013"
    exact = decision(estimate=math.nan, lower=0.0, upper=0.021)
    assert wording.figure_of(exact, TENTHS) == "below 0.021"
    none = decision(estimate=math.nan, lower=math.nan, upper=math.nan, state="not judged",
                    note=notes_of(Repeats.NOT_READ_TWICE), more_subjects=pd.NA)  # fmt: skip
    assert wording.with_interval(none, TENTHS) == "no figure"
    assert wording.reason(none, TENTHS, set()) == "no subject was read twice"


def test_over_a_limit_says_which_repeat_error_was_judged(outreach):
    row = decision(estimate=0.2, lower=0.15, upper=0.3, state="over limit")
    text = wording.over_limit(row, outreach, "")
    assert text.startswith(
        "M4, weight, repeat error: 0.200 kg (0.150 to 0.300) behind the rounding; limit 0.1 kg."
    )


def test_what_is_known_beside_a_finding_over_a_limit_is_said_but_not_that_it_has_no_source(
    outreach,
):
    differs = InstrumentDiffers(own=("BEAM; old B",), reference=("PORT-1",))
    note = notes_of(differs, Limit.WITHOUT_SOURCE)
    row = decision(estimate=0.2, lower=0.15, upper=0.3, state="over limit", note=note)
    assert wording.over_limit(row, outreach, "look it up").endswith(
        "limit 0.1 kg. Look it up. Measured on BEAM; old B, the reference on PORT-1: it holds what "
        "these differ by."
    )


def test_the_reason_that_people_share_is_the_first_note_whole_and_no_number_of_subjects():
    differs = InstrumentDiffers(own=("BEAM; old B",), reference=("PORT-1",))
    row = decision(state="not settled", more_subjects=pd.NA, note=notes_of(differs, Limit.NOT_SET))
    assert wording.why_not(row, set()) == str(differs)
    near = notes_of(TooNear(most=100), differs)
    row = decision(state="not settled", more_subjects=pd.NA, note=near)
    assert wording.why_not(row, set()) == "too near the limit to settle"
