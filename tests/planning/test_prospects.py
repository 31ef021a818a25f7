import numpy as np
import pytest
from calibration import planning as study
from scipy import special

from anthroqa.decisions.enough import spread_factors
from anthroqa.notes import notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.decisions import Limit
from anthroqa.notes.planning import FewRepeats, FewSubjects, NotGiven, Prospect
from anthroqa.planning import chances, changes, drawn, least_subjects, look_ahead, naming
from anthroqa.planning.plan import plan_of

ALONE = Prospect.NOBODY_TO_COMPARE_WITH
PLAN = """
reference = "LEAD"
staff = 6
subjects = 10
handling_cap = 100
[measure.weight]
recorded_to = "1 oz"
expected_tem = "1.2 oz"
limit_tem = "2 oz"
limit_bias = "2 oz"
"""


def row(text, question="repeatability", **kwargs):
    table = chances(plan_of(text), **kwargs)
    return table[table["question"] == question].iloc[0]


@pytest.mark.parametrize(
    ("ratio", "df"), [(0.50, 9), (0.60, 14), (0.67, 22), (0.75, 41), (0.80, 66)]
)
def test_a_fine_step_gives_the_chances_of_the_chi_squared_distribution(ratio, df):
    # 8 in 10 within the limit needs so many df: chi-squared, one-sided 5 %
    fewer, normal = (special.chdtr(n, special.chdtri(n, 0.95) / ratio**2) for n in (df - 1, df))
    assert fewer < 0.8 <= normal + 0.005  # 2/3 is printed as 0.67
    text = PLAN.replace("1 oz", "0.001 oz").replace("1.2 oz", f"{2 * ratio} oz")
    text = text.replace("subjects = 10", f"subjects = {df}").replace("staff = 6", "staff = 80")
    text = text.replace("handling_cap = 100", "handling_cap = 900")
    assert row(text)["within"] == pytest.approx(normal, abs=0.015)


def test_the_chance_grows_from_6_in_10_to_8_in_10_with_16_subjects():
    ten, sixteen = row(PLAN), row(PLAN.replace("subjects = 10", "subjects = 16"))
    assert round(10 * ten["within"]) == 6
    assert round(10 * sixteen["within"]) == 8
    found = changes(plan_of(PLAN), chances(plan_of(PLAN)))
    curve = found[(found["question"] == "repeatability") & (found["rounds"] == 2)]
    assert least_subjects(curve) == pytest.approx(16, abs=1)


@pytest.mark.parametrize(
    ("df", "low", "high"), [(10, 0.70, 1.75), (20, 0.77, 1.44), (40, 0.82, 1.28)]
)
def test_interval_factors_are_those_of_the_handbook(df, low, high):
    # 95 % interval of a standard deviation, chi-squared tables, as printed to two decimals
    assert spread_factors(df, 0.95) == pytest.approx((low, high), abs=0.006)


def test_width_follows_blands_sample_size_for_a_within_subject_sd():
    # Bland, "How can I decide the sample size for a repeatability study?", from memory: the
    # half width is 1.96 / sqrt(2 n (m - 1)) of the SD: 10 % needs n (m - 1) = 192.08
    text = PLAN.replace("subjects = 10", "subjects = 193").replace("expected_tem", "# ")
    found = row(text, confidence=0.95)
    assert (found["high_factor"] - found["low_factor"]) / 2 == pytest.approx(0.10, abs=0.002)


def test_chances_of_a_plan_hold_in_sessions_that_are_scored_and_judged():
    found = study.study(4, seed=11)
    band = 2 + 400 * np.sqrt(found["planned"] * (1 - found["planned"]) / found["measurers"])
    assert (found["points"].abs() <= band).all(), found
    for _, of in found.groupby("question"):  # the designs together
        band = 4 * np.sqrt((of["planned"] * (1 - of["planned"]) / of["measurers"]).sum()) / len(of)
        assert abs(of["points"].mean()) <= 1 + 100 * band, of
    assert len(found) == 18
    assert found["planned"].between(0.4, 0.9).all()  # everywhere there is something to miss


def test_under_one_step_the_seed_is_that_of_the_report():
    # what most people read with this error gives an interval that ends close to this limit
    design = study.DESIGNS[3]
    assert (design.tem, design.limit_tem) == (0.4, "0.7")
    for seed in (0, 1):
        found = study.study(2, seed=5, designs=[design], scored=seed).iloc[0]
        assert abs(found["points"]) < 2 + 400 * np.sqrt(0.25 / found["measurers"])


def test_a_tare_rounds_twice_and_costs_chance():
    text = PLAN.replace("1.2 oz", "0.6 oz").replace('limit_tem = "2 oz"', 'limit_tem = "1 oz"')
    plain, tared = row(text), row(text + "tared = true\n")
    assert tared["within"] < plain["within"] - 0.03


