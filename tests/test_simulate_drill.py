"""Drawn drills are set and read as they say."""

from fractions import Fraction

import numpy as np
import pytest

from anthroqa.intake.written.steps import Step
from anthroqa.scores.drill.ways_of_reading import counted_back
from anthroqa.simulate.drills import Reader, read, settings

STEPS = [(Step(Fraction(1, 8), "in"), 8), (Step(Fraction(1, 4), "lb"), 4),
         (Step(Fraction(1, 10), "cm"), 10)]  # fmt: skip


@pytest.mark.parametrize(("step", "cycle"), STEPS)
def test_settings_are_spread_over_the_whole_mark_and_over_both_halves_of_a_step(step, cycle):
    amounts = settings(step, cycle, low=10, high=40, rng=np.random.default_rng(6))
    assert len(amounts) == 24
    assert amounts != sorted(amounts)
    assert all((100 * a).denominator == 1 or (a / step.size).denominator == 1 for a in amounts)
    steps = [a / step.size for a in amounts]
    part = np.array([float(s % 1) for s in steps])
    assert (part == 0).sum() == 2
    assert sum(s % cycle == 0 for s in steps) >= 1
    low, high = (part >= 0.05) & (part <= 0.45), (part >= 0.55) & (part <= 0.95)
    assert low.sum() + high.sum() == 22
    assert 9 <= low.sum() <= 13
    position = np.array([int(s) % cycle for s in steps])
    assert set(position) == set(range(cycle))
    for p in range(cycle):  # both halves at every position that has two settings off the marks
        here = position == p
        if (here & (low | high)).sum() >= 2:
            assert low[here].any()
            assert high[here].any()


def test_readers_read_as_they_say():
    true = np.array([196.2, 197.9, 199.4, 192.1])
    rng = np.random.default_rng(1)
    exact = {"error": 0.0}
    assert read(true, Reader(**exact), 8, rng=rng).tolist() == [196, 198, 199, 192]
    assert read(true, Reader(shift=-0.5, **exact), 8, rng=rng).tolist() == [196, 197, 199, 192]
    assert read(true, Reader(mark=4, **exact), 8, rng=rng).tolist() == [196, 196, 200, 192]
    assert read(true, Reader(mark=4, shift=0.5, **exact), 8, rng=rng).tolist() == [
        200, 200, 200, 196,
    ]  # fmt: skip
    back = read(true, Reader(backwards=True, **exact), 8, rng=rng)
    assert back.tolist() == [196, 194, 193, 192]
    assert back.tolist() == counted_back(np.array([196, 198, 199, 192]), 8).tolist()


def test_the_error_is_that_asked_for():
    true = np.full(4000, 200.0)
    rng = np.random.default_rng(2)
    assert read(true, Reader(error=5.0), 8, rng=rng).std() == pytest.approx(5, rel=0.05)
