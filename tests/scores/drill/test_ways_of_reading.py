"""The likelihood of a way of reading, against a slow twin that tries one number at a time."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from anthroqa.scores.drill import ways_of_reading
from anthroqa.scores.drill.ways_of_reading import Way, counted_back, fit, ways

CYCLE = 8


def slow(counts, true, way, shift, error, cycle):
    """Log-likelihood of one person's readings, one reading after another."""
    total = 0.0
    for count, setting in zip(counts, true, strict=True):
        whole, position = divmod(int(count), cycle)
        meant = whole * cycle + (cycle - position if way.backwards and position else position)
        area = 0.0
        if meant % way.mark == 0:
            upper = stats.norm.cdf(meant + way.mark / 2, setting + shift, error)
            area = upper - stats.norm.cdf(meant - way.mark / 2, setting + shift, error)
        total += math.log(0.98 * area + 0.02 / (10 * cycle))
    return total


def slow_profile(counts, true, way, shift, cycle):
    """The best log-likelihood at a shift, over errors from 0.03 step."""
    errors = np.geomspace(0.03, 3, 150)
    return max(slow(counts, true, way, shift, error, cycle) for error in errors)


def drawn(way, shift, error, n, seed):
    rng = np.random.default_rng(seed)
    true = rng.uniform(160, 240, n)
    meant = way.mark * np.floor((true + shift + error * rng.normal(size=n)) / way.mark + 0.5)
    meant = meant.astype(np.int64)
    return (counted_back(meant, CYCLE) if way.backwards else meant), true


def fitted(counts, true, way, confidence=0.9):
    seen = np.ones((1, len(counts)), dtype=bool)
    return fit(counts[None, :], true[None, :], seen, way, CYCLE, confidence)


CASES = [
    (Way(1, False), -0.5, 0.3, 24), (Way(2, False), 0.2, 0.5, 20), (Way(4, False), 2.0, 0.8, 24),
    (Way(1, True), 0.1, 0.4, 24), (Way(2, True), -1.0, 0.5, 18),
]  # fmt: skip


@pytest.mark.parametrize(("way", "shift", "error", "n"), CASES)
@pytest.mark.parametrize("tried", [Way(1, False), Way(2, False), Way(1, True)])
def test_the_likelihood_is_that_of_the_slow_twin_and_nearly_the_best(way, shift, error, n, tried):
    counts, true = drawn(way, shift, error, n, 7)
    found = fitted(counts, true, tried)
    top = found.log_likelihood[0]
    at = slow(counts, true, tried, found.shift[0], found.error[0], CYCLE)
    # between the points of the grid: a tenth of what a way must be ahead by
    near = math.log(20) / 10
    assert at == pytest.approx(top, abs=0.03 if tried == way else near)
    best = optimize.minimize(
        lambda p: -slow(counts, true, tried, p[0], max(0.03, p[1]), CYCLE),
        (found.shift[0], found.error[0]), method="Nelder-Mead",
    )  # fmt: skip
    assert -best.fun == pytest.approx(top, abs=0.03 if tried == way else near)


@pytest.mark.parametrize(("way", "shift", "error", "n"), CASES)
def test_the_interval_ends_where_the_slow_profile_has_fallen_by_the_cut(way, shift, error, n):
    counts, true = drawn(way, shift, error, n, 11)
    found = fitted(counts, true, way)
    telling = 0
    for count, setting in zip(counts, true, strict=True):
        whole, position = divmod(int(count), CYCLE)
        meant = whole * CYCLE + (CYCLE - position if way.backwards and position else position)
        spread = stats.norm(setting + found.shift[0], found.error[0])
        telling += spread.cdf(meant + way.mark / 2) - spread.cdf(meant - way.mark / 2) <= 0.98
    size = max(telling, 5)
    cut = size / 2 * math.log1p(stats.t.ppf(0.95, size - 2) ** 2 / (size - 2))
    top = found.log_likelihood[0]
    assert found.lower[0] < found.shift[0] < found.upper[0]
    for end in (found.lower[0], found.upper[0]):
        # the grid of shifts has a fortieth of a mark between points, and errors are tried apart
        assert slow_profile(counts, true, way, end, CYCLE) == pytest.approx(top - cut, abs=0.5)


