"""The likelihood of a subject's repeats: published figures, quadrature, and what goes in."""

from collections import Counter
from itertools import product
from math import exp, log

import numpy as np
import pandas as pd
import pytest
from calibration.sessions import DESIGNS, cube_of
from scipy import integrate, stats
from strategies import as_session

import anthroqa
from anthroqa.notes import NONE, notes_of
from anthroqa.notes.scores.figures import FirstReadingsUsed, Repeats
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.repeats import hidden_repeats
from anthroqa.scores.repeats.hidden_repeats import GRID, TENTHS, apart, log_rows, table
from anthroqa.scores.repeats.resolved import _best

# Anthropometric Committee, British Association (1883); Yule, An Introduction to the Theory of
# Statistics: heights of 8,585 adult males in classes of one inch, from 57 inches up.
HEIGHTS = [2, 4, 14, 41, 83, 169, 394, 669, 990, 1223, 1329, 1230, 1063, 646, 392, 202, 79, 32,
           16, 5, 2]  # fmt: skip


def place(tem: float) -> int:
    """The point of the grid next to a TEM."""
    return int(abs(TENTHS - 10 * log(tem)).argmin())


def shown(mark, t, sd):
    return stats.norm.cdf((mark + 0.5 - t) / sd) - stats.norm.cdf((mark - 0.5 - t) / sd)


def chance_of(marks: list[int], tem: float) -> float:
    """Chance of readings in one order, position integrated out, by adaptive quadrature."""
    edges = sorted({m + half for m in marks for half in (-0.5, 0.5)})
    return integrate.quad(
        lambda t: np.prod([shown(m, t, tem) for m in marks]),
        -0.5 - 7 * tem, marks[-1] + 0.5 + 7 * tem, points=edges, limit=500,
    )[0]  # fmt: skip


def chance_of_tared(marks: list[int], tem: float) -> float:
    """The same for one display less another: over the place of each, by a fine lattice."""
    sd = tem / 2**0.5
    t = np.arange(-1.5 - 7 * sd, marks[-1] + 1.5 + 7 * sd, sd / 6)[:, None]
    u = ((np.arange(60) + 0.5) / 60 - 0.5)[None, :]
    net = [sum(shown(m + j, t, sd) * shown(j, u, sd) for j in range(-4, 5)) for m in marks]
    return float(np.prod(net, axis=0).sum() * sd / 6 / 60)


@pytest.mark.parametrize(
    ("sd", "variances"),
    [
        # exact variance of a normal rounded to whole steps, its mean 0, 0.25 and 0.5 off a mark
        # (computed to six decimals with exact sums over the marks)
        (0.2, [0.012419, 0.094595, 0.250001]),
        (0.3, [0.095582, 0.170116, 0.251716]),
        (0.5, [0.325413, 0.333328, 0.341254]),
        (1.0, [1.083333, 1.083333, 1.083333]),
    ],
)
def test_a_rounded_normal_has_its_exact_variance(sd, variances):
    marks = np.arange(-9, 11)
    p = np.exp(hidden_repeats._levels(marks, np.array([0.0, 0.25, 0.5]), sd))
    assert p.sum(axis=0) == pytest.approx(1, abs=1e-12)
    mean = marks @ p
    assert marks**2 @ p - mean**2 == pytest.approx(variances, abs=5e-7)


def test_sheppards_correction_gives_the_published_sd_of_heights():
    # the same table: SD 2.57 in as grouped, 2.56 in corrected (exact 2.556066); the differences
    # of two men drawn at random are pairs with a TEM of that size
    share = np.array(HEIGHTS) / sum(HEIGHTS)
    assert sum(HEIGHTS) == 8585
    d = np.arange(len(share))
    often = np.array([(share * np.roll(share, -k))[: len(share) - k].sum() for k in d])
    often[1:] *= 2
    assert often.sum() == pytest.approx(1)
    pairs = np.column_stack([np.zeros_like(d), d])
    found = _best((often @ log_rows(pairs, (2, False)))[None, :])[0]
    assert found == pytest.approx(2.556066, abs=0.0005)
    assert round(found, 2) == 2.56
    # and with the exact likelihood, in which Sheppard's correction has no part
    tems = np.arange(2.5, 2.6, 0.001)
    exact = often @ apart(d, tems * np.sqrt(2))
    assert tems[exact.argmax()] == pytest.approx(2.556, abs=0.002)


@pytest.mark.parametrize(
    ("tem", "percent"),
    # SD 0.02 kg on a 0.1 kg scale, 0.3 cm on a millimetre board and on eighths of an inch:
    # shares of equal pairs by formula, as whole per cents
    [(0.2, 77), (3.0, 9), (0.3 / 0.3175, 29)],
)
def test_honest_pairs_are_equal_as_often_as_the_step_makes_them(tem, percent):
    equal = exp(apart(np.array([0]), np.array([tem * 2**0.5]))[0, 0])
    assert round(100 * equal) == percent


