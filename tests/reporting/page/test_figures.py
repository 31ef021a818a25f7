"""What a plot shows is read back from its axes."""

import warnings

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.collections import LineCollection

from anthroqa.reporting.page import figures


def words(ax):
    return [t.get_text() for t in ax.texts if t.get_text()]


def points(ax, marker):
    return [
        (x, y)
        for line in ax.lines
        if line.get_marker() == marker
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    ]


def segments(ax):
    return [s for c in ax.collections if isinstance(c, LineCollection) for s in c.get_segments()]


@pytest.fixture
def length(outreach, outreach_analysis):
    made = outreach_analysis
    here = [t[t["measure"] == "length"] for t in (made.scores, made.decisions, made.residuals)]
    return outreach.measures["length"], *here


def test_findings_stand_at_their_estimates_in_one_order(length):
    measure, _, decisions, _ = length
    rows = decisions[decisions["question"] == "repeatability"]
    ax = figures.findings(rows, measure)
    drawn = {y: x for m in "os" for x, y in points(ax, m)}
    for y, row in enumerate(rows.itertuples()):
        if row.state != "not judged" and row.estimate < ax.get_xlim()[1]:
            assert drawn[y] == row.estimate
    codes = list(rows["measurer"])
    assert [w for w in words(ax) if w in codes] == ["LEAD", "M1", "M2", "M3", "M4", "M5"]
    assert "Repeat error (cm)" in words(ax)
    assert ax.get_ylim()[0] > ax.get_ylim()[1]  # the first person at the top


def test_findings_draw_the_whole_interval_and_the_limit(length):
    measure, _, decisions, _ = length
    rows = decisions[decisions["question"] == "bias"]
    ax = figures.findings(rows, measure)
    high = ax.get_xlim()[1]
    ends = {
        (round(float(s[0][0]), 6), round(float(s[1][0]), 6)) for s in segments(ax) if len(s) == 2
    }
    for row in rows.itertuples():
        expected = (round(max(row.lower, -high), 6), round(min(row.upper, high), 6))
        assert expected in ends
    verticals = {line.get_xdata()[0] for line in ax.lines if len(set(line.get_xdata())) == 1}
    assert {0.4, -0.4, 0} <= verticals
    assert words(ax).count("limit 0.4") == 2


def test_a_figure_beyond_the_scale_is_an_arrow_with_its_value(clinics, clinics_report):
    import anthroqa

    scores = anthroqa.score(clinics)
    decisions = anthroqa.decide(scores, clinics)
    rows = decisions[
        (decisions["measure"] == "adult_weight") & (decisions["question"] == "repeatability")
    ]
    ax = figures.findings(rows, clinics.measures["adult_weight"])
    assert "10.16" in words(ax)
    assert len(points(ax, ">")) == 2  # K5 and K8
    assert words(ax).count("over limit") == 2


def test_distances_show_every_reading_and_name_the_far_ones(length):
    measure, _, _, residuals = length
    ax = figures.distances(residuals, measure)
    near = residuals[~residuals["far"]]
    assert len(points(ax, "o")) + len(points(ax, "^")) == len(near)
    assert sorted(x for m in "o^" for x, _ in points(ax, m)) == sorted(near["residual"])
    assert "C5 +4.10 +1" in words(ax)
    assert "C4 +10.20" in words(ax)
    assert len(points(ax, ">")) == 2
    assert len(points(ax, "<")) == 1


def test_agreement_bars_run_between_the_limits(length):
    measure, scores, _, _ = length
    names = ["bias", "agreement_lower", "agreement_upper"]
    rows = scores[scores["statistic"].isin(names)]
    ax = figures.agreement(rows, measure)
    lower = rows[rows["statistic"] == "agreement_lower"]["estimate"].to_numpy()
    upper = rows[rows["statistic"] == "agreement_upper"]["estimate"].to_numpy()
    bars = np.array([[s[0][0], s[1][0]] for s in segments(ax)])
    for pair in zip(lower, upper, strict=True):
        assert np.isclose(bars, pair).all(axis=1).any()


def test_codes_are_never_read_as_formulas_and_long_ones_are_cut():
    ax = figures.axes(["$x_1$", "a" * 40])
    figures.lay_out(ax, ["$x_1$", "a" * 40], "x", 0, 1)
    assert words(ax)[-2:] == ["$x_1$", "aaaaa\u2026aaaaaaaa"]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        ax.figure.draw_without_rendering()


def test_the_scale_is_labelled_where_its_marks_are():
    ax = figures.axes(["A"])
    figures.lay_out(ax, ["A"], "Repeat error (in)", 0, 0.32)
    assert words(ax)[:5] == ["0.0", "0.1", "0.2", "0.3", "Repeat error (in)"]
    assert [t.xy[0] for t in ax.texts[:4]] == pytest.approx([0, 0.1, 0.2, 0.3])


def test_a_plot_draws_into_the_axes_it_is_given_and_leaves_settings_alone(length):
    measure, _, decisions, _ = length
    rows = decisions[decisions["question"] == "repeatability"]
    before = dict(mpl.rcParams)
    mine = figures.axes(list(rows["measurer"]))
    assert figures.findings(rows, measure, ax=mine) is mine
    assert dict(mpl.rcParams) == before


def test_words_for_a_plot_tell_its_result(length):
    measure, scores, decisions, residuals = length
    repeat = decisions[decisions["question"] == "repeatability"]
    text = figures.alt_findings(repeat, measure)
    assert text.startswith("Repeat error in length against a limit of 0.6 cm.")
    assert "over limit: M1 1.77, M3 1.27" in text
    assert "M4, subject C4, round 1, +10.20 cm" in figures.alt_distances(residuals, measure)
    rows = scores[scores["statistic"].str.startswith("agreement_")]
    assert "M5 " in figures.alt_agreement(rows, measure)
