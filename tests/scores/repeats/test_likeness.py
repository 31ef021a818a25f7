"""Second readings as expected, or more alike: shares, chances, and who is found."""

from functools import cache
from itertools import product
from math import exp, log, prod, sqrt

import numpy as np
import pandas as pd
import pytest
from calibration.likeness import study
from scipy import integrate, stats
from strategies import as_frame, as_session, figures_of

import anthroqa
from anthroqa.scores.repeats.hidden_repeats import GRID, TENTHS
from anthroqa.scores.repeats.likeness import STAFF_SPREAD, chance_of_equal, equal_to_first

ONLY = ["identical_repeats"]
BUSY = [[600, 603], [610, 607], [620, 622], [630, 631], [640, 640], [650, 648], [660, 664]]
STEADY = [[600, 600], [610, 610], [620, 620], [630, 631], [640, 640], [650, 650], [660, 660]]


def rows_of(people, **session):
    return figures_of(people, only=ONLY, **session).xs("identical_repeats", level="statistic")


def at_tem(values, tem):
    """Read a row of the grid at a TEM between two of its points."""
    return np.array([np.interp(10 * log(tem), TENTHS, column) for column in values.T])


def test_the_share_is_that_of_later_readings_equal_to_the_first():
    # of A: 600 600, 601 is one of two; 610 610; 620 621; the last is read once
    subjects = [[600, 600, 601], [610, 610], [620, 621], [630]]
    row = rows_of({"A": subjects}).loc["A"]
    assert row["estimate"] == pytest.approx(2 / 4)
    assert (row["subjects"], row["readings"], row["df"], row["unit"]) == (3, 7, 4, "share")


def test_a_first_reading_is_the_earliest_there_is():
    row = rows_of({"A": [[None, 620, 620], [610, 611, 611]]}).loc["A"]
    assert row["estimate"] == pytest.approx(1 / 3)


def test_the_interval_is_wilsons():
    # Wilson (1927) J. Am. Stat. Assoc. 22:209-212, as in scipy.stats.binomtest
    row = rows_of({"A": STEADY}, confidence=0.95).loc["A"]
    ends = stats.binomtest(6, 7).proportion_ci(0.95, method="wilson")
    assert row[["lower", "upper"]].tolist() == pytest.approx([ends.low, ends.high], rel=1e-12)
    never = rows_of({"A": [[1, 2]] * 9}).loc["A"]
    assert never["lower"] == 0 < never["upper"]


@pytest.mark.parametrize(
    ("tem", "equal", "of", "published", "half_digit"),
    # five of ten equal lengths in millimetres with a TEM of 0.3 cm, in eighths of an inch, and
    # ten of ten equal weights on a 0.1 kg scale with 0.02 kg: computed to the digits shown
    [(3.0, 5, 10, 0.001, 0.0005), (0.3 / 0.3175, 5, 10, 0.13, 0.005), (0.2, 10, 10, 0.08, 0.005)],
)
def test_so_many_equal_pairs_have_the_published_chance(tem, equal, of, published, half_digit):
    chance = at_tem(chance_of_equal((((2, False), of),)), tem)[equal]
    assert chance == pytest.approx(published, abs=half_digit)


def shown(mark, t, sd):
    return stats.norm.cdf((mark + 0.5 - t) / sd) - stats.norm.cdf((mark - 0.5 - t) / sd)


@pytest.mark.parametrize("tem", [0.06, 0.3, 0.8, 1.2, 4.0])
@pytest.mark.parametrize("k", [2, 3, 5])
def test_how_many_repeats_equal_the_first_agrees_with_quadrature(k, tem):
    at = int(abs(TENTHS - 10 * log(tem)).argmin())
    sd = GRID[at]
    found = equal_to_first((k, False))[at]
    assert found.sum() == pytest.approx(1, abs=3e-5)
    for m in range(k):
        # the first reading is on a mark at t, m of the others too, whichever they are
        expected, _ = integrate.quad(
            lambda t, m=m: shown(0, t, sd) * stats.binom.pmf(m, k - 1, shown(0, t, sd)),
            -0.5 - 8 * sd, 0.5 + 8 * sd, points=[-0.5, 0.5], limit=500,
        )  # fmt: skip
        # between 1 and 1.5 steps the likelihood passes into that of normal readings
        assert found[m] == pytest.approx(expected, abs=3e-5)


