"""Moderated repeat errors against a slow loop, and what is blank and why."""

import math

import numpy as np
import pandas as pd
import pytest
from programs import error_rows
from scipy import stats

from anthroqa.notes import notes_of
from anthroqa.notes.program.staff import RepeatErrors, UnstablePrior
from anthroqa.program.staff.moderation import moderated, moderated_rows, pooled


def slow(rows):
    """Pool each person by hand, find the prior by bisection on trigamma, mix."""
    people = {}
    for row in rows.itertuples():
        squares, df, lead = people.get(row.measurer, (0.0, 0.0, False))
        people[row.measurer] = (
            squares + row.df * row.estimate**2, df + row.df, lead or row.reference
        )  # fmt: skip
    own = {who: (s / d, d) for who, (s, d, lead) in people.items() if not lead}
    e = []
    for variance, d in own.values():
        z = math.log(variance)
        e.append(z - stats.loggamma.mean(d / 2) + math.log(d / 2))  # digamma by another road
    mean = sum(e) / len(e)
    left = sum((x - mean) ** 2 for x in e) / (len(e) - 1)
    left -= sum(stats.loggamma.var(d / 2) for _, d in own.values()) / len(own)
    if left <= 0:
        return {who: math.sqrt(math.exp(mean)) for who in own}, math.inf
    low, high = 1e-3, 1e6
    for _ in range(300):
        middle = math.sqrt(low * high)
        if stats.loggamma.var(middle) > left:
            low = middle
        else:
            high = middle
    d0 = 2 * low
    s0 = math.exp(mean + stats.loggamma.mean(d0 / 2) - math.log(d0 / 2))
    return {
        who: math.sqrt((d0 * s0 + d * v) / (d0 + d)) for who, (v, d) in own.items()
    }, d0  # fmt: skip


@pytest.mark.parametrize("seed", range(12))
def test_moderated_agrees_with_a_slow_loop_on_drawn_programs(seed):
    rng = np.random.default_rng(seed)
    rows = error_rows(rng, people=int(rng.integers(6, 14)))
    wide = {f"P{i}": math.exp(0.4 * rng.standard_normal()) for i in range(14)} | {"LEAD": 1.0}
    if seed % 2:
        rows["estimate"] *= rows["measurer"].map(wide)
    found = moderated_rows(rows, confidence=0.90).set_index("measurer")
    expected, d0 = slow(rows)
    assert set(expected) == set(found.index) - {"LEAD"}
    for who, tem in expected.items():
        assert found.loc[who, "moderated"] == pytest.approx(tem, rel=1e-8)
        assert found.loc[who, "prior_df"] == pytest.approx(d0, rel=1e-6)
        assert found.loc[who, "lower"] < tem < found.loc[who, "upper"]
    assert found.loc["LEAD", "note"] == notes_of(RepeatErrors.NOT_STAFF)
    assert np.isnan(found.loc["LEAD", "moderated"])


def test_moderated_lies_between_the_own_figure_and_the_prior():
    rows = error_rows(np.random.default_rng(1), missing=0)
    rows["estimate"] *= np.where(rows["measurer"] == "P0", 3.0, 1.0)
    found = moderated(rows)
    staff = found[found["moderated"].notna()]
    low, high = np.minimum(staff["estimate"], staff["prior_tem"]), np.maximum(
        staff["estimate"], staff["prior_tem"]
    )  # fmt: skip
    assert ((low - 1e-12 <= staff["moderated"]) & (staff["moderated"] <= high + 1e-12)).all()
    assert np.isfinite(staff["prior_df"]).all()


def test_staff_who_cannot_be_told_apart_have_one_figure_and_the_interval_of_all():
    rows = error_rows(np.random.default_rng(2), people=8, missing=0, reference=False)
    rows["estimate"] = 3.0
    found = moderated_rows(rows, confidence=0.9)
    assert set(found["note"]) == {notes_of(RepeatErrors.ALL_ALIKE)}
    assert np.isinf(found["prior_df"]).all()
    assert len(set(found["moderated"])) == 1
    # no narrower than if it were known that all are alike
    df = found["df"].sum()
    ratio = found["upper"].iloc[0] / found["moderated"].iloc[0]
    alike = math.sqrt(df / stats.chi2.ppf(0.05, df))
    assert 0.97 * alike <= ratio < math.sqrt(32 / stats.chi2.ppf(0.05, 32))


def test_few_people_a_hidden_error_and_one_person_are_told():
    rng = np.random.default_rng(3)
    few = moderated_rows(error_rows(rng, people=5, missing=0), confidence=0.9)
    (note,) = few.loc[few["measurer"] == "P1", "note"]
    assert note.first(UnstablePrior) == UnstablePrior(people=5, least=6)
    assert "5 people: fewer than 6" in str(note)
    assert few.loc[few["measurer"] == "P1", "moderated"].notna().all()
    hidden = moderated_rows(error_rows(rng, step=10.0), confidence=0.9)
    assert hidden["moderated"].isna().all()
    assert set(hidden["note"].iloc[1:]) == {notes_of(RepeatErrors.HIDDEN)}
    one = moderated(error_rows(rng, people=1, missing=0))
    assert one["moderated"].isna().all()
    assert (one["note"] != "").all()
    assert moderated(error_rows(rng).iloc[:0]).empty


def test_measures_never_lend_to_each_other():
    rng = np.random.default_rng(4)
    one, two = error_rows(rng), error_rows(rng).assign(measure="weight", unit="g")
    both = moderated(pd.concat([one, two]))
    pd.testing.assert_frame_equal(both[both["measure"] == "length"], moderated(one))
    assert both["measure"].drop_duplicates().tolist() == ["length", "weight"]


def test_pooled_is_the_mean_square_by_df_reference_first():
    rows = error_rows(np.random.default_rng(5), people=2, sessions=2, missing=0)
    rows["df"], rows["estimate"] = [10.0, 10, 5, 20, 10, 15], [1.0, 2, 3, 2, 4, 3]
    found = pooled(rows)
    assert found["measurer"].tolist() == ["LEAD", "P0", "P1"]
    # by hand: (10 x 1 + 20 x 4) / 30 = 3; (10 x 4 + 10 x 16) / 20 = 10; (5 x 9 + 15 x 9) / 20 = 9
    assert (found["estimate"] ** 2).tolist() == pytest.approx([3, 10, 9])
    assert found["sessions"].tolist() == [2, 2, 2]
