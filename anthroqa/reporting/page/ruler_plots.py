"""How does each person read the instrument's own marks, drawn on a piece of its ruler?

A small panel a person: across, where the setting lies within the whole mark; up, what was
written less what was set. A line shows the way of reading that was found.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from anthroqa.intake import Measure
from anthroqa.intake.written.steps import Step
from anthroqa.reporting.page.figures import BLUE, GREY, INK, short
from anthroqa.reporting.page.wording import MINUS, label
from anthroqa.scores.drill.read_back import WRONG_SIDE
from anthroqa.scores.drill.ways_of_reading import NO_CYCLE, counted_back

_WIDTH, _ACROSS = 4.8, 2  # inches; panels in a row
_LEFT, _GAP, _RIGHT = 0.55, 0.62, 0.12  # inches
_TITLE, _PLOT, _BELOW = 0.42, 0.78, 0.34  # inches, of each panel
_SIZE = 9
_CLOSE = 2  # steps up and down; where nine readings in ten do not fit, more


def rulers(read: pd.DataFrame, marks: pd.DataFrame, measure: Measure) -> list[Axes]:
    """A panel a person, in the order of `marks`.

    `read` are the readings of one measure beside what was set, `marks` what was found of each
    person. A reading beyond a panel is an arrow at its edge.
    """
    rows = -(-len(marks) // _ACROSS)
    height = rows * (_TITLE + _PLOT + _BELOW)
    figure = Figure(figsize=(_WIDTH, height))
    wide = (_WIDTH - _LEFT - _GAP * (_ACROSS - 1) - _RIGHT) / _ACROSS
    panels = []
    for i, row in enumerate(marks.itertuples()):
        down, across = divmod(i, _ACROSS)
        bottom = height - down * (_TITLE + _PLOT + _BELOW) - _TITLE - _PLOT
        ax = figure.add_axes((
            (_LEFT + across * (wide + _GAP)) / _WIDTH, bottom / height,
            wide / _WIDTH, _PLOT / height,
        ))  # fmt: skip
        _panel(ax, read[read["measurer"] == row.measurer], row, measure)
        panels.append(ax)
    return panels


def _panel(ax: Axes, mine: pd.DataFrame, row, measure: Measure) -> None:
    cycle = measure.cycle or NO_CYCLE
    off = mine["difference"].abs()
    scales = [_CLOSE, max(_CLOSE, cycle // 2), cycle]
    high = next((h for h in scales if mine.empty or (off <= h).mean() >= 0.9), cycle)
    ax.set_xlim(0, cycle)
    ax.set_ylim(-high, high)
    ax.set_axis_off()
    _ruler(ax, measure, cycle, high)
    if row.mark:
        _way(ax, row, cycle)
    inside = off <= high
    at = mine["set"] % cycle
    ax.plot(
        at[inside], mine.loc[inside, "difference"], marker="o", markersize=3.6,
        markerfacecolor="white", markeredgecolor=BLUE, markeredgewidth=1, linestyle="none",
        zorder=3, clip_on=False,
    )  # fmt: skip
    for sign, arrow in ((1, "^"), (-1, "v")):
        beyond = at[~inside & (np.sign(mine["difference"]) == sign)]
        ax.plot(
            beyond, [sign * high] * len(beyond), marker=arrow, markersize=5, color=INK,
            linestyle="none", zorder=3, clip_on=False,
        )  # fmt: skip
    found = f"{row.mark}, {row.finding}" if row.mark else row.finding
    for text, lift, bold in ((short(row.measurer), 17, "bold"), (found, 6, "normal")):
        ax.annotate(
            text, (0, 1), xycoords="axes fraction", xytext=(0, lift), textcoords="offset points",
            ha="left", va="bottom", fontsize=_SIZE, fontweight=bold, color=INK, parse_math=False,
        )  # fmt: skip


def _ruler(ax: Axes, measure: Measure, cycle: int, high: int) -> None:
    """The marks of the instrument below, and how far off above and below zero."""
    ax.hlines([0], 0, cycle, color=GREY, linewidth=0.8, zorder=1)
    ax.hlines([-high, high], 0, cycle, color="#d4d4d4", linewidth=0.6, zorder=0)
    ax.hlines([0], 0, cycle, transform=ax.get_xaxis_transform(), color=INK, clip_on=False,
              linewidth=1)  # fmt: skip
    names = {0: "0", **{n: name for n, name in measure.coarse_marks.items()
                        if n in (cycle, cycle / 2)}}  # fmt: skip
    names.setdefault(cycle, _worth(cycle, measure))
    for n in range(cycle + 1 if cycle <= 40 else 1):
        long = 7 if n in names else 3.5
        ax.annotate(
            "", (n, 0), xycoords=ax.get_xaxis_transform(), xytext=(0, -long),
            textcoords="offset points",
            arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.8, "shrinkA": 0,
                        "shrinkB": 0},
        )  # fmt: skip
    for n, name in names.items():
        ax.annotate(
            name, (n, 0), xycoords=ax.get_xaxis_transform(), xytext=(0, -8),
            textcoords="offset points", ha="center", va="top", fontsize=_SIZE, color=INK,
            parse_math=False,
        )  # fmt: skip
    size = _worth(high, measure)
    for at, text in ((high, f"+{size}"), (0, "0"), (-high, f"{MINUS}{size}")):
        ax.annotate(
            text, (0, at), xytext=(-4, 0), textcoords="offset points", ha="right", va="center",
            fontsize=_SIZE, color=INK, parse_math=False,
        )  # fmt: skip


def _worth(steps: int, measure: Measure) -> str:
    """So many steps with their unit, as the marks are called."""
    names = {1: str(measure.step), **measure.coarse_marks}
    step = measure.step
    return names.get(steps) or Step(steps * step.size, step.unit).text(halves=step.by_halves)


def _way(ax: Axes, row, cycle: int) -> None:
    """What the way of reading that was found gives for every setting, broken where it jumps."""
    at = np.linspace(0, cycle, 40 * cycle + 1)
    mark = int(row.mark_steps)
    written = (mark * np.floor(at / mark + row.shift + 0.5)).astype(np.int64)
    if row.finding == WRONG_SIDE:
        written = counted_back(written, cycle)
    off = written - at
    jump = np.abs(np.diff(off, prepend=off[0])) > 0.5
    ax.plot(at, np.where(jump, np.nan, off), color=INK, linewidth=1, zorder=2)


def alt_rulers(marks: pd.DataFrame, measure: Measure) -> str:
    """What the panels show, in one sentence."""
    parts = [
        f"{row.measurer}: {row.mark + ', ' if row.mark else ''}{row.finding}"
        for row in marks.itertuples()
    ]
    return (
        f"Written less set, by place within the whole mark, {label(measure.name)}. "
        f"{'; '.join(parts)}."
    )