@pytest.mark.parametrize(("k", "tem"), [(2, 0.3), (2, 1.1), (3, 0.5), (2, 3.0)])
def test_how_many_tared_repeats_equal_the_first_agrees_with_drawing(k, tem):
    rng = np.random.default_rng(20261129)
    n = 100_000
    at = int(abs(TENTHS - 10 * log(tem)).argmin())
    sd = GRID[at] / sqrt(2)
    alone, both = rng.uniform(0, 50, (2, n, 1))
    net = np.floor(both + sd * rng.normal(size=(n, k)) + 0.5) - np.floor(
        alone + sd * rng.normal(size=(n, k)) + 0.5
    )
    equal = (net[:, 1:] == net[:, :1]).sum(axis=1)
    for m, p in enumerate(equal_to_first((k, True))[at]):
        assert abs((equal == m).mean() - p) < 4 * sqrt(p * (1 - p) / n) + 1e-4


def test_the_chance_over_subjects_is_that_of_all_ways_to_get_there():
    design = (((2, False), 2), ((3, False), 1))
    at = 90
    pair, triple = (equal_to_first((k, False))[at] for k in (2, 3))
    for x in range(5):
        expected = sum(
            pair[a] * pair[b] * triple[c]
            for a, b, c in product(range(2), range(2), range(3))
            if a + b + c >= x
        )
        assert chance_of_equal(design)[at, x] == pytest.approx(expected, rel=1e-12)


# ---- slowly: the chance from the definition


def equal_chance(tem):
    """E[(1 - |z|)+], z normal with twice the variance, in closed form."""
    s = tem * sqrt(2)
    x = 1 / s
    return 2 * stats.norm.cdf(x) - 1 - 2 * s * (stats.norm.pdf(0) - stats.norm.pdf(x))


@cache
def pair_chance(d, tem):
    z = np.linspace(-9, 9, 8001) * tem * sqrt(2)
    density = stats.norm.pdf(z, scale=tem * sqrt(2)) * (z[1] - z[0])
    return float(np.maximum(1 - abs(d - z), 0) @ density)


def p_slowly(people, person, reference=None):
    """Over the others one by one, and for each over what is known of their TEM."""
    tems = [exp(t / 10) for t in range(-84, 35)]  # beyond, nothing here is likely
    others = [p for p in people if p not in (person, reference)]
    pairs = {p: [abs(b - a) for a, b in people[p]] for p in people}
    x, n = sum(d == 0 for d in pairs[person]), len(pairs[person])
    spread = STAFF_SPREAD * sqrt(2 / len(others))
    tail = {t: float(stats.binom.sf(x - 1, n, min(equal_chance(t), 1))) for t in tems}
    total = 0.0
    for other in others:
        likelihood = {t: prod(pair_chance(d, t) for d in pairs[other]) for t in tems}
        for t in tems:
            kernel = {u: exp(-((log(u / t) / spread) ** 2) / 2) for u in tems}
            there = sum(kernel[u] * tail[u] for u in tems) / sum(kernel.values())
            total += likelihood[t] / sum(likelihood.values()) * there / len(others)
    return total


@pytest.mark.parametrize("reference", [None, "LEAD"])
def test_a_chance_agrees_with_the_definition(reference):
    others = [[600, 602], [610, 608], [620, 620], [630, 632], [640, 641], [650, 648]]
    people = {"LEAD": [[a, a + 4] for a, _ in BUSY], "A": STEADY, "B": BUSY, "C": others}
    rows = rows_of(people, reference=reference)
    for person in ("A", "B", "LEAD"):
        expected = p_slowly(people, person, reference)
        assert rows.loc[person, "p_value"] == pytest.approx(expected, rel=2e-3)


