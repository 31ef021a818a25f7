"""Where subjects lie, against a plain loop over everything that may have happened."""

import numpy as np
import pytest
from calibration.sessions import DESIGNS, cube_of, session
from scipy.stats import norm

from anthroqa.scores.layout.shown import displays
from anthroqa.scores.marks.subject_positions import _middle, positions
from anthroqa.simulate import draw, nearest


def fitted(cube):
    return positions(displays(cube))


def chance(x, place, error, mark):
    """Chance that a reading at `place` with this error is written as x on marks so far apart."""
    if x % mark:
        return 0.0
    return norm.cdf(x + mark / 2, place, error) - norm.cdf(x - mark / 2, place, error)


def test_what_the_others_say_is_the_product_of_their_readings():
    at = fitted(session(DESIGNS["1/8 in"], np.random.default_rng(4), staff=4, leaners=1))
    shares, marks = at.shares, at.marks
    for cell in (0, 7, 22):
        me, item = at.cell_person[cell], at.cell_item[cell]
        weights = []
        for place in at.grid[item]:
            likelihood = 1.0
            for n, x in enumerate(at.x):
                person = at.person[n]
                if at.cell_item[at.cell[n]] != item or person == me:
                    continue
                there = place + at.bias[person] + at.shift[at.turn[n]]
                likelihood *= 1e-12 + sum(
                    share * chance(x, there, at.error[person], mark)
                    for share, mark in zip(shares[person], marks, strict=True)
                )
            weights.append(likelihood)
        assert at.others[cell] == pytest.approx(np.array(weights) / sum(weights), abs=1e-9)


def test_subjects_are_found_where_they_are_even_by_readers_who_lean():
    rng = np.random.default_rng(11)
    design = DESIGNS["0.1 cm"]
    true = rng.uniform(600, 900, 40)
    values = draw(true, tem=np.full(8, design.tem), shift=(0, 0), rng=rng)
    counts = nearest(values)
    counts[:5] = nearest(values[:5], 10)  # five of eight write whole centimetres only
    at = fitted(cube_of(counts, design.step))
    mine = at.cell_person == 7
    place = (at.others * at.grid[at.cell_item])[mine].sum(axis=1)
    away = place - true[at.cell_item[mine]]
    away -= away.mean()  # whose readings are right is another question
    # three careful readers give TEM / sqrt(3 readers x 2) = 1.2 steps; five who round to ten add
    assert np.sqrt((away**2).mean()) < 1.2
    assert at.shares[:5, -1].min() > 0.9
    assert at.shares[5:, 0].min() > 0.6


def test_a_round_that_everybody_reads_lower_moves_no_subject():
    rng = np.random.default_rng(5)
    values = draw(rng.uniform(600, 900, 30), tem=np.full(5, 2.0), shift=(0.0, -3.0), rng=rng)
    at = fitted(cube_of(nearest(values), DESIGNS["0.1 cm"].step))
    assert at.shift == pytest.approx([0, -3], abs=1.0)
    assert at.honest_error == pytest.approx(np.full(5, 2.0), rel=0.4)


def test_a_slip_is_left_out_and_counted_against_its_reader():
    cube = session(DESIGNS["0.1 cm"], np.random.default_rng(6))
    counts = cube.gross.copy()
    counts[3, 4, 1] += 100
    at = fitted(cube_of(counts, cube.measure.step))
    assert at.slips.tolist() == [0, 0, 0, 1, 0, 0, 0, 0]
    assert len(at.x) == counts.size - 1
    assert at.honest_error[3] < 6


def test_what_nobody_else_read_is_alone():
    cube = session(DESIGNS["0.1 cm"], np.random.default_rng(7), staff=2)
    seen = cube.seen.copy()
    seen[1, :3] = False
    at = fitted(cube_of(cube.gross, cube.measure.step, seen=seen))
    assert at.alone[at.cell_person == 0].tolist() == [True] * 3 + [False] * 7
    assert not at.alone[at.cell_person == 1].any()


def test_medians_by_group_are_those_of_numpy():
    rng = np.random.default_rng(8)
    values, by = rng.normal(size=200), rng.integers(0, 9, 200)
    expected = [np.median(values[by == g]) if (by == g).any() else 0 for g in range(11)]
    assert _middle(values, by, 11).tolist() == pytest.approx(expected, abs=1e-12)
