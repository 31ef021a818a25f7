"""At most three steps, from where the readings point, and none where they point nowhere."""

from fractions import Fraction

import pandas as pd
import pytest
from reporting.person.tables import measure_of

from anthroqa.decisions.findings import COLUMNS as DECISION
from anthroqa.intake.written.slip_catalogue import CATALOGUE
from anthroqa.notes import kind_of, notes_of
from anthroqa.notes.scores.odd import Explanation, Fault, Technique
from anthroqa.notes.scores.slips import Misread, Notch, Slipped
from anthroqa.reporting.person.practice import AGAINST, practise, said
from anthroqa.scores.marks.screening import COLUMNS as LEAD
from anthroqa.scores.odd.explained import COLUMNS as SLIP
from anthroqa.scores.odd.patterns import COLUMNS as PATTERN

MEASURES = {name: measure_of("0.1 cm", name) for name in ("length", "height")}


def rows(columns, *given, **shared):
    return pd.DataFrame([{**shared, **row} for row in given], columns=list(columns))


TEN = Misread(amount=Fraction(10), unit="cm")


def pattern(
    fault=Fault.KNEES_BENT, do=Technique.KNEES_STRAIGHT, measure="length", unit="cm", **more
):
    return {"measure": measure, "measurer": "A", "pattern": fault, "estimate": -0.71,
            "lower": -0.97, "upper": -0.45, "unit": unit, "technique": do, "note": notes_of(),
            **more}  # fmt: skip


def finding(measure="length", question="bias", state="over limit"):
    return {"measure": measure, "question": question, "state": state}


def slip(kind=TEN, chance=0.2, note=None, place=1, measure="length"):
    return {"measure": measure, "subject": "S", "round": 1, "place": place, "chance": chance,
            "note": notes_of(note), "consistent_with": notes_of(kind)}  # fmt: skip


def lead(test="coarse marks", state="named", measure="length"):
    return {"measure": measure, "test": test, "statistic": "coarse_share:0.5 cm", "estimate": 0.9,
            "lower": 0.5, "state": state}  # fmt: skip


def steps(*, findings=(), patterns=(), mark_findings=(), slips=()):
    return practise(
        rows(DECISION, *findings), rows(PATTERN, *patterns), rows(LEAD, *mark_findings, upper=1.0),
        rows(SLIP, *slips), MEASURES,
    )  # fmt: skip


def test_nothing_is_invented():
    assert steps(findings=[finding()]) == []
    assert steps(mark_findings=[lead(state="as expected"), lead(state="habit of the group")]) == []


@pytest.mark.parametrize("kind", CATALOGUE, ids=lambda kind: str(kind.slip or "misread"))
def test_something_helps_against_every_slip_of_the_catalogue(kind):
    (step,) = steps(slips=[slip(kind.slip or TEN)])
    assert step.do == AGAINST[kind_of(kind.slip or TEN)]


def test_what_helps_against_some_slips():
    def helps(kind):
        (step,) = steps(slips=[slip(kind)])
        return said(step)

    do, why = helps(Notch(amount=Fraction(50), unit="lb"))
    assert "poise" in do
    assert why == "Length, subject S, round 1: consistent with one 50 lb notch of the poise."
    assert "display" in helps(Slipped.DIGITS_EXCHANGED)[0]
    assert "subject's code" in helps(Slipped.SUBJECTS_EXCHANGED)[0]
    assert "unit" in helps(Slipped.OUNCES_AS_TENTHS)[0]


def test_there_are_three_at_most_and_the_one_over_a_limit_leads():
    found = steps(
        findings=[finding("length", state="within limit"), finding("height")],
        patterns=[
            pattern(measure="length"),
            pattern(Fault.HEAD_TILTED, Technique.SIGHT_AT_RIGHT_ANGLE, "length"),
            pattern(Fault.BOARD_LOOSE, Technique.PRESS_FIRMLY, "height"),
            pattern(Fault.SHOES_ON, Technique.SHOES_OFF, "height"),
        ],
        mark_findings=[lead()], slips=[slip()],
    )  # fmt: skip
    assert len(found) == 3
    assert found[0].do == Technique.PRESS_FIRMLY
    assert found[0].why == "height 0.71 cm low (over limit): as with board loose"
    assert "finest mark" in said(found[1])[0]
    assert "large figure" in said(found[2])[0]


def test_the_same_pattern_in_two_measures_is_one_step_told_where_it_is_over():
    found = steps(
        findings=[finding("length", state="not settled"), finding("height")],
        patterns=[pattern(), pattern(measure="height")],
    )  # fmt: skip
    assert [step.why for step in found] == [
        "height 0.71 cm low (over limit), and the same in length: as with knees bent"
    ]


def test_a_repeat_error_and_skewness_are_told_by_what_they_show():
    found = steps(
        findings=[finding(question="repeatability")],
        patterns=[pattern(Fault.MOVEMENT, Technique.WAIT_UNTIL_STILL, unit="times the others'",
                          estimate=2.74),
                  pattern(unit="skewness", estimate=-2.0)],
    )  # fmt: skip
    assert found[0].why.startswith("length repeats 2.7 times as far apart as is usual here (over")
    assert found[0].why.endswith("as with movement")
    assert found[1].why.startswith("some length readings lie far lower than the rest")


@pytest.mark.parametrize(
    "given",
    [
        {"chance": 0.5}, {"chance": float("nan")}, {"kind": None}, {"place": 2},
        {"note": Explanation.EITHER},
    ],
)  # fmt: skip
def test_no_step_comes_from_a_reading_that_a_slip_explains_badly(given):
    assert steps(slips=[slip(**given)]) == []
    assert len(steps(slips=[slip(chance=0.49)])) == 1


def test_one_step_stands_for_the_same_slip_or_habit_twice():
    assert len(steps(slips=[slip(), slip(measure="height")])) == 1
    marks = [lead(), lead("terminal digits", "worth a look"), lead(measure="height")]
    assert [step.order[0] for step in steps(mark_findings=marks)] == [1]
    assert "fresh sheet" in said(steps(mark_findings=[lead("second readings")])[0])[0]
