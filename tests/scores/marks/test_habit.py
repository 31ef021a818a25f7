import numpy as np
import pytest
from calibration.sessions import DESIGNS, session
from scipy.stats import binom

from anthroqa.notes.scores.marks import Digits
from anthroqa.scores.marks.digits import read_marks
from anthroqa.scores.marks.habit import _chance_of_so_many, _count_pmf, group_figures
from anthroqa.simulate import nearest


def test_equal_chances_count_as_a_binomial():
    pmf = _count_pmf(np.tile([0.2, 0.7], (9, 1)))
    assert pmf == pytest.approx(np.array([binom.pmf(range(10), 9, p) for p in (0.2, 0.7)]))


def test_unequal_chances_count_as_listed_one_by_one():
    a, b, c = 0.1, 0.5, 0.8
    none, three = (1 - a) * (1 - b) * (1 - c), a * b * c
    one = a * (1 - b) * (1 - c) + (1 - a) * b * (1 - c) + (1 - a) * (1 - b) * c
    pmf = _count_pmf(np.array([[a], [b], [c]]))[0]
    assert pmf == pytest.approx([none, one, 1 - none - one - three, three])


@pytest.mark.parametrize(("name", "mark"), [("0.1 kg", 5), ("1/8 in", 4), ("1 oz", 16)])
def test_the_chance_of_so_many_is_what_drawn_groups_give(name, mark):
    cube = session(DESIGNS[name], np.random.default_rng(8), staff=4, subjects=8)
    at = read_marks(cube).at
    every = np.arange(len(at.x))
    rng = np.random.default_rng(1)
    draws = 20_000
    place = rng.uniform(0, mark, (draws, 8))[:, at.cell_item[at.cell]]
    place = place + at.honest_bias[at.person] + at.shift[at.turn]
    drawn = nearest(place + at.honest_error[at.person] * rng.standard_normal(place.shape))
    as_many = (drawn % mark == 0).sum(axis=1) >= (at.x % mark == 0).sum()
    p = _chance_of_so_many(at, every, mark)
    assert p == pytest.approx(as_many.mean(), abs=4 * np.sqrt(0.25 / draws))


@pytest.mark.parametrize("name", DESIGNS)
def test_a_habit_of_everybody_shows_and_that_of_nobody_does_not(name):
    design = DESIGNS[name]
    for leaners, shows in ((8, True), (0, False)):
        cube = session(design, np.random.default_rng(31), leaners=leaners)
        marks = list(cube.measure.coarse_marks)
        p = [f.p_value[0] for f in group_figures(cube, 0.90)]
        assert (p[marks.index(design.half)] <= 0.05 / len(marks)) is np.bool_(shows)


def test_a_group_of_one_cannot_be_held_against_anybody():
    cube = session(DESIGNS["0.1 cm"], np.random.default_rng(2), staff=1)
    figures = group_figures(cube, 0.90)
    assert all(np.isnan(f.estimate[0]) and np.isnan(f.p_value[0]) for f in figures)
    assert all(Digits.NOBODY_ELSE in f.note[0] for f in figures)
