"""How do people lie among the others, near the staff's middle, and beside what luck alone gives?

A funnel of repeat errors by the readings behind them, own figures beside moderated ones, and
figures before and after retraining. In one order; only who is named has a code in the funnel.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from anthroqa.intake import Measure
from anthroqa.program.staff.drift import REPEAT
from anthroqa.program.staff.funnel_limits import limits
from anthroqa.reporting.page import wording
from anthroqa.reporting.page.figures import BLUE, GREY, INK, axes, lay_out, limit_line, short
from anthroqa.reporting.page.wording import amount, label
from anthroqa.reporting.staff.panels import BAND

_WIDTH, _SIZE = 4.8, 9  # inches, points


def funnel_plot(
    rows: pd.DataFrame, measure: Measure, named: Collection[str] = (), ax: Axes | None = None
) -> Axes:
    """Repeat errors by their degrees of freedom inside the limits of chance.

    `rows` are those of the funnel of one measure; only people in `named` have their codes beside
    them.
    """
    rows = rows[rows["estimate"].notna()]
    df, value = rows["df"].to_numpy(float), rows["estimate"].to_numpy(float)
    if ax is None:
        ax = Figure(figsize=(_WIDTH, 3.0)).add_axes((0.14, 0.17, 0.82, 0.76))
    centre = float(rows["centre"].iloc[0])
    limited = np.isfinite(rows[["lower_95", "upper_95"]].to_numpy(float)).any()
    right = 1.15 * max(df.max(), 1.0)
    high = 1.15 * max(value.max(), rows[["upper_95"]].max().max() if limited else 0.0,
                      float(measure.step.size))  # fmt: skip
    ax.set_xlim(0, right)
    ax.set_ylim(0, high)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.tick_params(labelsize=_SIZE)
    ax.set_xlabel("Degrees of freedom behind the figure", fontsize=_SIZE)
    ax.set_ylabel(f"Repeat error ({rows['unit'].iloc[0]})", fontsize=_SIZE, parse_math=False)
    if limited:
        grid = np.linspace(max(1.0, right / 200), right, 120)
        ax.axhline(centre, color=GREY, linewidth=1, zorder=1)
        for coverage, style in ((0.95, "--"), (0.998, "-")):
            for side in limits(centre, grid, coverage):
                ax.plot(grid, side, color=INK, linestyle=style, linewidth=0.9, zorder=1)
        for name, coverage, lift in (("95 %", 0.95, -2), ("99.8 %", 0.998, 2)):
            upper = float(limits(centre, np.array([right]), coverage)[1][0])
            ax.annotate(
                name, (right, upper), xytext=(0, lift), textcoords="offset points", ha="right",
                va="top" if lift < 0 else "bottom", fontsize=_SIZE - 1, color=INK,
            )  # fmt: skip
    marked = rows["measurer"].isin(named).to_numpy()
    for some, marker, face in ((~marked, "o", "white"), (marked, "s", INK)):
        ax.plot(
            df[some], value[some], marker=marker, markersize=5.5, markerfacecolor=face,
            markeredgecolor=INK if marker == "s" else BLUE, linestyle="none", zorder=3,
            clip_on=False,
        )  # fmt: skip
    for x, y, who in zip(df[marked], value[marked], rows["measurer"][marked], strict=True):
        near_end = x > 0.75 * right
        ax.annotate(
            short(who), (x, y), xytext=(-7 if near_end else 7, 0), textcoords="offset points",
            ha="right" if near_end else "left", va="center", fontsize=_SIZE, color=INK,
            parse_math=False,
        )  # fmt: skip
    return ax


def alt_funnel(rows: pd.DataFrame, measure: Measure, named: Collection[str]) -> str:
    """What the funnel shows, in two sentences."""
    rows = rows[rows["estimate"].notna()]
    out = rows[(rows["estimate"] > rows["upper_998"]) | (rows["estimate"] < rows["lower_998"])]
    who = [
        f"{r.measurer} {amount(r.estimate, measure)}" for r in rows.itertuples()
        if r.measurer in named
    ]  # fmt: skip
    marked = f"Named: {', '.join(who)}." if who else "Nobody is named."
    return (
        f"Repeat error by degrees of freedom in {label(measure.name)}: {len(rows)} people round "
        f"{amount(rows['centre'].iloc[0], measure)} {rows['unit'].iloc[0]}, {len(out)} outside "
        f"the 99.8 % limits. {marked}"
    )


def drawn_in(rows: pd.DataFrame, measure: Measure, ax: Axes | None = None) -> Axes:
    """Each person's own figure (circle) and the moderated one (square) with its interval.

    `rows` are those of the moderated table of one measure and image.
    """
    codes = list(rows["measurer"])
    sizes = rows[["estimate", "moderated", "upper"]].to_numpy(float)
    high = 1.05 * max(float(np.nanmax(sizes)) if np.isfinite(sizes).any() else 0.0,
                      float(measure.step.size))  # fmt: skip
    ax = axes(codes, right=0.3) if ax is None else ax
    lay_out(ax, codes, f"Repeat error ({rows['unit'].iloc[0]})", 0.0, high)
    prior = rows["prior_tem"].dropna()
    if len(prior):
        limit_line(ax, float(prior.iloc[0]), "middle of the staff", style=":", color=GREY)
    y = np.arange(len(codes))
    ax.hlines(y, rows["lower"], rows["upper"], color=BLUE, linewidth=1.4, zorder=2)
    for column, marker, face, edge in (
        ("estimate", "o", "white", INK), ("moderated", "s", BLUE, BLUE)
    ):  # fmt: skip
        ax.plot(
            rows[column], y, marker=marker, markersize=5, markerfacecolor=face, clip_on=False,
            markeredgecolor=edge, linestyle="none", zorder=3 if marker == "s" else 4,
        )  # fmt: skip
    return ax


def alt_drawn_in(rows: pd.DataFrame, measure: Measure) -> str:
    """What the plot of moderated figures shows, in one sentence."""
    parts = [
        f"{r.measurer} {amount(r.estimate, measure)}, moderated {amount(r.moderated, measure)}"
        for r in rows.itertuples()
    ]
    return (
        f"Own and moderated repeat errors, {label(measure.name)} ({rows['unit'].iloc[0]}): "
        f"{'; '.join(parts)}."
    )


def luck_plot(rows: pd.DataFrame, measure: Measure, ax: Axes | None = None) -> Axes:
    """Before, what luck alone would give, and after, for everybody retrained in one measure.

    The picked figure is a cross, the others' before a circle, luck's range a bar with a tick at its
    middle, and after a square.
    """
    codes = list(rows["measurer"])
    columns = ["picked", "before", "luck_lower", "luck_upper", "after"]
    sizes = np.abs(rows[columns].to_numpy(float))
    high = 1.05 * max(float(np.nanmax(sizes)) if np.isfinite(sizes).any() else 0.0,
                      float(measure.step.size))  # fmt: skip
    repeat = (rows["what"] == REPEAT).all()
    ax = axes(codes, right=0.3) if ax is None else ax
    what = "Repeat error" if repeat else "Difference"
    lay_out(ax, codes, f"{what} ({rows['unit'].iloc[0]})", 0.0 if repeat else -high, high)
    y = np.arange(len(codes))
    ax.hlines(y, rows["luck_lower"], rows["luck_upper"], color=BAND, linewidth=9, zorder=1)
    for column, marker, face, edge in (
        ("luck_alone", "|", GREY, GREY), ("picked", "x", INK, INK), ("before", "o", "white", INK),
        ("after", "s", BLUE, BLUE),
    ):  # fmt: skip
        ax.plot(
            rows[column], y, marker=marker, markersize=9 if marker == "|" else 5.5,
            markerfacecolor=face, markeredgecolor=edge, markeredgewidth=1.2, linestyle="none",
            zorder=3, clip_on=False,
        )  # fmt: skip
    return ax


def alt_luck(rows: pd.DataFrame, measure: Measure) -> str:
    """What the plot of retraining shows, in one sentence."""
    parts = [
        f"{r.measurer} picked at {amount(r.picked, measure)}, luck alone "
        f"{amount(r.luck_lower, measure)} to {amount(r.luck_upper, measure)}, after "
        f"{amount(r.after, measure)}: {r.finding}"
        for r in rows.itertuples()
    ]
    return wording.sentence(
        f"retraining in {label(measure.name)} ({rows['unit'].iloc[0]}): {'; '.join(parts)}."
    )
