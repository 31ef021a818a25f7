"""What do routine records look like: shares with intervals, and shares by month?

Every number is in a table of `program`. Plots are narrow enough for a phone, and carry every
meaning twice. People, sites and instruments stay in the order of their codes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from anthroqa.reporting.page.figures import (
    BLUE,
    GREY,
    INK,
    axes,
    beside,
    lay_out,
    limit_line,
    short,
)
from anthroqa.reporting.page.wording import number

_MARKERS = {  # state -> (marker, face, edge)
    "named": ("s", INK, INK),
    "worth a look": ("D", "white", INK),
    "as expected": ("o", BLUE, BLUE),
    "not judged": ("x", GREY, GREY),
}
_OTHER = ("o", "white", BLUE)
_WIDTH, _LEFT, _RIGHT = 4.8, 0.55, 0.15  # inches
_TITLE, _PLOT, _BELOW = 0.36, 0.72, 0.34  # inches, of each panel
_SIZE = 9
_MOST_NAMES = 12  # beside the points of a crowd
_MOST_TICKS = 5


def shares(rows: pd.DataFrame, x_label: str, enough: float, ax: Axes | None = None) -> Axes:
    """A line for each row of the audit of one mark: what is put on it beyond the expected.

    `rows` have `who, excess, excess_lower, excess_upper, state`; `enough` is the least excess
    that is called one.
    """
    codes = list(rows["who"])
    ax = axes(codes) if ax is None else ax
    low, high = _span(rows, enough)
    lay_out(ax, codes, x_label, low, high)
    limit_line(ax, 0, "", style="-", color=GREY)
    limit_line(ax, 100 * enough, f"{100 * enough:g} points")
    lower, upper, at = (
        100 * rows[c].to_numpy(float) for c in ("excess_lower", "excess_upper", "excess")
    )
    states, y = rows["state"].to_numpy(), np.arange(len(rows))
    for state in dict.fromkeys(states):
        marker, face, edge = _MARKERS.get(state, _OTHER)
        mine = states == state
        ax.hlines(
            y[mine], lower[mine].clip(low, high), upper[mine].clip(low, high), color=edge,
            linewidth=1.4, zorder=2,
        )  # fmt: skip
        ax.plot(
            at[mine].clip(low, high), y[mine], marker=marker, markerfacecolor=face,
            markeredgecolor=edge, markersize=5.5, linestyle="none", zorder=3, clip_on=False,
        )  # fmt: skip
    for i, state in enumerate(states):
        beside(ax, 1.03, i, state)
    return ax


def _span(rows: pd.DataFrame, enough: float) -> tuple[float, float]:
    """The ends of a scale in points that holds every estimate and most of the intervals."""
    values = 100 * rows[["excess", "excess_lower", "excess_upper"]].to_numpy(float)
    known = values[np.isfinite(values)]
    high = max(130 * enough, 1.05 * float(known.max(initial=0.0)))
    low = min(-30 * enough, 1.05 * float(known.min(initial=0.0)))
    return max(low, -105.0), min(high, 105.0)


def crowd(rows: pd.DataFrame, y_label: str, enough: float, ax: Axes | None = None) -> Axes:
    """Every row of the audit of one mark as a point: readings across, excess up.

    Those without a finding are drawn as dots of an image: thousands of lines would be a page of
    megabytes.
    """
    rows = rows[rows["excess"].notna()]
    if ax is None:
        figure = Figure(figsize=(_WIDTH, 2.7), dpi=200)  # of the dots
        ax = figure.add_axes((_LEFT / _WIDTH, 0.17, 1 - (_LEFT + _RIGHT) / _WIDTH, 0.73))
    n, excess = rows["n"].to_numpy(float), 100 * rows["excess"].to_numpy(float)
    states = rows["state"].to_numpy()
    ax.set_xscale("log")
    _plain(ax)
    for level, style in ((0.0, "-"), (100 * enough, "--")):
        ax.axhline(level, color=GREY, linewidth=0.9, linestyle=style, zorder=1)
    for state in (s for s in (*_MARKERS, *sorted(set(states) - set(_MARKERS))) if s in states):
        marker, face, edge = _MARKERS.get(state, _OTHER)
        mine = states == state
        ax.plot(
            n[mine], excess[mine], marker=marker, markerfacecolor=face, markeredgecolor=edge,
            markersize=4.5 if state == "named" else 3, linestyle="none", markeredgewidth=0.7,
            zorder=3 if state == "named" else 2, rasterized=state != "named",
        )  # fmt: skip
    for i in _apart(n, excess, np.flatnonzero(states == "named")):
        ax.annotate(
            short(str(rows["who"].iloc[i])), (n[i], excess[i]), xytext=(5, 0),
            textcoords="offset points", va="center", fontsize=_SIZE - 1, color=INK,
            parse_math=False, zorder=4,
        )  # fmt: skip
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}")
    ax.xaxis.set_minor_formatter("")
    ax.set_xlabel("Readings", fontsize=_SIZE, labelpad=2)
    ax.text(
        0, 1.03, y_label, transform=ax.transAxes, ha="left", va="bottom", fontsize=_SIZE, color=INK,
        parse_math=False,
    )  # fmt: skip
    return ax


def _apart(n: np.ndarray, excess: np.ndarray, some: np.ndarray) -> list[int]:
    """Those points whose codes have room beside them, the first ones first."""
    wide = max(np.log10(n.max() / n.min()), 1e-9) if len(n) else 1.0
    high = max(np.ptp(excess), 1e-9) if len(n) else 1.0
    kept: list[int] = []
    for i in some:
        close = (
            abs(np.log10(n[i] / n[j])) < 0.2 * wide and abs(excess[i] - excess[j]) < 0.06 * high
            for j in kept
        )
        if len(kept) < _MOST_NAMES and not any(close):
            kept.append(int(i))
    return kept


def months(
    points: pd.DataFrame, panels: Sequence[tuple[str, str, str]], said: Sequence[str],
    changes: pd.DataFrame,
) -> list[Axes]:  # fmt: skip
    """A panel each for some shares of one measure, by month.

    `points` are rows of `by_month`, `panels` the `(level, who, mark)` of each panel and `said` a
    line above it. The line is the centre, the band what chance and the usual scatter from month to
    month give; a square lies outside. A dashed upright is where a change was found.
    """
    tall = _TITLE + _PLOT + _BELOW
    figure = Figure(figsize=(_WIDTH, len(panels) * tall))
    height, out = len(panels) * tall, []
    for i, (panel, text) in enumerate(zip(panels, said, strict=True)):
        bottom = height - i * tall - _TITLE - _PLOT
        ax = figure.add_axes((
            _LEFT / _WIDTH, bottom / height, 1 - (_LEFT + _RIGHT) / _WIDTH, _PLOT / height,
        ))  # fmt: skip
        _by_month(ax, of(points, *panel), of(changes, *panel), text)
        out.append(ax)
    return out


def of(rows: pd.DataFrame, level: str, who: str, mark: str) -> pd.DataFrame:
    """The rows of one share."""
    return rows[(rows["level"] == level) & (rows["who"] == who) & (rows["mark"] == mark)]


def _by_month(ax: Axes, points: pd.DataFrame, changed: pd.DataFrame, text: str) -> None:
    periods = list(points["period"])
    x = np.arange(len(periods))
    share, low, high, centre = (
        100 * points[c].to_numpy(float) for c in ("share", "low", "high", "centre")
    )
    _plain(ax)
    ax.set_xlim(-0.6, max(len(periods), 1) - 0.4)
    known = np.concatenate([share, low, high])
    known = known[np.isfinite(known)]
    top, foot = (known.max(), known.min()) if len(known) else (1.0, 0.0)
    room = 0.08 * max(top - foot, 1.0)
    ax.set_ylim(max(foot - room, -3.0), min(top + room, 103.0))
    ax.fill_between(x, low, high, step="mid", color="#ececec", linewidth=0, zorder=0)
    ax.step(x, centre, where="mid", color=GREY, linewidth=0.9, zorder=1)
    ax.plot(x, share, color=BLUE, linewidth=0.9, zorder=2)
    outside = (share > high) | (share < low)
    for some, marker, face, edge in ((~outside, "o", "white", BLUE), (outside, "s", INK, INK)):
        ax.plot(
            x[some], share[some], marker=marker, markersize=4, markerfacecolor=face,
            markeredgecolor=edge, linestyle="none", zorder=3, clip_on=False,
        )  # fmt: skip
    for period in changed["period"]:
        if period in periods:
            ax.axvline(periods.index(period) - 0.5, color=INK, linestyle="--", linewidth=1)
    every = max(1, -(-len(periods) // _MOST_TICKS))
    ax.set_xticks(x[::every], [month(p) for p in periods[::every]], fontsize=_SIZE - 1)
    ax.text(
        0, 1.05, text, transform=ax.transAxes, ha="left", va="bottom", fontsize=_SIZE, color=INK,
        parse_math=False,
    )  # fmt: skip


def _plain(ax: Axes) -> None:
    """An edge to the left and below, few numbers."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
    ax.yaxis.set_major_formatter(lambda value, _: number(value, 0 if value == int(value) else 1))
    ax.tick_params(labelsize=_SIZE - 1, colors=INK, length=3)


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def month(period: str) -> str:
    """A period as people say it; merged ones by the first month.

    Examples
    --------
    >>> month("2026-03"), month("2026-01..2026-03"), month("")
    ('Mar 2026', 'Jan 2026 on', 'undated')
    """
    first, _, more = period.partition("..")
    year, _, m = first.partition("-")
    if not m.isdigit() or not 1 <= int(m) <= 12:
        return first or "undated"
    return f"{_MONTHS[int(m) - 1]} {year}" + " on" * bool(more)
