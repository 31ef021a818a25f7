"""Where between two whole marks did readings fall, on a piece of the instrument's own ruler?

One row a person, on a scale of its own: the bars are the readings, with their number above, and
the stepped line is what a careful reader would have on average.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from anthroqa.intake import Measure
from anthroqa.reporting.page.figures import BLUE, INK, short
from anthroqa.reporting.page.wording import label

MOST_POSITIONS = 40  # more cannot be told apart on a page
_WIDTH, _RIGHT = 4.8, 0.1  # inches
_BARS, _ABOVE, _TICKS, _GAP, _BELOW = 0.46, 0.34, 0.2, 0.08, 0.4  # inches: of a row, of the scale
_ROW = _BARS + _ABOVE + _TICKS + _GAP
_SIZE = 9
_MOST_LABELS = 10


def on_ruler(
    rows: pd.DataFrame, said: Sequence[str], measure: Measure, ax: Axes | None = None
) -> Axes:
    """A row a person: readings at each position against what was expected, above the marks.

    `rows` are terminal positions of one measure, the people one after the other; `said` is a
    line of text for each person. Across, the axes count steps past a whole mark; up, inches.
    """
    codes = list(dict.fromkeys(rows["measurer"]))
    observed, expected = (
        rows[column].to_numpy(float).reshape(len(codes), -1) for column in ("observed", "expected")
    )
    cycle = observed.shape[1]
    scale = _BARS / np.maximum(observed, expected).max(axis=1, keepdims=True)
    base = -_ROW * np.arange(len(codes))
    bars, line = base[:, None] + observed * scale, base[:, None] + expected * scale
    ax = _empty(codes) if ax is None else ax
    ax.set_xlim(-0.55, cycle - 0.45)
    ax.set_ylim(base[-1] - _TICKS - _GAP, _BARS + _ABOVE)
    ax.set_axis_off()
    _rulers(ax, measure, cycle, base)
    there = observed > 0
    person, at = np.nonzero(there)
    wide = ax.get_position().width * _WIDTH * 72 / cycle  # points to a position
    ax.vlines(at, base[person], bars[there], color=BLUE, linewidth=min(0.6 * wide, 20), zorder=2)
    edges = np.arange(-0.5, cycle + 0.5)
    ax.plot(
        np.tile(np.append(edges, np.nan), len(codes)),
        np.hstack([line, line[:, -1:], np.full((len(codes), 1), np.nan)]).ravel(),
        drawstyle="steps-post", color=INK, linewidth=1.1, zorder=3,
    )  # fmt: skip
    above = np.maximum(bars, line)[there]
    for x, height, count in zip(at, above, observed[there], strict=True):
        ax.annotate(
            f"{count:.0f}", (x, height), xytext=(0, 1), textcoords="offset points", ha="center",
            va="bottom", fontsize=_SIZE - 1, color=INK, zorder=4,
        )  # fmt: skip
    for code, text, low in zip(codes, said, base, strict=True):
        for x, words, side in ((-0.03, short(code), "right"), (0.0, text, "left")):
            ax.text(
                x, low + _BARS + 0.18, words, transform=ax.get_yaxis_transform(), ha=side,
                va="bottom", fontsize=_SIZE, color=INK, parse_math=False,
            )  # fmt: skip
    return ax


def _empty(codes: Sequence[str]) -> Axes:
    height = len(codes) * _ROW + _BELOW
    figure = Figure(figsize=(_WIDTH, height))
    left = 0.25 + 0.085 * max(len(short(code)) for code in codes)
    return figure.add_axes((
        left / _WIDTH, _BELOW / height,
        1 - (left + _RIGHT) / _WIDTH, 1 - _BELOW / height,
    ))  # fmt: skip


def _rulers(ax: Axes, measure: Measure, cycle: int, base: np.ndarray) -> None:
    """The edge and the marks below each row, the coarser the longer; numbers below the last."""
    ax.hlines(base, -0.5, cycle - 0.5, color=INK, linewidth=1, zorder=4)
    at = np.arange(cycle)
    rank = np.zeros(cycle)
    for place, mark in enumerate(sorted(measure.coarse_marks), start=1):
        rank[at % mark == 0] = place
    length = (0.25 + 0.75 * rank / max(rank.max(), 1)) * (_TICKS - 0.02)
    ax.vlines(
        np.tile(at, len(base)), np.repeat(base, cycle), np.repeat(base, cycle)
        - np.tile(length, len(base)), color=INK, linewidth=0.8, zorder=4,
    )  # fmt: skip
    every = next(d for d in range(1, cycle + 1) if cycle % d == 0 and cycle / d <= _MOST_LABELS)
    for n in range(0, cycle, every):
        ax.annotate(
            _place(n, measure), (n, 0), xycoords=ax.get_xaxis_transform(), xytext=(0, -1),
            textcoords="offset points", ha="center", va="top", fontsize=_SIZE, color=INK,
        )  # fmt: skip
    whole = measure.coarse_marks.get(cycle, "")
    ax.annotate(
        f"Past a whole mark of {whole} ({measure.step.unit})", (0.5, 0), xycoords="axes fraction",
        xytext=(0, -14), textcoords="offset points", ha="center", va="top", fontsize=_SIZE,
        color=INK, parse_math=False,
    )  # fmt: skip


def _place(n: int, measure: Measure) -> str:
    """How far past the whole mark, as people read it."""
    value = n * measure.step.size
    return str(value) if measure.step.by_halves else f"{float(value):g}"


def alt_on_ruler(codes: Sequence[str], said: Sequence[str], measure: Measure) -> str:
    """What the rows show, in one sentence."""
    lines = "; ".join(f"{code}: {text}" for code, text in zip(codes, said, strict=True))
    return f"Readings at each mark, {label(measure.name)}. {lines}."