def test_more_alike_has_a_smaller_chance_and_less_alike_others_too():
    def p(own, others):
        return rows_of({"A": own, "B": others, "C": others}).loc["A", "p_value"]

    equal = [[[a, a] if i < n else [a, a + 3] for i, (a, _) in enumerate(BUSY)] for n in range(8)]
    chances = [p(own, BUSY) for own in equal]
    assert chances[0] == pytest.approx(1)
    assert (np.diff(chances) < 0).all()
    apart = [[a, a + 3 * (b - a)] for a, b in BUSY]
    assert p(equal[4], apart) < p(equal[4], BUSY)


def test_somebody_like_the_others_is_as_expected():
    rows = rows_of({"A": BUSY, "B": BUSY, "C": BUSY})
    assert (rows["p_value"] > 0.2).all()
    assert (rows["note"] == "").all()


def test_without_a_chance_its_reason_is_beside_it():
    alone = rows_of({"LEAD": BUSY, "A": BUSY}, reference="LEAD")
    assert alone.loc["A", "note"] == "no p: nobody else of the staff read a subject twice"
    assert np.isnan(alone.loc["A", "p_value"])
    assert alone.loc["LEAD", "p_value"] > 0  # A is an other to the reference
    few = rows_of({"A": BUSY[:5], "B": BUSY}).loc["A"]
    assert few["note"] == "no p: 6 repeats are the least to judge by"
    assert np.isnan(few["p_value"])
    assert few["estimate"] == pytest.approx(1 / 5)
    once = rows_of({"A": [[600]], "B": BUSY}).loc["A"]
    assert once["note"] == "no subject was read twice"
    assert once[["estimate", "lower", "upper", "p_value"]].isna().all()


def test_converted_readings_are_left_out():
    frame = as_frame({"A": [["25.4", "10 in"], ["25.1", "25.1"], ["25.2", "25.3"]]})
    row = rows_of(frame, recorded_to="0.1 cm").loc["A"]
    assert row["estimate"] == pytest.approx(1 / 2)
    assert "converted readings are left out" in row["note"]


def test_net_readings_are_compared_and_both_displays_enter():
    n = 12
    frame = as_frame({p: [["150", "151"]] * n for p in "AB"})
    tare = np.where(frame["round"] == 1, 130, 131)  # as much more
    row = rows_of(frame.assign(tare=tare.astype(str)), recorded_to="1 lb").loc["A"]
    assert row["estimate"] == 1
    assert row["note"] == "tared: both displays are taken to err alike"


def test_the_seed_does_not_matter():
    session = as_session({"A": STEADY, "B": BUSY, "C": BUSY})
    one, other = (anthroqa.score(session, only=ONLY, seed=s) for s in (0, 5))
    pd.testing.assert_frame_equal(one, other)


@pytest.mark.parametrize("design", ["0.1 cm", "10 g", "1/8 in", "1 oz", "0.1 kg"])
def test_copies_are_found_and_the_honest_are_not(design):
    sessions = 150
    table = study(
        sessions, 20261130, designs=[design],
        variations=["8 staff x 10 x 2", "4 staff, 20 subjects, 3 rounds"],
    )  # fmt: skip
    honest = table[~table["copied"]]
    # people of one session share the others: sessions are what is surely independent
    band = 4 * np.sqrt(0.05 * 0.95 / sessions)
    assert (honest["found"] <= 0.05 + band).all(), table
    assert (honest["named"] <= 0.05 + band).all(), table
    found = table.loc[table["copied"], "found"].item()
    least = {"1 oz": 0.75, "0.1 kg": 0.0}.get(design, 0.90)
    assert found >= least - 4 * np.sqrt(least * (1 - least) / sessions), table
    if design == "0.1 kg":  # where three pairs in four are equal by nature, nobody is named
        assert (table["named"] <= 0.01).all(), table
