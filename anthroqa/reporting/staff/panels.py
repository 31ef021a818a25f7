"""How does each person's figure lie over the sessions? Small panels, one a person.

All on one scale and in one order, so that nobody is first. Everything drawn is in a table already.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.dates import date2num
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from anthroqa.intake import Measure
from anthroqa.program.staff.dated import LETTERS
from anthroqa.program.staff.drift import REPEAT
from anthroqa.reporting.page.figures import BLUE, GREY, INK, short
from anthroqa.reporting.page.wording import amount, label, number

Floats = npt.NDArray[np.float64]
AN_IMAGE = 12  # people; more is cut by the end of a printed page
BAND = "#dcdcdc"
_WIDTH, _ACROSS = 4.8, 3  # inches; panels in a row
_LEFT, _GAP, _RIGHT = 0.62, 0.14, 0.2  # inches
_TITLE, _PLOT, _BELOW = 0.3, 0.74, 0.3  # inches, of each row of panels
_SIZE = 9


def over_time(
    rows: pd.DataFrame, happened: pd.DataFrame, measure: Measure, high: float,
    named: Collection[str] = (), ax: Axes | None = None,
) -> Axes:  # fmt: skip
    """A panel a person: each session's figure with its interval, the smoothed line, its limits.

    `rows` are smoothed values of one measure and one question, of the people of one image, by
    person and date; `happened` are events of the measure; `high` is the end of the scale that all
    images share. People in `named` have their codes in a frame. The axes count inches.
    """
    low = 0.0 if rows["what"].iloc[0] == REPEAT else -high
    grid = _Grid(
        people=list(dict.fromkeys(rows["measurer"])), low=low, high=high,
        span=_span([*rows["date"], *happened["date"]]),
    )  # fmt: skip
    if ax is None:
        figure = Figure(figsize=(_WIDTH, grid.height))
        ax = figure.add_axes((0, 0, 1, 1))
    ax.set_xlim(0, _WIDTH)
    ax.set_ylim(0, grid.height)
    ax.set_axis_off()
    _scales(ax, grid, sorted(set(rows["date"])))
    _events(ax, grid, happened[happened["measurer"].isin(grid.people)])
    _sessions(ax, grid, rows)
    frame = {"boxstyle": "square,pad=0.2", "facecolor": "white", "edgecolor": INK}
    for who, (x, y) in grid.corners.items():
        ax.text(
            x + 0.03, y + _PLOT + 0.06, short(who), ha="left", va="bottom", fontsize=_SIZE,
            fontweight="bold", color=INK, parse_math=False, bbox=frame if who in named else None,
        )  # fmt: skip
    what = "Repeat error" if low == 0 else "Difference"
    ax.text(
        (_WIDTH + _LEFT - _RIGHT) / 2, 0.03,
        f"{what} ({rows['unit'].iloc[0]}) by date of the session", ha="center", va="bottom",
        fontsize=_SIZE, color=INK, parse_math=False,
    )  # fmt: skip
    return ax


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """Where the panel of each person lies, in inches from below and from the left."""

    people: Sequence[str]
    low: float
    high: float
    span: tuple[float, float]

    @property
    def height(self) -> float:
        """Of the whole image."""
        return -(-len(self.people) // _ACROSS) * (_TITLE + _PLOT) + _BELOW + 0.14

    @property
    def wide(self) -> float:
        """Of a panel."""
        return (_WIDTH - _LEFT - _GAP * (_ACROSS - 1) - _RIGHT) / _ACROSS

    @property
    def corners(self) -> dict[str, tuple[float, float]]:
        """The lower left corner of each person's panel."""
        out = {}
        for i, who in enumerate(self.people):
            row, column = divmod(i, _ACROSS)
            left = _LEFT + column * (self.wide + _GAP)
            out[who] = (left, self.height - (row + 1) * (_TITLE + _PLOT))
        return out

    def across(self, who: Iterable[str], dates: Iterable[object]) -> Floats:
        """Where dates lie in the panels of these people."""
        at = (date2num(list(dates)) - self.span[0]) / (self.span[1] - self.span[0])
        corners = self.corners
        return np.array([corners[w][0] for w in who]) + self.wide * at

    def up(self, who: Iterable[str], values: Floats) -> Floats:
        """Where values lie in the panels of these people; what is beyond lies at the edge."""
        inside = (np.clip(values, self.low, self.high) - self.low) / (self.high - self.low)
        corners = self.corners
        return np.array([corners[w][1] for w in who]) + _PLOT * inside


def scale_of(rows: pd.DataFrame, measure: Measure) -> float:
    """The end of the scale for all people of a measure: far intervals are cut off, figures not."""
    points = np.abs(rows[["value", "smoothed"]].to_numpy(float))
    ends = np.abs(rows[["lower", "upper"]].to_numpy(float))
    most = float(np.nanmax(points)) if np.isfinite(points).any() else 0.0
    usual = float(np.nanquantile(ends, 0.95)) if np.isfinite(ends).any() else 0.0
    return 1.08 * max(most, min(usual, 2 * most), float(measure.step.size))


