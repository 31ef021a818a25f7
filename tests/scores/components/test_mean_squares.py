"""Sums of squares of broken layouts, against plain least squares and by hand."""

from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from layouts import cells_of, drawn, fixed_rounds
from strategies import as_session

from anthroqa.scores.components import mean_squares
from anthroqa.scores.components.mean_squares import contrasts, effect, moments, squares
from anthroqa.scores.layout.cells import by_round, by_subject_and_round, gather
from anthroqa.scores.layout.cube import cubes

TWO_BY_TWO = {"A": [[700, 701], [751, 750]], "B": [[706, 707], [757, 756]]}


def left(y, *columns):
    """Sum of squares left by least squares, its df, and how much each value counts in it."""
    x = np.hstack(columns)
    hat = x @ np.linalg.pinv(x, rcond=1e-10)
    off = y - hat @ y
    return off @ off, len(y) - round(np.trace(hat)), 1 - np.diag(hat)


def of_codes(code):
    return (code[:, None] == np.unique(code)).astype(float)


def test_a_complete_layout_by_hand():
    # Cells 700.5, 750.5, 706.5, 756.5: staff differ by 6, subjects by 50, nothing is left over.
    # Repeats: each cell 0.5, second less first 1, -1, 1, -1: no shift, (4 - 1) df.
    of = squares(cells_of(TWO_BY_TWO, rounds=True))
    assert (of.df_residual, of.df_repeat, of.measurer.df, of.subject.df) == (1, 3, 1, 1)
    assert of.residual == 0
    assert of.repeat == pytest.approx(2)
    # one contrast (6 / sqrt 2)^2, from two subjects
    assert (of.measurer.square[0], of.measurer.d[0]) == pytest.approx((18, 2))
    assert (of.subject.square[0], of.subject.d[0]) == pytest.approx((1250, 2))
    by = moments(of)
    assert by.repeat == pytest.approx(2 / 3)
    assert by.interaction == pytest.approx(-1 / 3)  # (0 - 2/3) / 2
    # mean squares 72 and 0, four readings a person; subjects 5000 likewise. Error held at 0.1 x
    # what it is made of, so that no contrast has an error of none.
    assert by.measurer == pytest.approx(18, abs=0.1)


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.integers(2, 6), st.integers(2, 7), st.floats(0, 0.5))
def test_sums_of_squares_are_those_of_least_squares_on_cell_means(seed, staff, subjects, missing):
    rng = np.random.default_rng(seed)
    x, person, subject, _ = drawn(rng, staff=staff, subjects=subjects, missing=missing)
    if not len(x):
        return
    cells = gather(x, person, subject, *fixed_rounds(np.zeros_like(x)))
    of = squares(cells)
    p, s = of_codes(cells.staff), of_codes(cells.subject)
    every, df, counts = left(cells.y, s, p)
    assert of.df_residual == df
    assert of.residual == pytest.approx(every, abs=1e-6)
    share = 1 / cells.n if of.df_repeat else np.ones(len(cells.n))
    if df:
        assert of.h == pytest.approx((counts * share).sum() / df)
    for part, other in ((of.measurer, s), (of.subject, p)):
        alone, df_alone, _ = left(cells.y, other)
        assert part.df == df_alone - df
        assert (part.square * part.d).sum() == pytest.approx(alone - every, abs=1e-6)
    one_by_one = [
        x[(person == a) & (subject == b)] for a, b in {*zip(person, subject, strict=True)}
    ]
    assert of.repeat == pytest.approx(sum(((c - c.mean()) ** 2).sum() for c in one_by_one))
    assert of.df_repeat == sum(len(c) - 1 for c in one_by_one)


@settings(max_examples=40)
@given(st.integers(0, 10**6), st.floats(0, 0.4))
def test_the_repeat_error_is_what_cells_and_rounds_leave(seed, missing):
    x, person, subject, turn = drawn(np.random.default_rng(seed), rounds=3, missing=missing)
    of = squares(gather(x, person, subject, *fixed_rounds(turn)))
    total, df, _ = left(x.astype(float), of_codes(person * 100 + subject), of_codes(turn))
    assert of.df_repeat == df
    assert of.repeat == pytest.approx(total, rel=1e-9)


