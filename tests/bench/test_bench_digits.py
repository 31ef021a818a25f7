"""Tests of marks are drawn as arrays; the same tests one draw at a time are much slower."""

import statistics
import sys
import time

import numpy as np
import pandas as pd
import pytest
from calibration.sessions import DESIGNS, session
from scipy.stats import monte_carlo_test

import anthroqa
from anthroqa.intake.written.grammar import as_written
from anthroqa.scores.marks.digits import read_marks, used
from anthroqa.scores.marks.null_sessions import MORE_DRAWS, _Null

pytestmark = pytest.mark.bench

STAFF, LEAST_RATIO = 12, 20
MOST_OVER_LINEAR = 1.5


@pytest.fixture(scope="module")
def nulls():
    cube = session(DESIGNS["0.1 cm"], np.random.default_rng(50), staff=STAFF, subjects=12)
    at = read_marks(cube).at
    people = [used(at, person) for person in range(STAFF)]
    both = [(mine, _Null(at, mine, cube.measure.cycle)) for mine in people]
    return [(null.spots(at.x[mine]), null) for mine, null in both]


def one_by_one(x, null, rng):
    """Both p-values of one person by scipy's test, its statistic called for every draw."""
    expected = null.place(null.draw(MORE_DRAWS, rng))[1].mean(axis=0)

    def draw(size):
        return null.draw(size[0], rng)

    def largest(sample):
        return null.contrast[null.which, sample.astype(int)].sum(axis=0).max()

    def far(sample):
        digits = null.digit[null.which, sample.astype(int)]
        return np.abs(np.bincount(digits, minlength=null.cycle) - expected).sum()

    return [
        monte_carlo_test(
            x, draw, statistic, vectorized=False, n_resamples=MORE_DRAWS, alternative="greater"
        ).pvalue
        for statistic in (largest, far)
    ]


def test_null_sessions_are_drawn_twenty_times_faster_than_by_a_loop(nulls):
    times = []
    for _ in range(3):
        start = time.perf_counter()
        fast = [
            null.judge(null.place(x[None]), MORE_DRAWS, np.random.default_rng(p))
            for p, (x, null) in enumerate(nulls)
        ]
        times.append(time.perf_counter() - start)
    share = 4  # a quarter of the people
    some = range(0, STAFF, share)
    start = time.perf_counter()
    slow = [one_by_one(*nulls[p], np.random.default_rng(100 + p)) for p in some]
    loop = (time.perf_counter() - start) * share
    seconds = statistics.median(times)
    sys.stdout.write(f"\narrays {seconds:.2f} s, loop {loop:.1f} s, ratio {loop / seconds:.0f}\n")
    for p, (marks, digits) in zip(some, slow, strict=True):
        assert fast[p].p_marks.min() == pytest.approx(marks, abs=0.02)
        assert fast[p].p_dissimilarity == pytest.approx(digits, abs=0.02)
    assert loop / seconds >= LEAST_RATIO


def trained(staff):
    """Twelve subjects read twice by so many staff, three measures."""
    rng = np.random.default_rng(51)
    frames = []
    for number, name in enumerate(("0.1 cm", "0.1 kg", "1/8 in")):
        cube = session(DESIGNS[name], rng, staff=staff, subjects=12)
        person, subject, turn = np.indices(cube.gross.shape).reshape(3, -1)
        frames.append(pd.DataFrame({
            "measurer": [f"P{p}" for p in person], "subject": [f"S{s}" for s in subject],
            "measure": f"m{number}", "round": turn + 1,
            "reading": [as_written(int(c), cube.measure.step) for c in cube.gross.reshape(-1)],
        }))  # fmt: skip
    steps = {
        f"m{n}": {"recorded_to": name} for n, name in enumerate(("0.1 cm", "0.1 kg", "1/8 in"))
    }
    return anthroqa.Session.from_frame(pd.concat(frames), measures=steps)


def test_a_session_of_twelve_is_scored_while_one_waits_and_the_cost_is_linear_in_staff():
    seconds = {}
    for staff in (12, 48):
        session_ = trained(staff)
        times = []
        for seed in range(3):
            start = time.perf_counter()
            table = anthroqa.score(session_, seed=seed)
            times.append(time.perf_counter() - start)
        assert len(table) > staff * 3 * 10
        seconds[staff] = statistics.median(times)
    sys.stdout.write(f"\n12 staff {seconds[12]:.2f} s, 48 staff {seconds[48]:.2f} s\n")
    assert seconds[48] / seconds[12] <= 4 * MOST_OVER_LINEAR
