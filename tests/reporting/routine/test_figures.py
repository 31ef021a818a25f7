"""Plots of routine records show the rows that they are given."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import LineCollection

from anthroqa.reporting.routine import figures


def audit_rows(excess, states):
    n = len(excess)
    excess = np.array(excess, dtype=float)
    return pd.DataFrame({
        "level": "measurer", "who": [f"V{i}" for i in range(n)], "n": 100 * np.arange(1, n + 1),
        "excess": excess, "excess_lower": excess - 0.03, "excess_upper": excess + 0.03,
        "state": states,
    })  # fmt: skip


def points_of(ax, marker):
    """Where the points with a marker lie."""
    return sorted(
        (float(x), float(y))
        for line in ax.lines
        if line.get_marker() == marker
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    )


def test_shares_are_drawn_in_points_in_their_order_with_their_states():
    rows = audit_rows([0.2, 0.0, 0.06], ["named", "as expected", "worth a look"])
    ax = figures.shares(rows, "Points on whole pounds", 0.05)
    assert points_of(ax, "s") == [(20.0, 0.0)]
    assert points_of(ax, "o") == [(0.0, 1.0)]
    assert points_of(ax, "D") == [(6.0, 2.0)]
    said = [t.get_text() for t in ax.texts]
    assert [s for s in said if s in ("named", "as expected", "worth a look")] == [
        "named", "as expected", "worth a look",
    ]  # fmt: skip
    assert "5 points" in said
    assert spans_of(ax) == {0: (17, 23), 1: (-3, 3), 2: (3, 9)}


def spans_of(ax):
    """The ends of each row's interval: the only lines there that are 1.4 points wide."""
    return {
        int(s[0, 1]): (pytest.approx(s[0, 0]), pytest.approx(s[1, 0]))
        for c in ax.collections
        if isinstance(c, LineCollection) and c.get_linewidth()[0] == 1.4
        for s in c.get_segments()
    }


def test_a_figure_that_is_blank_draws_no_point_and_keeps_its_row():
    rows = audit_rows([np.nan, 0.1], ["not judged", "named"])
    ax = figures.shares(rows, "x", 0.05)
    assert points_of(ax, "s") == [(10.0, 1.0)]
    assert "V0" in [t.get_text() for t in ax.texts]


def test_a_crowd_is_drawn_by_readings_and_only_the_named_have_their_code():
    states = ["as expected"] * 30 + ["named"]
    ax = figures.crowd(audit_rows([0.0] * 30 + [0.3], states), "Points", 0.05)
    assert points_of(ax, "s") == [(3100.0, 30.0)]
    assert len(points_of(ax, "o")) == 30
    assert [t.get_text() for t in ax.texts if t.get_text().startswith("V")] == ["V30"]
    assert ax.get_xscale() == "log"


def month_rows(shares, *, who="A", mark="1 lb"):
    n = len(shares)
    return pd.DataFrame({
        "level": "site", "who": who, "mark": mark, "n": 200,
        "period": [f"2026-{m:02d}" for m in range(1, n + 1)], "share": shares, "centre": 0.1,
        "low": 0.05, "high": 0.15, "note": "",
    })  # fmt: skip


def test_months_outside_the_band_are_squares_and_a_change_is_an_upright():
    shares = [0.1, 0.12, 0.3, 0.11]
    changes = pd.DataFrame({"level": ["site"], "who": ["A"], "mark": ["1 lb"],
                            "period": ["2026-03"]})  # fmt: skip
    both = pd.concat([month_rows(shares), month_rows([0.1] * 4, who="B")])
    axes = figures.months(
        both, [("site", "A", "1 lb"), ("site", "B", "1 lb")], ["one", "two"], changes
    )
    assert len(axes) == 2
    assert points_of(axes[0], "s") == [(2.0, pytest.approx(30))]
    assert points_of(axes[1], "s") == []
    upright = [li for li in axes[0].lines if li.get_linestyle() == "--"]
    assert [li.get_xdata()[0] for li in upright] == [1.5]
    assert not [li for li in axes[1].lines if li.get_linestyle() == "--"]
    assert "one" in [t.get_text() for t in axes[0].texts]


def test_few_months_without_limits_are_drawn_without_a_band():
    rows = month_rows([0.1, 0.2]).assign(low=np.nan, high=np.nan)
    ax = figures.months(rows, [("site", "A", "1 lb")], ["x"], rows.iloc[:0])[0]
    assert len(points_of(ax, "o")) == 2
    assert points_of(ax, "s") == []


@pytest.mark.parametrize(
    ("period", "words"),
    [("2026-03", "Mar 2026"), ("2025-10..2025-12", "Oct 2025 on"), ("", "undated"), ("x", "x")],
)
def test_months_are_named(period, words):
    assert figures.month(period) == words