@pytest.mark.parametrize("missing", [0.0, 0.15])
def test_moments_have_no_bias(missing):
    # 400 layouts with the same cells missing: each estimate lies about the truth
    sd = (20.0, 3.0, 2.0, 3.0)
    there = np.random.default_rng(5).random((6, 8, 2)) >= missing
    found = []
    for seed in range(400):
        x, person, subject, turn = drawn(np.random.default_rng(seed), staff=6, sd=sd)
        keep = there[person, subject, turn]
        x, person, subject, turn = (v[keep] for v in (x, person, subject, turn))
        by = moments(squares(gather(x, person, subject, *fixed_rounds(turn))))
        found.append((by.subject, by.measurer, by.interaction, by.repeat))
    found = np.array(found)
    truth = np.array(sd) ** 2
    truth[3] += 1 / 12  # rounding to whole steps
    error = found.std(axis=0, ddof=1) / 20
    assert (np.abs(found.mean(axis=0) - truth) < 4 * error).all()


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.integers(1, 6))
def test_the_variance_of_an_effect_solves_its_equation(seed, n):
    rng = np.random.default_rng(seed)
    of = contrasts(rng.normal(0, 3, n), rng.uniform(1, 4, n), np.ones(n))
    error = of.error(rng.uniform(0.1, 4, 50), 0.0)
    chi2 = rng.chisquare(n, 50)
    v = effect(of, error, chi2)
    assert (v > -error.min(axis=0)).all()
    assert (of.square[:, None] / (v + error)).sum(axis=0) == pytest.approx(chi2, rel=1e-6)


def test_equal_errors_have_the_plain_answer():
    of = contrasts(np.array([3.0, 1.0, 2.0]), np.full(3, 2.0), np.full(3, 0.5))
    assert len(of.square) == 1
    assert of.df == 3
    # sum of squares 14 over chi-squared 7, less (3 + 0.5 x 2) / 2
    assert effect(of, of.error(3.0, 2.0), 7.0)[0] == pytest.approx(0.0)


def test_a_person_in_one_round_only_is_compared_free_of_the_shift():
    # B read round 1 only, everything shifts by 40 in round 2: the staff do not differ by 20
    rng = np.random.default_rng(8)
    x, person, subject, turn = drawn(rng, staff=6, subjects=10, sd=(20, 0, 0, 1), shift=40.0)
    keep = (person != 1) | (turn == 0)
    x, person, subject, turn = (v[keep] for v in (x, person, subject, turn))
    of = squares(gather(x, person, subject, *fixed_rounds(turn)))
    by = moments(of)
    assert of.measurer.df == 5  # the shift is known from the others' 50 pairs
    assert abs(by.measurer) < 0.5
    assert by.repeat < 2


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.integers(1, 5), st.integers(1, 6), st.integers(1, 3))
def test_a_complete_layout_has_the_same_squares_from_means_as_from_sweeping(seed, p, s, k):
    counts = np.random.default_rng(seed).integers(600, 606, (p, s, k))
    layout = {f"P{i}": person.tolist() for i, person in enumerate(counts)}
    (cube,) = cubes(as_session(layout))
    for cells in (by_round(cube), by_subject_and_round(cube, cube.seen)):
        fast = squares(cells)
        with patch.object(mean_squares, "_complete", lambda *_: None):
            slow = squares(cells)
        for name in ("residual", "df_residual", "h", "repeat", "df_repeat"):
            expected = pytest.approx(getattr(slow, name), rel=1e-7, abs=1e-7, nan_ok=True)
            assert getattr(fast, name) == expected, name
        for ours, theirs in ((fast.measurer, slow.measurer), (fast.subject, slow.subject)):
            assert ours.count.tolist() == theirs.count.tolist()
            for name in ("square", "d", "h"):
                assert getattr(ours, name) == pytest.approx(getattr(theirs, name), abs=1e-7)
