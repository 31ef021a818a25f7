"""What a session of this size can show, and what chance alone would find in it."""

import numpy as np
import pytest
from scipy import stats
from strategies import as_session

import anthroqa
from anthroqa.decisions import reach
from anthroqa.simulate import draw, nearest

LIMITS = {"limit_tem": "6 mm", "limit_bias": "4 mm", "limit_source": "manual"}


def tables(*, subjects=12, rounds=2, confidence=0.9, settings=LIMITS, short=0):
    rng = np.random.default_rng(8)
    values = nearest(draw(rng.uniform(6000, 9000, subjects), tem=[3.0] * 4,
                          shift=np.zeros(rounds), rng=rng)).tolist()  # fmt: skip
    layout = dict(zip(["LEAD", "A", "B", "C"], values, strict=True))
    if short:
        layout["C"] = layout["C"][:short]
    session = as_session(layout, reference="LEAD", **settings)
    scores = anthroqa.score(session, confidence=confidence)
    decisions = anthroqa.decide(scores, session)
    return reach(decisions, scores).set_index("question"), scores, decisions


def test_columns_and_rows():
    session = as_session({"A": [[1, 2]]})
    scores = anthroqa.score(session)
    empty = reach(anthroqa.decide(scores, session), scores)
    assert list(empty.columns) == [
        "measure", "question", "people", "by_chance", "half_width", "within_below", "over_above",
        "unit",
    ]  # fmt: skip
    assert len(empty) == 0
    assert tables()[0].index.tolist() == ["repeatability", "bias"]
    assert set(tables()[0]["unit"]) == {"mm"}


def test_what_chance_finds_is_people_times_one_sided_risk():
    for confidence in (0.9, 0.8):
        table, _, _ = tables(confidence=confidence)
        assert table["people"].to_dict() == {"repeatability": 4, "bias": 3}
        for question, people in (("repeatability", 4), ("bias", 3)):
            expected = people * (1 - confidence) / 2
            assert table.loc[question, "by_chance"] == pytest.approx(expected)


@pytest.mark.parametrize("rounds", [2, 3])
def test_repeat_errors_at_the_ends_of_the_reach_touch_the_limit(rounds):
    table, scores, decisions = tables(rounds=rounds)
    row = table.loc["repeatability"]
    # that of a TEM less a shift is a little under 12 (rounds - 1)
    df = decisions.merge(scores, on=["measurer", "statistic"])
    df = df.loc[df["question"] == "repeatability", "df"].median()
    assert 0.9 * 12 * (rounds - 1) < df <= 12 * (rounds - 1)
    upper = row["within_below"] * (df / stats.chi2.ppf(0.05, df)) ** 0.5
    lower = row["over_above"] * (df / stats.chi2.ppf(0.95, df)) ** 0.5
    assert upper == pytest.approx(6)
    assert lower == pytest.approx(6)
    assert np.isnan(row["half_width"])


def test_the_reach_of_a_bias_is_the_limit_less_and_plus_the_median_half_width():
    table, scores, _ = tables()
    rows = scores[scores["statistic"] == "bias"]
    half = ((rows["upper"] - rows["lower"]) / 2).median()
    row = table.loc["bias"]
    assert row["half_width"] == pytest.approx(half)
    assert row["within_below"] == pytest.approx(4 - half)
    assert row["over_above"] == pytest.approx(4 + half)


def test_the_reach_agrees_with_what_was_decided():
    table, _, decisions = tables()
    row = table.loc["repeatability"]
    for one in decisions[decisions["question"] == "repeatability"].itertuples():
        expected = (
            "within limit" if one.estimate < row["within_below"]
            else "over limit" if one.estimate > row["over_above"]
            else "not settled"
        )  # fmt: skip
        assert one.state == expected


def test_people_who_were_not_judged_are_not_counted():
    table, _, decisions = tables(short=4)
    assert (decisions.set_index("measurer").loc["C", "state"] == "not judged").all()
    assert table["people"].to_dict() == {"repeatability": 3, "bias": 2}
    nobody, _, _ = tables(settings={})
    assert len(nobody) == 0


def test_repeat_errors_under_a_step_are_counted_as_any_other():
    rough = as_session(
        {"LEAD": [[600, 600], [610, 611]] * 4, "A": [[600, 603], [612, 610]] * 4},
        reference="LEAD", **LIMITS,
    )  # fmt: skip
    scores = anthroqa.score(rough)
    found = reach(anthroqa.decide(scores, rough), scores).set_index("question")
    assert found.loc["repeatability", "people"] == 2
    assert found.loc["repeatability", "by_chance"] == pytest.approx(0.10)
