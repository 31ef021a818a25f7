"""The TEM of the unrounded readings: estimate, interval, bound, and how often it holds."""

from collections import Counter
from functools import cache
from itertools import combinations_with_replacement
from math import exp, factorial, log, prod, sqrt

import numpy as np
import pandas as pd
import pytest
from calibration import shifts
from calibration.resolved import study
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats
from strategies import as_frame, as_session, figures_of, sessions

import anthroqa
from anthroqa.scores.layout.figures import notes
from anthroqa.scores.repeats import resolved

ONLY = ["within_tem_resolved"]
SOME = [[600, 600], [610, 611], [625, 625], [633, 633], [647, 646], [655, 655]]
READINGS = st.lists(
    st.lists(st.integers(0, 3), min_size=2, max_size=3), min_size=1, max_size=6
)  # fmt: skip


def row_of(subjects, *, confidence=0.90, **session):
    table = figures_of({"A": subjects}, only=ONLY, confidence=confidence, **session)
    return table.loc["A", "within_tem_resolved"]


# ---- slowly: from the definition, one reading at a time


@cache
def chance(marks, tem):
    """Of readings in one order, the position integrated out, by adaptive quadrature."""

    def shown(mark, t):
        return stats.norm.cdf((mark + 0.5 - t) / tem) - stats.norm.cdf((mark - 0.5 - t) / tem)

    low, high = min(marks), max(marks)
    return integrate.quad(
        lambda t: prod(shown(m, t) for m in marks), low - 0.5 - 7 * tem, high + 0.5 + 7 * tem,
        points=[m + 0.5 for m in range(low - 1, high + 1)], limit=500,
    )[0]  # fmt: skip


def best_slowly(subjects):
    apart = [tuple(sorted(x - min(rounds) for x in rounds)) for rounds in subjects]
    found = optimize.minimize_scalar(
        lambda x: -sum(log(max(chance(marks, exp(x)), 1e-300)) for marks in apart),
        bounds=(log(0.03), log(3)), method="bounded", options={"xatol": 1e-6},
    )  # fmt: skip
    return exp(found.x)


def pair_chances(tem, widest, by=0.0):
    """Of pairs 0, 1, 2 ... steps and `by` apart: E[(1 - |d - z|)+], summed over a fine lattice."""
    z = np.linspace(-9, 9, 20_001) * tem * sqrt(2)
    density = stats.norm.pdf(z, scale=tem * sqrt(2)) * (z[1] - z[0])
    return [
        (1 + (d + by > 0)) * float(np.maximum(1 - abs(d + by - z), 0) @ density)
        for d in range(widest + 1)
    ]


TEMS = np.exp(np.arange(log(0.002), log(8), 0.02))
WIDEST = 6


@cache
def all_logs(by):
    return np.log(np.maximum([pair_chances(t, WIDEST, by) for t in TEMS], 1e-300))


def exact_tails(distances, tem, by=0.0):
    """Chance of a signed root as low, and as high, as that of pairs so far apart: all outcomes."""
    logs = all_logs(by)
    at = np.log(np.maximum(pair_chances(tem, WIDEST, by), 1e-300))

    def root(outcome):
        total = logs[:, outcome].sum(axis=1)
        side = 1 if TEMS[total.argmax()] > tem else -1
        return side * sqrt(2 * max(total.max() - at[list(outcome)].sum(), 0))

    own, low, high = root(sorted(distances)), 0.0, 0.0
    for outcome in combinations_with_replacement(range(WIDEST + 1), len(distances)):
        orders = factorial(len(distances)) / prod(factorial(c) for c in Counter(outcome).values())
        p = orders * exp(at[list(outcome)].sum())
        low += p * (root(outcome) <= own + 1e-9)
        high += p * (root(outcome) >= own - 1e-9)
    return low, high


