"""How many more subjects would settle it: the least number, by brute force."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from strategies import as_session

import anthroqa
from anthroqa.decisions.enough import (
    mean_factor,
    more_for_mean,
    more_for_resolved,
    more_for_spread,
    spread_factors,
)
from anthroqa.simulate import draw, nearest


def settles_spread(estimate, df, limit, confidence):
    tail = (1 - confidence) / 2
    lower = estimate * (df / stats.chi2.ppf(1 - tail, df)) ** 0.5
    upper = estimate * (df / stats.chi2.ppf(tail, df)) ** 0.5
    return df >= 6 and (upper < limit or lower > limit)


def settles_mean(estimate, n, sd, limit, confidence):
    half = stats.t.ppf((1 + confidence) / 2, n - 1) * sd / n**0.5
    return n >= 6 and (abs(estimate) + half < limit or abs(estimate) - half > limit)


@settings(max_examples=80)
@given(
    st.floats(0.5, 20), st.integers(1, 40), st.floats(1, 10), st.integers(2, 4),
    st.sampled_from([0.8, 0.9, 0.95]),
)  # fmt: skip
def test_more_for_a_repeat_error_is_the_least_that_settles(estimate, df, limit, rounds, confidence):
    found = more_for_spread(estimate, df, limit, rounds=rounds, confidence=confidence)
    settled = [
        settles_spread(estimate, df + more * (rounds - 1), limit, confidence)
        for more in range(101)
    ]  # fmt: skip
    assert found == (settled.index(True) if any(settled) else None)


@settings(max_examples=80)
@given(
    st.floats(-8, 8), st.integers(2, 30), st.floats(0.1, 9), st.floats(0.5, 5),
    st.sampled_from([0.8, 0.9, 0.95]),
)  # fmt: skip
def test_more_for_a_bias_is_the_least_that_settles(estimate, n, sd, limit, confidence):
    half = stats.t.ppf((1 + confidence) / 2, n - 1) * sd / n**0.5
    found = more_for_mean(estimate, n, half, limit, confidence=confidence)
    settled = [settles_mean(estimate, n + more, sd, limit, confidence) for more in range(101)]
    assert found == (settled.index(True) if any(settled) else None)


def settles_resolved(estimate, lower, upper, df, total, limit):
    if estimate is None:  # 0.05 ** (1 / n) is the chance of one pair at the bound
        return total >= 6 and upper * (1 - 0.05 ** (1 / total)) / (1 - 0.05 ** (1 / df)) < limit
    part = (df / total) ** 0.5
    high = estimate * (upper / estimate) ** part
    low = estimate * (lower / estimate) ** part
    return total >= 6 and (high < limit or low > limit)


@settings(max_examples=80)
@given(
    st.floats(0.05, 0.9) | st.none(), st.floats(0, 0.99), st.floats(1.01, 4), st.integers(1, 40),
    st.floats(0.02, 2), st.integers(2, 4),
)  # fmt: skip
def test_more_for_a_repeat_error_under_a_step_is_the_least_that_settles(
    estimate, below, above, df, limit, rounds
):
    size = 0.2 if estimate is None else estimate
    lower, upper = (0.0 if estimate is None else size * below), size * above
    found = more_for_resolved(
        float("nan") if estimate is None else estimate, lower, upper, df, limit,
        rounds=rounds, confidence=0.9,
    )  # fmt: skip
    settled = [
        settles_resolved(estimate, lower, upper, df, df + more * (rounds - 1), limit)
        for more in range(101)
    ]  # fmt: skip
    assert found == (settled.index(True) if any(settled) else None)


def test_more_for_a_repeat_error_under_a_step_by_hand():
    # twice the estimate at 12 df: 0.4 x 2 ** (12 / 18) ** 0.5 is 0.704, at 19 df 0.694, at 20 0.684
    assert more_for_resolved(0.4, 0.2, 0.8, 12, 0.7, rounds=2, confidence=0.9) == 7
    assert more_for_resolved(0.4, 0.25, 0.8, 12, 0.69, rounds=3, confidence=0.9) == 4
    # a bound of 0.2 at 12 df is 0.2 x (1 - 0.05 ** (1/16)) / (1 - 0.05 ** (1/12)) = 0.1547 at 16
    # and 0.1640 at 15
    nan = float("nan")
    assert more_for_resolved(nan, 0.0, 0.2, 12, 0.16, rounds=2, confidence=0.9) == 4
    assert more_for_resolved(nan, 0.0, 0.2, 12, 0.16, rounds=3, confidence=0.9) == 2


def test_the_bound_of_equal_repeats_shrinks_as_it_is_taken_to():
    for more in (3, 8, 24):
        bounds = [
            anthroqa.score(as_session({"A": [[5, 5]] * n}), only=["within_tem_resolved"])["upper"]
            for n in (12, 12 + more)
        ]
        shrunk = (1 - 0.05 ** (1 / (12 + more))) / (1 - 0.05 ** (1 / 12))
        assert bounds[1].item() == pytest.approx(bounds[0].item() * shrunk, rel=2e-3)


def test_by_hand():
    # from 12 df; the upper factor falls under 6 / 4.2 = 1.4286 at 16 df, where it is
    # sqrt(16 / 7.961646) = 1.4176; at 15 df it is sqrt(15 / 7.260944) = 1.4373
    assert spread_factors(16, 0.9)[1] == pytest.approx((16 / 7.961646) ** 0.5, abs=1e-6)
    assert more_for_spread(4.2, 12, 6.0, rounds=2, confidence=0.9) == 4
    # with three rounds a subject adds two
    assert more_for_spread(4.2, 12, 6.0, rounds=3, confidence=0.9) == 2
    assert mean_factor(12, 0.9) == pytest.approx(1.795885 / 12**0.5, abs=1e-6)


def test_an_estimate_on_the_limit_is_never_settled():
    assert more_for_spread(6.0, 12, 6.0, rounds=2, confidence=0.9) is None
    assert more_for_mean(4.0, 12, 1.0, 4.0, confidence=0.9) is None


def decisions_of(*, seed, tem, bias, subjects=9, rounds=2):
    rng = np.random.default_rng(seed)
    values = nearest(draw(rng.uniform(6000, 9000, subjects), tem=np.array(tem),
                          bias=np.array(bias), shift=np.zeros(rounds), rng=rng))  # fmt: skip
    layout = dict(zip(["LEAD", "A", "B", "C"], values.tolist(), strict=True))
    session = as_session(
        layout, reference="LEAD", limit_tem="6 mm", limit_bias="4 mm", limit_source="manual"
    )
    scores = anthroqa.score(
        session, only=["within_tem", "within_tem_resolved", "within_tem_less_shift",
                       "round_shift", "bias", "bias_from_others"],
    )  # fmt: skip
    return anthroqa.decide(scores, session), scores


def test_more_subjects_of_a_decision_settles_it_if_the_estimate_stands():
    checked = {"repeatability": 0, "bias": 0, "no number": 0}
    for seed in range(25):
        table, scores = decisions_of(
            seed=seed, tem=[3.0, 5.0, 8.0, 6.0], bias=[0, 2.0, 6.0, -4.0], rounds=2 + seed % 2
        )
        figures = scores.set_index(["measurer", "statistic"])
        for row in table[table["state"] == "not settled"].itertuples():
            df = figures.loc[(row.measurer, row.statistic), "df"]
            if row.question == "repeatability":

                def settles(more, row=row, df=df, rounds=2 + seed % 2):
                    return settles_spread(row.estimate, df + more * (rounds - 1), 6, 0.9)
            else:
                n = df + 1
                sd = (row.upper - row.estimate) / stats.t.ppf(0.95, df) * n**0.5

                def settles(more, row=row, n=n, sd=sd):
                    return settles_mean(row.estimate, n + more, sd, 4, 0.9)

            if pd.isna(row.more_subjects):
                assert not settles(100)
                assert row.note.startswith("too near the limit to settle: over 100 more subjects")
                checked["no number"] += 1
            else:
                assert row.more_subjects >= 1
                assert settles(row.more_subjects)
                assert not settles(row.more_subjects - 1)
                checked[row.question] += 1
    assert min(checked.values()) > 5, checked


def test_somebody_not_judged_is_told_how_many_more_would_do():
    table, _ = decisions_of(seed=1, tem=[2.0, 2.0, 2.0, 2.0], bias=[0, 0, 0, 0], subjects=4)
    assert set(table["state"]) == {"not judged"}
    assert (table["more_subjects"] >= 2).all()


@pytest.mark.parametrize(("n", "least", "most"), [(6, 0.06, 0.105), (10, 0.06, 0.095)])
def test_a_second_look_raises_the_risk_from_five_to_about_eight_in_a_hundred(n, least, most):
    # everybody sits on the limit (1); those not settled are seen again with what was asked for
    rng = np.random.default_rng(20261124)
    over = {"spread": 0, "mean": 0}
    draws = 4000
    for _ in range(draws):
        squares = rng.chisquare(n)
        more = more_for_spread((squares / n) ** 0.5, n, 1.0, rounds=2, confidence=0.9)
        low = (squares / n) ** 0.5 * spread_factors(float(n), 0.9)[0]
        if low <= 1 and more:
            total = n + more
            seen = ((squares + rng.chisquare(more)) / total) ** 0.5
            low = seen * spread_factors(float(total), 0.9)[0]
        over["spread"] += low > 1

        x = rng.normal(1.0, 0.5, n)
        half = x.std(ddof=1) * mean_factor(float(n), 0.9)
        more = more_for_mean(x.mean(), n, half, 1.0, confidence=0.9)
        if x.mean() - half <= 1 and more:
            x = np.append(x, rng.normal(1.0, 0.5, more))
            half = x.std(ddof=1) * mean_factor(float(n + more), 0.9)
        over["mean"] += x.mean() - half > 1
    shares = {question: count / draws for question, count in over.items()}
    band = 4 * np.sqrt(0.08 * 0.92 / draws)
    assert all(least - band < share < most + band for share in shares.values()), shares
