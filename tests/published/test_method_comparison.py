"""Bland & Altman (1986) Lancet i:307-310: two peak flow meters, two readings each."""

import pytest
from published.worked_examples import PEFR_1986
from strategies import figures_of

FIRST = {meter: [pair[:1] for pair in pairs] for meter, pairs in PEFR_1986.items()}


def both(confidence: float = 0.95):
    return figures_of(PEFR_1986, reference="mini", confidence=confidence)


def first(confidence: float = 0.95):
    return figures_of(FIRST, reference="mini", confidence=confidence)


def test_within_subject_sd_of_the_wright_meter():
    # Bland, An Introduction to Medical Statistics: residual MS 234.294 on 17 df, SD 15.3.
    row = both().loc["wright", "within_tem"]
    assert row["df"] == 17
    assert row["estimate"] == pytest.approx(15.3, abs=0.05)
    assert row["estimate"] ** 2 == pytest.approx(234.294, abs=0.0005)
    # chi-squared interval on 17 df, not 16; worked from the same readings
    assert row["lower"] == pytest.approx(11.4859, abs=0.00005)
    assert row["upper"] == pytest.approx(22.9469, abs=0.00005)


def test_repeatability_of_both_meters_is_twice_the_root_mean_square_over_two():
    # 1986, p. 309: coefficients of repeatability 43.2 (Wright) and 56.4 (mini), which are 2 x
    # 21.6 and 2 x 28.2; 21.6 and 28.2 are the SDs of the differences between repeats.
    for meter, printed in (("wright", 21.6), ("mini", 28.2)):
        tem = both().loc[meter, "within_tem"]["estimate"]
        assert tem * 2**0.5 == pytest.approx(printed, abs=0.05)


def test_within_tem_percent_is_of_the_mean_of_the_same_readings():
    # worked from the same readings: means 447.882353 and 453.911765
    for meter, known in (("wright", 3.41756), ("mini", 4.38650)):
        row = both().loc[meter, "within_tem_percent"]
        assert row["estimate"] == pytest.approx(known, abs=0.000005)
        assert row["unit"] == "%"


def test_reliability_takes_the_sd_of_all_readings_and_is_not_the_icc():
    # worked from the same readings: SD of all 34 readings 116.200132; ICC(1,1) is 0.983165
    estimate = both().loc["wright", "reliability"]["estimate"]
    assert estimate == pytest.approx(0.982648, abs=5e-7)
    assert estimate == pytest.approx(1 - 15.306669**2 / 116.200132**2, abs=5e-7)


def test_bias_of_first_readings():
    # 1986, p. 308: mean difference -2.1, 95 % interval -22.0 to 17.8 (printed from -2.1 and
    # 38.8 with t 2.12; the readings give -22.0488 and 17.8135).
    row = first().loc["wright", "bias"]
    assert row["estimate"] == pytest.approx(-2.1, abs=0.05)
    assert row["lower"] == pytest.approx(-22.0488, abs=0.00005)
    assert row["upper"] == pytest.approx(17.8135, abs=0.00005)
    assert row["df"] == 16


def test_limits_of_agreement_of_first_readings():
    # 1986, p. 308: SD of the differences 38.8; limits there are bias +- 2 SD. With 1.96 the
    # readings give -78.0973 and 73.8620.
    lower, upper = (first().loc["wright", f"agreement_{end}"] for end in ("lower", "upper"))
    assert (upper["estimate"] - lower["estimate"]) / (2 * 1.96) == pytest.approx(38.8, abs=0.05)
    assert lower["estimate"] == pytest.approx(-78.0973, abs=0.00005)
    assert upper["estimate"] == pytest.approx(73.8620, abs=0.00005)


def test_interval_of_a_limit_of_agreement():
    # Bland & Altman (1999) Stat. Methods Med. Res. 8:135-160, section 2: the variance of a limit
    # is s^2 (1/n + 1.96^2 / (2(n - 1))); s 38.765130, t 2.119905 on 16 df. (The 1986 paper
    # rounds the factor to 3/n and prints -114.3 to -45.1.)
    half = 2.119905 * 38.765130 * (1 / 17 + 1.96**2 / 32) ** 0.5
    row = first().loc["wright", "agreement_lower"]
    assert row["lower"] == pytest.approx(-78.0973 - half, abs=0.0005)
    assert row["upper"] == pytest.approx(-78.0973 + half, abs=0.0005)


def test_corrected_limits_from_both_readings_are_those_of_single_readings():
    # 1986, p. 310: SD of differences between means of two 33.2; corrected for single readings
    # 37.7 (the readings give 37.6548). Bias of both readings: 447.882353 - 453.911765.
    table = both()
    lower, upper = (table.loc["wright", f"agreement_{end}"] for end in ("lower", "upper"))
    corrected = (upper["estimate"] - lower["estimate"]) / (2 * 1.96)
    assert corrected == pytest.approx(37.7, abs=0.05)
    assert corrected == pytest.approx(37.6548, abs=0.00005)
    bias = table.loc["wright", "bias"]
    assert bias["estimate"] == pytest.approx(447.882353 - 453.911765, abs=5e-7)
    assert bias["readings"] == 68
    assert (upper["estimate"] + lower["estimate"]) / 2 == pytest.approx(bias["estimate"])
    spread = (bias["upper"] - bias["lower"]) / 2 / 2.119905 * 17**0.5
    assert spread == pytest.approx(33.2, abs=0.05)
