import pytest

from anthroqa.planning.durations import REST, day_minutes, timetable, workload
from anthroqa.planning.plan import plan_of

PLAN = """
reference = "L"
staff = 5
subjects = 8
rest_after = 3
rest_minutes = 4
break_minutes = 10
[measure.weight]
recorded_to = "0.1 kg"
minutes = 2
[measure.length]
recorded_to = "0.1 cm"
minutes = 3
"""


def test_turns_begin_when_the_one_before_and_its_rest_are_over():
    plan = plan_of(PLAN)
    day = timetable(plan, plan.blocks[0])
    first = day[day["round"] == 1]
    # 5 minutes a turn, 4 minutes of rest after the third and the sixth of eight
    assert first["minute"].tolist() == [0, 5, 10, 15, 19, 24, 29, 34, 38, 43]
    assert first.index[first["M1"] == REST].tolist() == [3, 7]
    second = day[day["round"] == 2]
    assert second["minute"].iloc[0] == 48 + 10
    assert day["turn"].isna().sum() == 4


def test_nobody_rests_after_the_last_turn_of_a_round():
    plan = plan_of(PLAN.replace("rest_after = 3", "rest_after = 4"))
    day = timetable(plan, plan.blocks[0])
    assert day["turn"].isna().sum() == 2  # after the fourth of eight, in each round
    assert day[day["round"] == 2]["minute"].iloc[0] == 8 * 5 + 4 + 10


def test_a_timetable_has_every_person_with_every_child_once_a_round():
    plan = plan_of(PLAN)
    day = timetable(plan, plan.blocks[0]).dropna()
    for _, one in day.groupby("round"):
        for person in plan.blocks[0].people:
            assert sorted(one[person]) == sorted(plan.blocks[0].subjects)


def test_handlings_and_minutes_of_a_block():
    (row,) = workload(plan_of(PLAN)).to_dict("records")
    assert (row["handlings"], row["cap"], row["turn_minutes"]) == (12, 12, 5)
    assert row["minutes"] == 2 * (8 * 5 + 2 * 4) + 10
    assert day_minutes(plan_of(PLAN)) == row["minutes"]


@pytest.mark.parametrize(("reference", "of_all"), [('reference = "L"', 2), ("", 1)])
def test_groups_follow_one_another_only_where_the_reference_is_in_all(reference, of_all):
    text = PLAN.replace('reference = "L"', reference + "\ngroups = 2")
    plan = plan_of(text)
    (minutes,) = workload(plan)["minutes"].unique()
    assert day_minutes(plan) == of_all * minutes + (of_all - 1) * 10


def test_without_minutes_for_a_rest_nobody_rests():
    plan = plan_of(PLAN.replace("rest_minutes = 4", "rest_minutes = 0"))
    assert timetable(plan, plan.blocks[0])["turn"].notna().all()


def test_people_who_wait_have_no_code():
    plan = plan_of(PLAN.replace("staff = 5", "staff = 9").replace("subjects = 8",
                   "subjects = 6\nhandling_cap = 99"))  # fmt: skip
    day = timetable(plan, plan.blocks[0]).dropna()
    assert (day[list(plan.blocks[0].people)] == "").to_numpy().any()
