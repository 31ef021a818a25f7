import numpy as np
import pandas as pd
import pytest

from anthroqa.planning.order import lists
from anthroqa.planning.plan import plan_of
from anthroqa.planning.planned_rows import COLUMNS, planned, sheet_code, turns

PLAN = """
reference = "L"
staff = ["K1", "K2", "K3", "K4", "K5", "K6", "K7"]
seed = 3
[subjects]
infants = 8
adults = 7
[measure.weight]
of = "infants"
recorded_to = "1 oz"
[measure.length]
of = "infants"
recorded_to = "1/8 in"
[measure.height]
of = "adults"
recorded_to = "0.1 cm"
"""


def test_everybody_of_a_group_reads_everything_of_its_subjects_once_a_round():
    plan = plan_of(PLAN)
    table = planned(plan)
    assert list(table.columns) == COLUMNS
    wanted = {
        (block.group, block.of, person, subject, measure, number)
        for block in plan.blocks for person in block.people for subject in block.subjects
        for measure in block.measures for number in (1, 2)
    }  # fmt: skip
    keys = ["group", "of", "measurer", "subject", "measure", "round"]
    assert len(table) == len(wanted)
    assert set(table[keys].itertuples(index=False, name=None)) == wanted
    assert plan.groups == ("A", "B")
    assert len(wanted) == 2 * (5 + 4) * (8 * 2 + 7)


def test_rows_are_in_the_order_of_the_sheets():
    plan = plan_of(PLAN)
    table = planned(plan)
    sheets = table["sheet"].drop_duplicates().tolist()
    assert sheets == [
        sheet_code(block, person, number)
        for group in plan.groups for number in (1, 2)
        for person in next(b for b in plan.blocks if b.group == group).people
        for block in plan.blocks if block.group == group
    ]  # fmt: skip
    assert sheets[0] == "K1-A-infants-R1"
    assert table["sheet"].ne(table["sheet"].shift()).sum() == len(sheets)  # never taken up again
    for (_, of), sheet in table.groupby(["sheet", "of"]):
        measures = ["weight", "length"] if of == "infants" else ["height"]
        lines = np.repeat(np.arange(1, sheet["subject"].nunique() + 1), len(measures))
        assert sheet["line"].tolist() == lines.tolist()
        assert sheet["measure"].tolist() == measures * sheet["subject"].nunique()
        assert sheet["turn"].is_monotonic_increasing


def test_lines_of_a_sheet_are_the_turns_of_its_block():
    plan = plan_of(PLAN)
    table = planned(plan)
    for block in plan.blocks:
        own = table[(table["group"] == block.group) & (table["of"] == block.of)]
        own = own[own["measure"] == block.measures[0]]
        for r, one in enumerate(turns(plan, block), start=1):
            for p, order in enumerate(lists(one)):
                sheet = own[(own["round"] == r) & (own["measurer"] == block.people[p])]
                assert sheet["subject"].tolist() == [block.subjects[s] for s in order]


def test_in_one_turn_a_subject_is_with_one_person():
    table = planned(plan_of(PLAN))
    busy = table.drop_duplicates(["measurer", "subject", "round"])
    assert not busy.duplicated(["subject", "round", "turn"]).any()
    assert not busy.duplicated(["group", "of", "measurer", "round", "turn"]).any()


def test_people_who_wait_have_no_empty_line():
    text = PLAN.replace("infants = 8", "infants = 6").replace("seed = 3", "handling_cap = 99")
    plan = plan_of(text)
    table = planned(plan)
    sheet = table[(table["of"] == "infants") & (table["measure"] == "weight")]
    assert len(plan.groups) == 1
    assert sheet.groupby("sheet")["line"].agg(["min", "max"]).eq([1, 6]).all(axis=None)
    assert sheet["turn"].max() == 12  # the second wave


def test_the_order_comes_from_the_seed_and_is_new_in_every_block():
    plan = plan_of(PLAN)
    pd.testing.assert_frame_equal(planned(plan), planned(plan_of(PLAN)))
    other = planned(plan_of(PLAN.replace("seed = 3", "seed = 4")))
    assert (planned(plan)["subject"] != other["subject"]).any()
    plan = plan_of(PLAN.replace('"K7"]', '"K7", "K8"]'))  # groups of one size
    first, second = (b for b in plan.blocks if b.of == "infants")
    assert (turns(plan, first)[:, :, 0] != turns(plan, second)[:, :, 0]).any()


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ('staff = ["K1"]\nsubjects = 6\n[measure.w]\nrecorded_to = "1 g"', "K1-R2"),
        ('staff = ["K1", "K2"]\ngroups = 2\nsubjects = 6\n[measure.w]\nrecorded_to = "1 g"',
         "K1-A-R2"),
    ],
)  # fmt: skip
def test_a_sheet_is_named_for_what_is_on_it(text, code):
    plan = plan_of(text)
    assert sheet_code(plan.blocks[0], "K1", 2) == code
    assert code in planned(plan)["sheet"].tolist()
