"""What a reading was expected to be, and when it is far."""

import numpy as np
import pandas as pd
import pytest
from calibration.sessions import cube_of
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats
from strategies import as_session, sessions

from anthroqa.intake.written.steps import Step
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.odd import expectation as module
from anthroqa.scores.odd.expectation import expected, middle
from anthroqa.simulate import draw, nearest

MILLIMETRE = Step(1, "mm")


def drawn(seed=1, *, staff=6, subjects=10, rounds=2, tem=3.0, bias=0.0, shift=None):
    rng = np.random.default_rng(seed)
    true = rng.uniform(600, 900, subjects)
    shift = np.zeros(rounds) if shift is None else shift
    return nearest(draw(true, tem=np.full(staff, tem), bias=bias, shift=shift, rng=rng))


def of(counts, **more):
    return expected(cube_of(np.asarray(counts), MILLIMETRE, **more))


gappy = arrays(
    float, st.tuples(st.integers(1, 4), st.integers(1, 3), st.integers(1, 3)),
    elements=st.integers(-5, 5).map(float) | st.just(np.nan),
)  # fmt: skip


@given(gappy)
def test_the_median_of_the_rest_is_that_of_a_slow_loop(values):
    level, n = module._of_the_rest(values)
    for p, s, k in np.ndindex(values.shape):
        rest = [
            values[q, s, j]
            for q, j in np.ndindex(values.shape[0], values.shape[2])
            if (q, j) != (p, k) and not np.isnan(values[q, s, j])
        ]
        assert n[p, s, k] == len(rest)
        if rest:
            assert level[p, s, k] == np.median(rest)
        else:
            assert np.isnan(level[p, s, k])


@given(gappy)
def test_a_middle_is_the_median_of_what_is_there(values):
    found = middle(values)
    for place in np.ndindex(found.shape):
        row = values[place][~np.isnan(values[place])]
        assert found[place] == np.median(row) if len(row) else np.isnan(found[place])


def test_what_is_kept_of_a_mean_square_is_that_of_a_normal():
    kept = stats.norm.expect(lambda z: np.minimum(z**2, module._CUT**2))
    assert pytest.approx(kept, abs=5e-7) == module._KEPT


def test_a_cut_mean_square_is_that_of_normal_readings_and_of_the_sound_among_slips():
    square = (3 * np.random.default_rng(2).normal(size=20_000)) ** 2
    there = np.ones((1, len(square)), dtype=bool)
    # the variance of a cut square is under 2 sigma^4, so 9 +- 4 * 9 * sqrt(2 / n) = +- 0.36
    assert module._cut_mean(square[None], there, 0.0, 0.0) == pytest.approx([9.0], abs=0.36)
    square[:1000] = 1e6  # a twentieth of them: the cut ones count 2.25 / 0.778 times each
    assert module._cut_mean(square[None], there, 0.0, 0.0) < 9 * 1.25


def test_off_by_is_the_reading_less_the_median_of_the_others():
    # everybody agrees but for one, and nobody has a habit: worked by hand
    counts = np.array(
        [[[100, 101], [200, 200]], [[100, 100], [200, 200]], [[100, 100], [200, 190]]]
    )
    found = of(counts)
    assert found.off_by[:, :, 0].tolist() == [[0, 0], [0, 0], [0, 0]]
    assert found.off_by[:, :, 1].tolist() == [[1, 0], [0, 0], [0, -10]]
    assert found.value[2, 1, 1] == 200
    assert np.argwhere(found.far).tolist() == [[2, 1, 1]]


def test_one_slip_among_three_is_the_only_one_far():
    counts = np.array(
        [[[100], [50], [70], [81]], [[100], [51], [70], [80]], [[150], [50], [71], [80]]]
    )
    assert np.argwhere(of(counts).far).tolist() == [[2, 0, 0]]


def test_of_two_people_who_differ_both_are_far():
    counts = np.array(
        [[[100], *[[k] for k in range(60, 80)]], [[160], *[[k] for k in range(60, 80)]]]
    )
    assert np.argwhere(of(counts).far).tolist() == [[0, 0, 0], [1, 0, 0]]