@pytest.mark.parametrize(
    ("change", "question", "note"),
    [
        (("limit_tem", "# "), "repeatability", "no limit is given"),
        (("limit_bias", "# "), "bias", "no limit is given"),
        (("expected_tem", "# "), "repeatability", "no expected error is given"),
        (('reference = "LEAD"\nstaff = 6', "staff = 2"), "bias", "there is no reference"),
        (("subjects = 10", "subjects = 5"), "repeatability", "5 repeat differences"),
        (("subjects = 10", "subjects = 5"), "bias", "5 common subjects"),
        (('limit_tem = "2 oz"', 'limit_tem = "0.5 oz"'), "repeatability", "too fine"),
    ],
)
def test_what_stands_in_the_way_is_noted(change, question, note):
    found = row(PLAN.replace(*change), question)
    assert note in found["note"]
    if "least" in found["note"]:
        assert found["within"] == found["over"] == 0
    elif "too fine" not in note:
        assert np.isnan(found["within"])


@pytest.mark.parametrize(
    ("change", "question", "code", "findings"),
    [
        (("limit_tem", "# "), "repeatability", NotGiven(limit=True, expected_error=False), 6),
        (("subjects = 10", "subjects = 5"), "repeatability", FewRepeats(n=5, least=6), 0),
        (("subjects = 10", "subjects = 5"), "bias", FewSubjects(n=5, least=6), 0),
        (('reference = "LEAD"\nstaff = 6', "staff = 2"), "bias", ALONE, 2),
        (('limit_tem = "2 oz"', 'limit_tem = "0.5 oz"'), "repeatability", Limit.TOO_FINE, 13),
    ],
)
def test_an_outlook_holds_the_tables_of_its_plan_with_codes(change, question, code, findings):
    plan = plan_of(PLAN.replace(*change))
    outlook, table = look_ahead(plan), chances(plan)
    asked = outlook.chances["question"] == question
    assert outlook.chances.loc[asked, "note"].tolist() == [notes_of(code)]
    assert worded(outlook.chances).equals(table)
    assert outlook.changes.equals(changes(plan, table))
    assert outlook.naming.equals(naming(plan, table))
    assert outlook.naming["findings"].iloc[1] == findings


def test_widths_are_there_without_a_limit_or_an_expected_error():
    found = row(PLAN.replace("limit_tem", "# ").replace("expected_tem", "# "))
    assert found["low_factor"] < 0.8 < 1.3 < found["high_factor"]
    assert row(PLAN.replace("limit_bias", "# "), "bias")["half_width"] > 0


def test_a_single_round_repeats_nothing():
    found = row("rounds = 1\n" + PLAN)
    assert "0 repeat differences" in found["note"]
    assert np.isnan(found["low_factor"])


@pytest.mark.parametrize("question", ["repeatability", "bias"])
@pytest.mark.parametrize("subjects", [1, 5])
def test_too_few_subjects_see_nobody_over_a_limit(subjects, question):
    found = row(PLAN.replace("subjects = 10", f"subjects = {subjects}"), question)
    assert found["within"] == found["over"] == 0
    assert np.isnan(found["seen_at"])


def test_the_smallest_group_is_the_one_that_is_told_of():
    found = row(PLAN.replace("handling_cap = 100", "groups = 2").replace("staff = 6", "staff = 7"))
    assert found["staff"] == 3


def test_what_would_be_seen_over_the_limit_is_seen_in_8_of_10():
    found = row(PLAN.replace("1 oz", "0.01 oz"))
    rng = np.random.default_rng(5)
    at = drawn.places(20_000, 10, tared=False, rng=rng)
    x = drawn.read(at, found["seen_at"] / 0.01, 2, rng)
    made = drawn.repeatability(x, 200, staff=6, tared=False, confidence=0.9, seed=0)
    assert made.over == pytest.approx(0.8, abs=0.02)
    of_bias = row(PLAN.replace("1 oz", "0.01 oz"), "bias")
    own, other = (drawn.read(at, 120, 2, rng) for _ in range(2))
    made = drawn.bias(own - other + of_bias["seen_at"] / 0.01, 200, confidence=0.9)
    assert made.over == pytest.approx(0.8, abs=0.02)


def test_who_is_on_the_limit_is_named_by_the_nominal_chance():
    plan = plan_of(PLAN)
    found = naming(plan, chances(plan)).set_index("case")
    assert found.loc["at the limit", "findings"] == 7 + 6  # the reference repeats itself too
    assert found.loc["at the limit", "expected"] == pytest.approx(0.05 * 13)
    assert found.loc["at the limit", "chance"] == pytest.approx(1 - 0.95**13)
    assert found.loc["as expected", "chance"] < 0.01


def test_without_an_expected_error_the_worst_case_is_there_still():
    plan = plan_of(PLAN.replace("expected_tem", "# "))
    found = naming(plan, chances(plan)).set_index("case")
    assert found["findings"].to_dict() == {"as expected": 0, "at the limit": 13}
    assert found["chance"].tolist() == pytest.approx([0, 1 - 0.95**13])


def test_a_round_more_keeps_to_the_cap_on_handlings():
    def groups(cap):
        plan = plan_of(PLAN.replace("handling_cap = 100", f"handling_cap = {cap}"))
        found = changes(plan, chances(plan))
        return found.groupby("rounds")["groups"].unique().map(list).to_dict()

    assert groups(21) == {2: [1], 3: [1]}  # six and the reference, three times
    assert groups(20) == {2: [1], 3: [2]}
    assert groups(4) == {2: [6]}  # three rounds of one and the reference are six


def test_the_same_seed_gives_the_same_chances():
    plan = plan_of(PLAN)
    assert chances(plan).equals(chances(plan))
    assert not chances(plan).equals(chances(plan, seed=1))