@pytest.mark.parametrize(
    "subjects",
    [
        SOME,
        [[600, 601], [610, 611], [620, 620], [630, 632]],
        [[600, 600, 601], [610, 610, 610], [620, 621, 622]],
        [[600, 600], [610, 610, 611], [620, 620, 621, 620], [630]],
    ],
)
def test_the_estimate_is_where_a_likelihood_by_quadrature_is_greatest(subjects):
    again = [rounds for rounds in subjects if len(rounds) > 1]
    assert row_of(subjects)["estimate"] == pytest.approx(best_slowly(again), rel=2e-4)


@pytest.mark.parametrize("distances", [(0, 0, 1, 0), (1, 0, 1, 1), (2, 0, 1, 0)])
def test_the_ends_are_where_the_exact_tail_is_the_risk_of_a_side(distances):
    row = row_of([[600, 600 + d] for d in distances])
    risk = 0.05
    # the tails are simulated at candidates a fifth of a logarithm apart, read between them
    band = 4 * sqrt(risk * (1 - risk) / resolved._DRAWS) + 0.005
    low, _ = exact_tails(distances, row["upper"])
    _, high = exact_tails(distances, row["lower"])
    assert abs(low - risk) < band
    assert abs(high - risk) < band
    assert row["lower"] < row["estimate"] < row["upper"]


@pytest.mark.parametrize("distances", [(0, 0, 1, 0, 0, 0, 0), (0, 1, 0, 0, 0, 0, 0, 0, 1)])
def test_with_half_a_step_taken_out_the_tails_are_those_of_such_pairs(distances, monkeypatch):
    # a change of 0 or 1 step is half a step from a shift of a half
    monkeypatch.setattr(resolved, "_shift", lambda cube: (np.array([[0, 0.5]]), notes(1)))
    row = row_of([[600, 601 + d] for d in distances])
    risk = 0.05
    band = 4 * sqrt(risk * (1 - risk) / resolved._DRAWS) + 0.005
    low, _ = exact_tails(distances, row["upper"], 0.5)
    _, high = exact_tails(distances, row["lower"], 0.5)
    assert abs(low - risk) < band
    assert abs(high - risk) < band
    assert row["lower"] < row["estimate"] < row["upper"]


def test_changes_that_a_shift_alone_would_make_have_an_upper_bound_only(monkeypatch):
    monkeypatch.setattr(resolved, "_shift", lambda cube: (np.array([[0, 0.5]]), notes(1)))
    row = row_of([[600, 600 + d] for d in (0, 1) * 5])
    assert np.isnan(row["estimate"])
    assert row["lower"] == 0
    assert row["note"] == "every repeat is equal once the shift is taken out: an upper bound"
    # the chance that ten are half a step off, no further, at the bound
    near = pair_chances(row["upper"], 0, 0.5)[0]
    assert near**10 == pytest.approx(0.05, abs=4 * sqrt(0.05 * 0.95 / resolved._DRAWS) + 0.005)


def test_a_shift_that_everybody_shares_is_taken_out_and_that_is_said():
    people = {p: [[600 + 9 * s, 600 + 9 * s + d] for s, d in enumerate(own)] for p, own in {
        "A": (5, 5, 4, 5, 5, 6, 5), "B": (5, 6, 5, 5, 4, 5, 5), "C": (5, 5, 5, 5, 5, 5, 5),
    }.items()}  # fmt: skip
    moved = figures_of(people, only=ONLY)
    still = figures_of({p: [[a, b - 5] for a, b in own] for p, own in people.items()}, only=ONLY)
    for part in ("estimate", "lower", "upper"):
        assert moved[part].equals(still[part])
    said = "a shift between rounds that the other staff share is taken out"
    assert moved["note"].tolist() == [
        said, said, f"every repeat is equal once the shift is taken out: an upper bound; {said}",
    ]  # fmt: skip
    alone = figures_of({"A": people["A"]}, only=ONLY).loc["A", "within_tem_resolved"]
    assert alone["estimate"] > 3
    assert alone["note"].startswith("the round shift is not taken out: too few other staff")


def test_with_a_shift_of_a_part_of_a_step_intervals_hold_as_they_say():
    table = shifts.study(60, 20261130, tems=(0.3,), sizes=((5, 10, 2),), limits=("1",))
    band = 4 * sqrt(0.05 * 0.95 / 300)
    assert (table[["above_shifted", "below_shifted"]] <= 0.05 + band).all(axis=None), table


