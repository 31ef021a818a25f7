import re

import pytest

from anthroqa.intake import SessionError
from anthroqa.planning.plan import plan_of

SMALL = """
staff = ["K1", "K2", "K3"]
subjects = 6

[measure.weight]
recorded_to = "0.1 kg"
"""


def problems_of(text):
    with pytest.raises(SessionError) as stop:
        plan_of(text)
    return [(p.row, p.column, p.problem, p.remedy) for p in stop.value]


def test_a_small_plan_has_the_usual_rounds_cap_and_rests():
    plan = plan_of(SMALL)
    assert (plan.rounds, plan.handling_cap, plan.reference, plan.paper) == (2, 12, None, "A4")
    assert plan.staff == ("K1", "K2", "K3")
    (block,) = plan.blocks
    assert block.group == block.of == ""
    assert block.people == ("K1", "K2", "K3")
    assert block.subjects == ("S01", "S02", "S03", "S04", "S05", "S06")
    assert block.measures == ("weight",)


def test_numbers_of_staff_and_subjects_become_codes():
    plan = plan_of(SMALL.replace('["K1", "K2", "K3"]', "12").replace("subjects = 6", "subjects=7"))
    assert plan.staff[0] == "M01"
    assert plan.staff[-1] == "M12"
    assert len(set(plan.staff)) == 12


def test_the_reference_comes_last_in_its_block_and_is_not_staff():
    plan = plan_of('reference = "K2"\n' + SMALL)
    assert plan.staff == ("K1", "K3")
    assert plan.blocks[0].people == ("K1", "K3", "K2")


@pytest.mark.parametrize(
    ("staff", "rounds", "reference", "groups"),
    [(6, 2, False, 1), (7, 2, False, 2), (5, 2, True, 1), (6, 2, True, 2), (24, 2, True, 5),
     (4, 3, False, 1), (3, 3, True, 1), (4, 3, True, 2)],
)  # fmt: skip
def test_staff_are_split_into_the_least_groups_that_keep_the_cap(staff, rounds, reference, groups):
    head = 'reference = "L"\n' if reference else ""
    text = SMALL.replace('["K1", "K2", "K3"]', str(staff))
    plan = plan_of(f"{head}rounds = {rounds}\n{text}")
    assert len(plan.groups) == groups
    handled = [rounds * len(block.people) for block in plan.blocks]
    assert max(handled) <= 12
    sizes = [len(block.people) for block in plan.blocks]
    assert max(sizes) - min(sizes) <= 1
    met = [person for block in plan.blocks for person in block.people if person != "L"]
    assert sorted(met) == sorted(plan.staff)
    codes = [code for block in plan.blocks for code in block.subjects]
    assert len(codes) == len(set(codes)) == 6 * groups


def test_kinds_of_subjects_have_their_own_codes_and_measures():
    plan = plan_of("""
staff = 2
subjects = { infants = 6, adults = ["G1", "G2", "G3", "G4", "G5", "G6"] }
[measure.length]
of = "infants"
recorded_to = "1/8 in"
[measure.weight]
of = "adults"
recorded_to = "1/4 lb"
""")
    infants, adults = plan.blocks
    assert (infants.of, infants.measures, infants.subjects[0]) == ("infants", ("length",), "I01")
    assert (adults.of, adults.measures, adults.subjects[-1]) == ("adults", ("weight",), "G6")


def test_kinds_with_the_same_first_letter_are_told_apart():
    plan = plan_of("""
staff = 2
subjects = { infants = 6, inpatients = 6 }
[measure.length]
of = "infants"
recorded_to = "1/8 in"
[measure.weight]
of = "inpatients"
recorded_to = "1/4 lb"
""")
    assert [block.subjects[0] for block in plan.blocks] == ["INF01", "INP01"]


@pytest.mark.parametrize(
    ("line", "column", "problem", "remedy"),
    [
        ("subjects = 6\nrounds = 0", "rounds", "not a whole number from 1 to 9", "rounds = 2"),
        ("subjects = 6\nrounds = 7\nreference = 'L'", "handling_cap", "14 times", "fewer rounds"),
        ("subjects = 6\ngroups = 4", "groups", "more groups than staff", "groups = 1"),
        ("subjects = 6\nhandling_cap = 4\ngroups = 1", "groups", "handled 6 times", "groups = 2"),
        ("subjects = 0", "subjects", "neither a number nor a list", "subjects = 12"),
        ("subjects = ['c1', 'C1']", "subjects", "differs too little", "code of their own"),
        ("subjects = ['c1', 'c1']", "subjects", "is there twice", "code of their own"),
        ("subjects = ['Ana Ruiz', 'c1']", "subjects", "looks like a name", "list of names apart"),
        ("subjects = ['(all)']", "subjects", "cannot be a code", "another code"),
        ("subjects = ['turn', 'c1']", "subjects", "cannot be a code", "another code"),
        ("subjects = 6\npaper = 'A5'", "paper", "not known", "Letter"),
        ("subjects = 6\nbreak_minutes = -1", "break_minutes", "number of minutes", "= 15"),
        ("subjects = 6\nsubject = 6", "subject", "not known here", "Did you mean 'subjects'"),
        ("subjects = 6\nexercise = 'drill'", "exercise", "only a session", "Leave the key out"),
        ("subjects = { a = 6, b = 6 }", "measure.weight.of", "which subjects", "'a', 'b'"),
        ("subjects = 6\n[measure.z]\nrecorded_to='1 g'\ntared = 'yes'", "measure.z.tared",
         "neither true nor false", "tared = true"),
        ("subjects = 6\nother_codes = 'wet'", "other_codes", "list of texts", 'other_codes = ["'),
    ],
)  # fmt: skip
def test_what_cannot_be_planned_is_told_with_what_to_do(line, column, problem, remedy):
    told = problems_of(SMALL.replace("subjects = 6", line))
    assert any(c == column and problem in p and remedy in r for _, c, p, r in told), told


def test_a_code_that_looks_like_a_name_is_not_repeated():
    told = problems_of(SMALL.replace('"K2"', '"Maria Lopez"'))
    assert not re.search("Maria|Lopez", str(told))


def test_all_problems_are_told_together_with_their_rows():
    told = problems_of("staff = []\nsubjects = 6\nrounds = 99\n[measure.x]\nminutes = 'long'\n")
    assert [(row, column) for row, column, *_ in told] == [
        (1, "staff"), (3, "rounds"), (4, "measure.x"), (5, "measure.x.minutes"),
    ]  # fmt: skip


@pytest.mark.parametrize("lacking", ["staff", "subjects", "measure"])
def test_what_is_needed_is_asked_for(lacking):
    text = SMALL.replace(f"{lacking} =", "# ") if lacking != "measure" else "staff=2\nsubjects=6\n"
    assert any(c == lacking for _, c, _, _ in problems_of(text))


def test_a_line_that_is_no_toml_is_told_by_its_row():
    assert problems_of("staff = 2\nsubjects = six\n")[0][0] == 2


def test_measures_that_are_no_tables_are_told():
    assert problems_of("staff = 2\nsubjects = 6\nmeasure = 3\n")[0][1] == "measure"
    assert problems_of("staff = 2\nsubjects = 6\nmeasure.x = 3\n")[0][1] == "measure.x"