@pytest.mark.parametrize("by", [-4000, 70, 12_345])
def test_nobody_is_far_for_what_a_subject_a_person_or_a_round_adds(by):
    counts = drawn(bias=np.zeros(6)) + 5000
    plain = of(counts)
    assert not plain.far.any()
    for index in (np.s_[:, 3], np.s_[2], np.s_[:, :, 1]):
        moved = counts.copy()
        moved[index] += by
        found = of(moved)
        assert not found.far.any()
        assert found.off_by == pytest.approx(plain.off_by, abs=1.5)


@pytest.mark.parametrize("size", [60, -60, 5000])
def test_a_slip_is_far_and_moves_no_other_expectation_by_much(size):
    for seed in range(10):
        counts = drawn(seed) + 10_000
        plain = of(counts)
        counts[2, 4, 1] += size
        found = of(counts)
        assert np.argwhere(found.far).tolist() == [[2, 4, 1]]
        assert found.value == pytest.approx(plain.value, abs=3.0)  # one repeat SD


def test_an_exchanged_pair_of_one_person_is_all_that_is_far():
    counts = drawn(3)
    a, b = int(counts[1, :, 0].argmin()), int(counts[1, :, 0].argmax())
    counts[1, [a, b], 0] = counts[1, [b, a], 0]
    assert sorted(np.argwhere(of(counts).far).tolist()) == sorted([[1, a, 0], [1, b, 0]])


def test_a_sheet_shifted_from_its_second_row_on_is_far_in_each_row_that_moved():
    # eleven of the person's twenty-four readings: their own spread must not hide them
    for seed in range(10):
        counts = drawn(seed, subjects=12)
        before = counts[3, :, 1].copy()
        counts[3, 1:, 1] = before[:-1]
        moved = np.abs(counts[3, :, 1] - before) >= 12 * 3
        assert moved.sum() >= 6
        assert of(counts).far[3, moved, 1].all()


def test_a_wide_reader_has_a_wide_spread_and_an_exact_one_that_of_the_others():
    counts = drawn(5, subjects=30)
    counts[0] += nearest(np.random.default_rng(6).normal(0, 9, counts.shape[1:]))
    counts[1] = counts[2:].mean(axis=(0, 2)).round()[:, None]
    spread = np.nanmedian(of(counts).spread, axis=(1, 2))
    assert spread[0] > 2 * spread[2]
    assert spread[1] > 0.3 * spread[2]  # six of sixty-five df are everybody's


def test_a_subject_on_whom_the_others_scatter_has_a_wider_spread():
    counts = drawn(7)
    counts[:, 4] += nearest(np.random.default_rng(8).normal(0, 9, (6, 2)))
    spread = np.nanmedian(of(counts).spread, axis=(0, 2))
    assert spread[4] > 1.5 * np.delete(spread, 4).max()


def test_the_spread_is_never_under_half_a_step_a_display():
    counts = np.full((4, 5, 2), 100) + np.arange(5)[None, :, None]
    assert of(counts).spread == pytest.approx(0.5 * np.sqrt(1 + np.pi / 2 / 7))
    tared = pd.DataFrame(
        [(p, s, "length", 1, "900", "800") for p in "ABCD" for s in "12345"],
        columns=["measurer", "subject", "measure", "round", "reading", "tare"],
    )
    found = expected(next(cubes(as_session(tared))))
    assert found.spread == pytest.approx(0.5 * np.sqrt(2) * np.sqrt(1 + np.pi / 2 / 3))


def test_a_subject_that_lies_between_two_marks_has_no_wider_spread():
    counts = np.full((4, 5, 2), 100) + np.arange(5)[None, :, None]
    counts[:, 2, 1] += 1
    spread = of(counts).spread
    assert spread[:, 2] == pytest.approx(spread[:, 1])


@given(sessions())
def test_any_session_has_expectations_and_a_lone_reader_none(session):
    for cube in cubes(session):
        found = expected(cube)
        alone = (cube.seen.any(axis=2).sum(axis=0) < 2)[None, :, None]
        assert not found.far[~cube.seen].any()
        assert not found.far[np.broadcast_to(alone, cube.seen.shape)].any()
        known = cube.seen & ~alone
        assert np.isfinite(found.value[known]).all()
        assert (found.limit[known] > found.spread[known]).all()