def test_ten_equal_pairs_have_the_published_bound():
    # P(all ten equal) = 0.05 where the TEM is 0.23 of a step, by the interval-censored
    # likelihood; by root finding here
    row = row_of([[600, 600]] * 10)
    bound = optimize.brentq(lambda tem: chance((0, 0), tem) ** 10 - 0.05, 0.1, 0.5)
    assert round(bound, 2) == 0.23
    assert np.isnan(row["estimate"])
    assert row["lower"] == 0
    assert row["upper"] == pytest.approx(bound, rel=5e-4)  # read between points of a grid
    assert row["note"] == "every repeat is equal: an upper bound"
    assert (row["subjects"], row["readings"], row["df"]) == (10, 20, 10)


def test_equal_triples_have_a_bound_too():
    row = row_of([[600] * 3] * 4, confidence=0.95)
    bound = optimize.brentq(lambda tem: chance((0, 0, 0), tem) ** 4 - 0.025, 0.1, 1)
    assert row["upper"] == pytest.approx(bound, rel=1e-3)


def test_from_a_few_steps_on_it_is_the_chi_squared_interval_less_sheppards_correction():
    d = [5, -3, 8, 0, -6, 2, 4, -7]
    row = row_of([[600 + 9 * i, 600 + 9 * i + x] for i, x in enumerate(d)])
    square = sum(x**2 for x in d) / 2
    ends = [sqrt(square / stats.chi2.ppf(q, 8) - 1 / 12) for q in (0.95, 0.05)]
    assert row[["lower", "upper"]].tolist() == pytest.approx(ends, rel=1e-12)
    # the greatest likelihood lies there but for what a polynomial between points misses
    assert row["estimate"] == pytest.approx(sqrt(square / 8 - 1 / 12), rel=2e-4)


def test_a_tared_reading_has_two_roundings():
    d = [5, -3, 8, 0, -6, 2, 4, -7]
    frame = as_frame({"A": [[600 + 9 * i, 600 + 9 * i + x] for i, x in enumerate(d)]})
    row = figures_of(frame.assign(tare="500"), only=ONLY).loc["A", "within_tem_resolved"]
    square = sum(x**2 for x in d) / 2
    ends = [sqrt(square / stats.chi2.ppf(q, 8) - 2 / 12) for q in (0.95, 0.05)]
    assert row[["lower", "upper"]].tolist() == pytest.approx(ends, rel=1e-12)
    assert row["note"] == "tared: both displays are taken to err alike"


def test_the_two_parts_of_an_interval_meet():
    # one pair a step further apart at a time, through where the closed form takes over
    ends = [
        row_of([[600, 601], [610, 611], [620, 622], [630, 631], [640, 643], [650, 650 + far]])
        for far in range(1, 9)
    ]
    for name in ("lower", "estimate", "upper"):
        steps = np.diff([row[name] for row in ends])
        assert (steps > 0).all(), name
        assert steps.max() < 3 * np.median(steps), name


def test_with_too_little_it_is_blank_and_says_why():
    row = row_of([[600], [610]])
    assert row[["estimate", "lower", "upper"]].isna().all()
    assert row["note"] == "no subject was read twice"
    assert row["df"] == 0
    few = row_of([[600, 601]])
    assert 0 < few["lower"] < few["estimate"] < few["upper"]


@settings(max_examples=40)
@given(READINGS, st.randoms(use_true_random=False))
def test_orders_and_places_of_subjects_do_not_matter(subjects, random):
    by = [random.randint(0, 900) for _ in subjects]
    turned = [[x + b for x in random.sample(r, len(r))] for r, b in zip(subjects, by, strict=True)]
    turned = random.sample(turned, len(turned))
    one, other = (row_of(s)[["estimate", "lower", "upper"]] for s in (subjects, turned))
    assert other.tolist() == pytest.approx(one.tolist(), rel=1e-9, nan_ok=True)