def _span(dates: Sequence[object]) -> tuple[float, float]:
    """The ends of the axis of time, with room on both sides."""
    at = date2num(list(dates))
    room = max(0.08 * (at.max() - at.min()), 10.0)
    return float(at.min() - room), float(at.max() + room)


def _scales(ax: Axes, grid: _Grid, dates: list) -> None:
    """Light lines at a few round numbers, written on the left; dates under the lowest panels."""
    low, high = grid.low, grid.high
    ticks = np.array([
        t for t in MaxNLocator(3, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
        if low <= t <= high
    ])  # fmt: skip
    decimals = max(len(f"{t:.6g}".partition(".")[2]) for t in ticks)
    people = list(grid.people)
    lowest = people[-_ACROSS:]
    for i, who in enumerate(people):
        left, bottom = grid.corners[who]
        heights = grid.up([who] * len(ticks), ticks)
        ax.hlines(heights, left, left + grid.wide, color="#ececec", linewidth=0.6, zorder=0)
        ax.hlines(
            grid.up([who], np.zeros(1)), left, left + grid.wide, color=GREY, linewidth=0.8, zorder=1
        )
        for t, y in zip(ticks, heights, strict=True) if i % _ACROSS == 0 else ():
            ax.text(
                left - 0.06, y, number(t, decimals, signed=low < 0), ha="right", va="center",
                fontsize=_SIZE - 1, color=INK,
            )  # fmt: skip
        if who in lowest:
            at = grid.across([who] * len(dates), dates)
            ax.hlines(bottom, left, left + grid.wide, color=INK, linewidth=0.9)
            ax.vlines(at, bottom - 0.05, bottom, color=INK, linewidth=0.8)
            ends = [(dates[0], "left", left), (dates[-1], "right", left + grid.wide)]
            for day, side, x in ends if len(dates) > 1 else [(dates[0], "center", at[0])]:
                ax.text(x, bottom - 0.07, f"{day:%b %y}", ha=side, va="top", fontsize=_SIZE - 1,
                        color=INK)  # fmt: skip


def _events(ax: Axes, grid: _Grid, happened: pd.DataFrame) -> None:
    """A dotted line where something happened, with its letter above."""
    for (who, day), some in happened.groupby(["measurer", "date"]):
        x, bottom = float(grid.across([who], [day])[0]), grid.corners[who][1]
        ax.vlines(x, bottom, bottom + _PLOT + 0.02, color=INK, linestyle=":", linewidth=1, zorder=1)
        letters = "".join(dict.fromkeys(LETTERS[event] for event in some["event"]))
        ax.text(x, bottom + _PLOT + 0.03, letters, ha="center", va="bottom", fontsize=_SIZE - 1,
                color=INK)  # fmt: skip


def _sessions(ax: Axes, grid: _Grid, rows: pd.DataFrame) -> None:
    """Sessions of everybody: limits as bands, intervals, figures, and the smoothed lines."""
    who = rows["measurer"].tolist()
    at = grid.across(who, rows["date"])
    columns = ("value", "lower", "upper", "smoothed", "limit_low", "limit_high")
    raw = {c: rows[c].to_numpy(float) for c in columns}
    y = {c: grid.up(who, values) for c, values in raw.items()}
    new = np.flatnonzero(rows["measurer"].ne(rows["measurer"].shift()).to_numpy())[1:]
    apart = {c: np.insert(values, new, np.nan) for c, values in y.items()}  # one person, one line
    x = np.insert(at, new, np.nan)
    known = np.isfinite(apart["limit_low"]) & np.isfinite(apart["limit_high"])
    ax.fill_between(
        x, apart["limit_low"], apart["limit_high"], where=known, color=BAND, linewidth=0, zorder=0.5
    )
    ax.vlines(at, y["lower"], y["upper"], color=BLUE, linewidth=1.1, zorder=2)
    for beyond, end, arrow in (
        (raw["upper"] > grid.high, "upper", "^"), (raw["lower"] < grid.low, "lower", "v")
    ):  # fmt: skip
        ax.plot(at[beyond], y[end][beyond], marker=arrow, markersize=3.5, color=BLUE,
                linestyle="none", zorder=2)  # fmt: skip
    ax.plot(x, apart["smoothed"], color=INK, linewidth=1.3, zorder=3)
    ax.plot(
        at, y["value"], marker="o", markersize=4.2, markerfacecolor="white", markeredgecolor=BLUE,
        markeredgewidth=1.1, linestyle="none", zorder=4,
    )  # fmt: skip


def alt_over_time(rows: pd.DataFrame, measure: Measure) -> str:
    """What the panels show, in one sentence a person."""
    repeat = rows["what"].iloc[0] == REPEAT
    what = "Repeat error" if repeat else "Difference"
    parts = []
    for who, mine in rows.groupby("measurer", sort=False):
        values = ", ".join(amount(v, measure, signed=not repeat) for v in mine["value"])
        parts.append(f"{who} {values}")
    return (
        f"{what} by session, {label(measure.name)} ({rows['unit'].iloc[0]}), one panel a person: "
        f"{'; '.join(parts)}."
    )