def test_the_chances_of_marks_give_the_known_variance_of_a_rounded_reading():
    # exact variance of a normal of SD 0.2 rounded to a step, mean a quarter above a mark:
    # 0.094595 (sum over marks of the area under the normal curve, derived)
    marks_near = np.arange(-5, 6)
    chance = ways_of_reading._area(marks_near - 0.25, np.array(0.2), 1)
    mean = (chance * marks_near).sum()
    assert chance.sum() == pytest.approx(1)
    assert (chance * (marks_near - mean) ** 2).sum() == pytest.approx(0.094595, abs=5e-7)


def test_counting_back_turns_positions_round_and_leaves_whole_marks():
    # 24 3/8 for 24 5/8; a whole inch and a half have one side only
    assert counted_back(np.array([197, 195, 192, 196]), 8).tolist() == [195, 197, 192, 196]
    counts = np.arange(100, 140)
    assert (counted_back(counted_back(counts, 10), 10) == counts).all()


def test_a_side_is_tried_only_where_the_mark_has_one():
    assert ways(8, [1, 2, 4, 8]) == [
        Way(1, False), Way(2, False), Way(4, False), Way(8, False), Way(1, True), Way(2, True),
    ]  # fmt: skip
    assert ways(None, [1]) == [Way(1, False)]
    for mark in (4, 8):  # counted back, these are the same readings
        counts = np.arange(0, 80, mark)
        assert (counted_back(counts, 8) == counts).all()


def test_people_do_not_move_one_another():
    one, two = (drawn(w, s, e, n, 3) for w, s, e, n in (CASES[0], CASES[2]))
    together = fit(
        np.stack([one[0], two[0]]), np.stack([one[1], two[1]]), np.ones((2, 24), dtype=bool),
        Way(1, False), CYCLE, 0.9,
    )  # fmt: skip
    for i, (counts, true) in enumerate((one, two)):
        alone = fitted(counts, true, Way(1, False))
        for name in ("log_likelihood", "shift", "error", "lower", "upper"):
            assert getattr(together, name)[i] == getattr(alone, name)[0]


def test_readings_that_are_not_there_do_not_count():
    counts, true = drawn(*CASES[0], 5)
    padded = fit(
        np.r_[counts, 999, 999][None, :], np.r_[true, 0, 0][None, :],
        np.r_[np.ones(24, dtype=bool), False, False][None, :], Way(1, False), CYCLE, 0.9,
    )  # fmt: skip
    alone = fitted(counts, true, Way(1, False))
    assert padded.log_likelihood == pytest.approx(alone.log_likelihood)
    assert padded.lower == pytest.approx(alone.lower)


def test_a_displacement_moves_with_the_readings():
    counts, true = drawn(*CASES[0], 9)
    found, moved = (fitted(counts + by, true, Way(1, False)) for by in (0, 3))
    assert moved.shift[0] == pytest.approx(found.shift[0] + 3)
    assert moved.log_likelihood[0] == pytest.approx(found.log_likelihood[0])


@pytest.mark.parametrize("by", [1, 51])
def test_one_slip_does_not_decide(by):
    counts, true = drawn(Way(4, False), 0.0, 0.3, 24, 2)
    slipped = counts.copy()
    slipped[5] += by  # on no half inch
    coarse, fine = (fitted(slipped, true, Way(m, False)) for m in (4, 1))
    assert coarse.log_likelihood[0] - fine.log_likelihood[0] > math.log(20)
    assert abs(coarse.shift[0] - fitted(counts, true, Way(4, False)).shift[0]) < 0.5
