"""The page of a plan: what it says of each measure, and that odd plans have one too."""

import re

import pytest

from anthroqa.planning import chances, changes, look_ahead
from anthroqa.planning.plan import plan_of
from anthroqa.reporting.plan import sections

PLAN = """
title = "Spring <b>"
reference = "LEAD"
staff = 5
subjects = 10
[conditions]
stop = ["upset"]
[measure.weight]
recorded_to = "1 oz"
expected_tem = "1.2 oz"
limit_tem = "2 oz"
limit_bias = "2 oz"
limit_source = "manual"
"""


def page(text):
    """The text of every part of a plan's page."""
    outlook = look_ahead(plan_of(text))
    parts = [
        sections.opening(outlook), sections.settled(outlook), sections.changed(outlook),
        sections.day(outlook),
    ]  # fmt: skip
    html = "\n".join(part.text for part in parts)
    return re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", html)), html


def test_a_chance_is_said_of_ten_staff_with_what_would_help():
    said, _ = page(PLAN)
    assert (
        "Weight, repeat error: limit 2 oz, expected error 1.2 oz, 10 subjects: 5 in 10 staff with "
        "that error would be settled within the limit; with 16 subjects 8 in 10, with 3 rounds in "
        "2 groups and 10 subjects too."
    ) in said
    assert "Weight, difference: limit 2 oz, expected error 1.2 oz, 10 subjects: nearly all" in said


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.999, "nearly all"), (0.001, "hardly any"), (0.97, "more than 9 in 10"), (0.55, "6 in 10"),
     (0.03, "fewer than 1 in 10")],
)  # fmt: skip
def test_a_chance_is_never_rounded_to_nobody_or_everybody(chance, words):
    assert sections.in_ten(chance) == words


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("limit_tem", "# ", "no finding (no limit is given). Its interval would reach from"),
        ("expected_tem", "# ", "no finding (no expected error is given)"),
        ("subjects = 10", "subjects = 5", "5 repeat differences, and 6 are the least"),
        ("subjects = 10", "subjects = 5", "no finding is made of them"),
        ('limit_tem = "2 oz"', 'limit_tem = "1.2 oz"', "60 subjects would not be enough either"),
        ('limit_tem = "2 oz"', 'limit_tem = "0.5 oz"', "the limit is too fine for readings to"),
        ('reference = "LEAD"', "", "people are compared with one another only"),
        ("staff = 5", "staff = 9", "One group would handle each child 20 times for a measure"),
        ("staff = 5", "staff = 9", "the cap is 12: staff are in 2 groups"),
        ("staff = 5", "staff = 5\ngroups = 2", "To note. Staff are in 2 groups"),
        ("staff = 5", "staff = 9", "LEAD measures in every group"),
        (
            "staff = 5",
            "staff = 5\nhandling_cap = 12",
            "nothing is left for readings to be taken again",
        ),
        ("subjects = 10", "subjects = 5", "they work in waves"),
        ("limit_source", "# ", "The limits of weight have no source"),
        ('stop = ["upset"]', "", "There is no stop code"),
        ("subjects = 10", "subjects = 40", "8 in 10 with six subjects already"),
    ],
)
def test_what_stands_in_the_way_is_said(old, new, words):
    said, _ = page(PLAN.replace(old, new))
    assert words.casefold() in said.casefold()


def test_handlings_time_and_order_are_there():
    said, _ = page(PLAN)
    assert "12 of 12" in said
    assert "About 1 h 05 min" in said  # 2 x (10 turns of 2 min and a rest of 5) and 15 between
    assert re.search(r"all within 1 within 1 \d [23] of 20", said)


def test_what_people_typed_is_text_and_figures_say_what_they_show():
    _, html = page(PLAN)
    assert "Spring &lt;b&gt;" in html
    assert 'alt="Weight, repeat error. 2 rounds: 6 subjects' in html


def test_the_planned_point_and_the_curves_are_drawn_where_they_are():
    plan = plan_of(PLAN)
    table = chances(plan)
    row = next(table.itertuples())
    curves = changes(plan, table)
    ax = sections.curve_of(curves[curves["question"] == "repeatability"], row)
    two, *_ = ax.lines
    mine = curves[(curves["question"] == "repeatability") & (curves["rounds"] == 2)]
    assert two.get_xdata().tolist() == mine["subjects"].tolist()
    assert two.get_ydata() == pytest.approx(100 * mine["within"])
    (point,) = [line for line in ax.lines if line.get_marker() == "o"]
    assert (point.get_xdata()[0], point.get_ydata()[0]) == (10, pytest.approx(100 * row.within))


@pytest.mark.parametrize(
    "text",
    [
        'staff = 1\nsubjects = 1\nrounds = 1\n[measure.x]\nrecorded_to = "3 g"\n',
        'staff = 2\nsubjects = 6\n[measure.x]\nrecorded_to = "0.1 kg"\nexpected_tem = "1 g"\n'
        'limit_tem = "50 g"\nlimit_bias = "1 g"\n',
        'staff = 3\nsubjects = 7\nrounds = 4\nreference = "L"\n[measure.x]\n'
        'recorded_to = "1/4 lb"\ntared = true\nexpected_tem = "1 lb"\nlimit_tem = "1 oz"\n'
        'limit_bias = "9 lb"\n',
    ],
    ids=["least", "hidden", "tared"],
)  # fmt: skip
@pytest.mark.filterwarnings("error")
def test_odd_plans_have_a_page_too(text):
    said, _ = page(text)
    assert "In short" in said