@pytest.mark.parametrize("marks", [[0, 0], [0, 1], [0, 3], [0, 0, 0], [0, 0, 1], [0, 1, 3],
                                   [0, 0, 1, 1], [0, 1, 1, 2], [0, 0, 0, 1, 1],
                                   [0, 0.25], [0, 0.75], [0, 1.5], [0, 0.25, 0.5],
                                   [0, 0.5, 1.25], [0, 2, 2.75]])  # fmt: skip
@pytest.mark.parametrize("tem", [0.07, 0.3, 0.9])
def test_a_likelihood_agrees_with_adaptive_quadrature(marks, tem):
    at = place(tem)
    k = len(marks)
    if hidden_repeats.smooth(k)[at] > 0:  # there it is that of normal readings
        at = place(0.5)
    found = log_rows(np.array([marks]), (k, False))[0, at]
    # the quadrature is good to 1.5e-8 of a chance
    assert exp(found) == pytest.approx(chance_of(marks, GRID[at]), rel=1e-6, abs=1.5e-8)
    if exp(found) > 1e-3:
        assert found == pytest.approx(log(chance_of(marks, GRID[at])), rel=1e-6)


@pytest.mark.parametrize("d", [1, 2, 5, 30])
@pytest.mark.parametrize("tem", [0.01, 0.1, 1.0])
def test_far_out_the_chance_of_a_difference_stays_right(d, tem):
    s = tem * 2**0.5
    start = stats.norm.logpdf(d - 1, scale=s)  # E[(1 - |d - z|)+] over its greatest density
    part, _ = integrate.quad(
        lambda z: (1 - abs(d - z)) * exp(stats.norm.logpdf(z, scale=s) - start), d - 1, d + 1,
        points=[d - 1 + min(0.5, x * s**2 / max(d - 1, s)) for x in (1, 5, 20)], limit=500,
        epsabs=0, epsrel=1e-9,
    )  # fmt: skip
    assert apart(np.array([d]), np.array([s]))[0, 0] == pytest.approx(start + log(part), rel=1e-6)


@pytest.mark.parametrize("marks", [[0, 0], [0, 1], [0, 2], [0, 0, 0], [0, 0, 1], [0, 1, 2],
                                   [0, 0.25], [0, 0.5], [0, 1.75]])  # fmt: skip
def test_a_likelihood_of_tared_readings_agrees_with_quadrature(marks):
    at = place(0.45)
    found = log_rows(np.array([marks]), (len(marks), True))[0, at]
    assert found == pytest.approx(log(chance_of_tared(marks, GRID[at])), rel=1e-5)


@pytest.mark.parametrize("marks", [[0, 0, 0], [0, 0, 1], [0, 1, 1, 1], [0, 0.5, 0.5]])
def test_below_the_least_tem_of_the_quadrature_a_likelihood_goes_on_as_it_should(marks):
    at = place(0.012)
    found = log_rows(np.array([marks]), (len(marks), False))[0, at]
    assert found == pytest.approx(log(chance_of(marks, GRID[at])), rel=1e-6)


@pytest.mark.parametrize("marks", [[0, 0, 0.25], [0, 0.5, 0.75], [0, 0.25, 0.75]])
def test_below_it_a_quarter_of_a_step_is_as_good_as_far(marks):
    # a straight line from the least TEM, 0.05 of a step, leaves out a far tail of a normal
    at = place(0.012)
    found = log_rows(np.array([marks]), (3, False))[0, at]
    assert exp(found) == pytest.approx(chance_of(marks, GRID[at]), abs=1e-5)


@pytest.mark.parametrize(
    "kind", [(2, False), (3, False), (4, False), (6, False), (2, True), (3, True),
             (2, False, (0, 1)), (2, False, (0, 2)), (2, True, (0, 1)), (3, False, (0, 0, 1)),
             (3, False, (0, 1, 2))],
)  # fmt: skip
def test_the_patterns_of_a_kind_have_all_of_the_chance(kind):
    listed = table(kind)
    end = np.searchsorted(TENTHS, hidden_repeats.smooth_from(kind[0]) + 4)
    total = (listed.orders[:, None] * np.exp(listed.rows)).sum(axis=0)
    # far below a step two roundings at once, each of a small chance, are left out
    assert total[:end] == pytest.approx(1, abs=2e-3 if kind == (3, True) else 3e-5)


@pytest.mark.parametrize("quarters", [(0, 0, 0), (0, 1, 2), (0, 0, 1)])
def test_patterns_of_drawn_repeats_are_as_frequent_as_they_should_be(quarters):
    rng = np.random.default_rng(20261201)
    at, n = place(0.6), 40_000
    shift = np.array(quarters) / 4
    x = rng.uniform(0, 50, (n, 1)) + GRID[at] * rng.normal(size=(n, 3)) + shift
    x = np.floor(x + 0.5) - shift
    found = Counter(map(tuple, hidden_repeats._patterns(x).tolist()))
    listed = table((3, False, quarters) if any(quarters) else (3, False))
    for pattern, p in zip(listed.patterns.tolist(), listed.chances(at), strict=True):
        band = 4 * np.sqrt(p * (1 - p) / n) + 1 / n
        assert abs(found[tuple(pattern)] / n - p) < band, pattern