def test_it_scales_with_the_step():
    in_cm = row_of([[f"{x / 10:.1f}" for x in rounds] for rounds in SOME], recorded_to="0.1 cm")
    in_mm = row_of(SOME)
    assert in_cm["unit"] == "cm"
    for name in ("estimate", "lower", "upper"):
        assert in_cm[name] == pytest.approx(in_mm[name] / 10, rel=1e-12)


@settings(max_examples=25)
@given(sessions())
def test_a_person_has_the_same_figure_alone_and_among_others(session):
    columns = ["estimate", "lower", "upper", "subjects", "readings", "df", "note"]
    every = anthroqa.score(session, only=ONLY).set_index("measurer")[columns]
    for person in every.index:
        own = session.readings[session.readings["measurer"] == person]
        alone = anthroqa.score(as_session_like(session, own), only=ONLY)
        expected = alone.set_index("measurer").loc[person, columns]
        pd.testing.assert_series_equal(every.loc[person], expected)


def as_session_like(session, readings):
    frame = readings.assign(measure="length", reading=readings["written"])
    step = str(session.measures["length"].step)
    return anthroqa.Session.from_frame(
        frame[["measurer", "subject", "measure", "round", "reading"]
              + [c for c in ("retake",) if c in frame]],
        measures={"length": {"recorded_to": step}},
    )  # fmt: skip


@settings(max_examples=40)
@given(sessions())
def test_an_interval_holds_its_estimate_and_widens_with_confidence(session):
    narrow, wide = (anthroqa.score(session, only=ONLY, confidence=c) for c in (0.8, 0.95))
    there = narrow["estimate"].notna()
    assert (wide["upper"].notna() == (wide["df"] > 0)).all()
    assert (narrow["upper"][there] > narrow["estimate"][there]).all()
    assert (narrow["lower"][there] < narrow["estimate"][there]).all()
    assert (wide["upper"] > narrow["upper"])[narrow["df"] > 0].all()
    assert (wide["lower"] < narrow["lower"])[there].all()


def test_another_seed_moves_an_end_by_what_the_drawing_leaves_open():
    session = as_session({"A": SOME * 2})
    ends = np.array([
        anthroqa.score(session, only=ONLY, seed=seed)[["lower", "upper"]].to_numpy()[0]
        for seed in range(12)
    ])  # fmt: skip
    assert len(set(ends[:, 1])) > 6
    assert (ends.std(axis=0) / ends.mean(axis=0) < [0.12, 0.03]).all()


# ---- how often it holds


@pytest.fixture(scope="module")
def calibration():
    return pd.concat([
        study(1000, 20261127, designs=["12 pairs"]),
        study(250, 20261128, designs=["8 triples", "12 pairs with a tare"]),
    ])  # fmt: skip


def test_intervals_hold_the_tem_as_often_as_they_say_at_every_size(calibration):
    # an interval's tails are drawn too: 2,000 for each quarter of these sessions
    drawn = 2000 * np.maximum(1, calibration["sessions"] / 250)
    for side in ("above", "below"):
        risk = (1 - calibration["confidence"]) / 2
        band = 4 * np.sqrt(risk * (1 - risk) * (1 / calibration["sessions"] + 1 / drawn))
        assert (calibration[side] <= risk + band).all(), calibration
    c = calibration["confidence"]
    band = 4 * np.sqrt(c * (1 - c) * (1 / calibration["sessions"] + 1 / drawn))
    assert (calibration["covered"] >= c - band).all(), calibration


def test_the_plain_interval_does_not_hold_a_tem_under_a_step(calibration):
    pairs = calibration[calibration["design"] == "12 pairs"]
    small = pairs[pairs["tem"] <= 0.3]
    assert (small["plain_covered"] < 0.8).all()
    assert (small["covered"] > small["plain_covered"] + 0.1).all()
    # where rounding no longer matters, it is as long
    large = pairs[pairs["tem"] == 3]
    ratio = large["median_length"] / large["plain_median_length"]
    assert ratio.between(0.98, 1.03).all()