def test_a_pattern_is_the_same_in_every_order_and_either_way_up():
    for x in product(range(4), repeat=3):
        own = hidden_repeats._patterns(np.array([x]))[0].tolist()
        turned = hidden_repeats._patterns(np.array([[9 - v for v in x[::-1]]]))[0].tolist()
        assert own == turned
        assert own[0] == 0
        assert own == sorted(own)
        assert Counter(np.diff(own).tolist()) == Counter(np.diff(sorted(x)).tolist())


def test_quarters_are_named_alike_wherever_they_start_and_either_way_up():
    assert (
        hidden_repeats._moved([0, 1])
        == hidden_repeats._moved([2, 1])
        == hidden_repeats._moved([3, 2])
        == (0, 1)
    )
    assert hidden_repeats._moved([3, 3, 3]) == (0, 0, 0)
    names = {hidden_repeats._moved(q) for q in product(range(4), repeat=3)}
    assert names == {(0, 0, 0), (0, 0, 1), (0, 0, 2), (0, 1, 2)}


def test_a_shift_is_taken_out_to_a_quarter_and_where_patterns_are_many_to_a_step():
    cube = cube_of(
        np.array([[[600, 601], [610, 611]], [[600, 602], [610, 611]]]), DESIGNS["0.1 cm"].step
    )
    r = hidden_repeats.repeats(cube, np.array([[0.0, 1.0], [0.0, 0.8]]))
    assert r.designs == [(((2, False), 2),), (((2, False, (0, 1)), 2),)]
    assert r.squares.tolist() == pytest.approx([0, 1.25**2 / 2 + 0.25**2 / 2])
    four = cube_of(600 + np.arange(4)[None, None, :], DESIGNS["0.1 cm"].step)
    four = hidden_repeats.repeats(four, np.array([[0, 0.6, 2, 3]]))
    assert four.designs == [(((4, False), 1),)]
    assert four.squares.tolist() == [0]


def repeats_of(rows, step, **columns):
    names = ["measurer", "subject", "round", "reading", *columns]
    frame = pd.DataFrame(rows, columns=names).assign(measure="m")
    session = anthroqa.Session.from_frame(frame, measures={"m": {"recorded_to": step}})
    return hidden_repeats.repeats(next(cubes(session)))


def test_readings_with_a_tare_in_every_round_are_used_and_others_left_out():
    rows = [
        ("A", "1", 1, "150 1/4", "138"), ("A", "1", 2, "150", "137 3/4"),
        ("A", "2", 1, "150", "138"), ("A", "2", 2, "12 1/4", ""),  # held, then alone
        ("A", "3", 1, "20", ""), ("A", "3", 2, "20 1/4", ""),
    ]  # fmt: skip
    r = repeats_of(rows, "1/4 lb", tare="")
    assert r.k.tolist() == [[2, 0, 2]]
    assert r.tared.tolist() == [[True, False, False]]
    assert r.designs == [(((2, False), 1), ((2, True), 1))]
    assert r.squares.tolist() == [0.5]  # net readings of subject 1 are equal
    assert r.rounding[0] == pytest.approx(1.5 / 12)  # one rounding and two, each on one df
    assert str(r.note[0]) == (
        "subjects with a tare in some rounds only are left out; "
        "tared: both displays are taken to err alike"
    )


def test_what_the_caregiver_weighs_in_each_round_does_not_matter():
    rows = [("A", "1", 1, "150", "138"), ("A", "1", 2, "151 1/4", "139")]
    moved = [("A", "1", 1, "150", "138"), ("A", "1", 2, "191 1/4", "179")]
    one, other = (repeats_of(r, "1/4 lb", tare="").log_likelihood for r in (rows, moved))
    assert np.array_equal(one, other)


def test_converted_readings_are_left_out_and_that_is_said():
    rows = [("A", "1", 1, "25.4"), ("A", "1", 2, "10 in"), ("A", "2", 1, "25.1"),
            ("A", "2", 2, "25.3"), ("B", "1", 1, "25.4")]  # fmt: skip
    r = repeats_of(rows, "0.1 cm")
    assert r.k.tolist() == [[0, 2], [0, 0]]
    assert r.squares.tolist() == [2, 0]
    assert r.note.tolist() == [notes_of(Repeats.CONVERTED_LEFT_OUT), NONE]
    assert str(r.note[0]) == "converted readings are left out: they were read on other marks"


def test_of_many_repeats_the_first_six_are_used_and_that_is_said():
    r = hidden_repeats.repeats(next(cubes(as_session({"A": [[5, 6, 5, 6, 5, 6, 90, 91]]}))))
    assert r.k.tolist() == [[6]]
    assert r.squares.tolist() == [1.5]
    assert r.note.tolist() == [notes_of(FirstReadingsUsed(most=6))]
    assert str(r.note[0]) == "of a subject the first 6 readings are used"


def test_a_slip_of_a_thousand_steps_leaves_the_likelihood_finite():
    for often in (2, 3):
        for widest in (31, 1000, 10**7):
            row = log_rows(np.array([[0] * (often - 1) + [widest]]), (often, False))
            assert np.isfinite(row).all()
