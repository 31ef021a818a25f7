"""What does each question look like? One plot a question, from rows that are computed already.

Plots are narrow enough for a phone, carry every meaning twice (marker and words, never
colour alone) and use three inks of the Okabe-Ito palette.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from anthroqa.intake import Measure
from anthroqa.reporting.page.wording import CONTROLS, ODD, amount, exact, figure_of, label, number

INK, BLUE, GREY = "#1a1a1a", "#0072B2", "#767676"
_STATES = {  # state -> (marker, face, edge)
    "within limit": ("o", BLUE, BLUE),
    "over limit": ("s", INK, INK),
    "not settled": ("o", "white", BLUE),
    "not judged": ("x", GREY, GREY),
}
_WIDTH, _ROW, _RIGHT = 4.8, 0.22, 0.95  # inches
_SIZE = 9
_LONGEST = 14


def short(code: str) -> str:
    """A code cut in its middle to what fits beside a plot: codes differ at their ends."""
    code = code.translate(CONTROLS)
    return code if len(code) <= _LONGEST else code[:5] + "\u2026" + code[6 - _LONGEST :]


class _Plain(Axes):
    """Axes whose ticks are never drawn, and so never made."""

    def grid(self, *args: object, **given: object) -> None:
        pass


def axes(rows: Sequence[str], *, right: float = _RIGHT) -> Axes:
    """Empty axes with one line a row, the first at the top, its code to the left."""
    above, below = 0.3, 0.5
    height = above + _ROW * max(len(rows), 1) + below
    left = 0.25 + 0.085 * max((len(short(row)) for row in rows), default=0)
    figure = Figure(figsize=(_WIDTH, height))
    at = (
        left / _WIDTH, below / height,
        1 - (left + right) / _WIDTH, 1 - (above + below) / height,
    )  # fmt: skip
    return figure.add_axes(_Plain(figure, at))


def lay_out(ax: Axes, rows: Sequence[str], x_label: str, low: float, high: float) -> None:
    """A line for each row with its code to the left, and the scale below."""
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_xlim(low, high)
    ax.set_axis_off()
    _scale(ax, len(rows) - 0.4, x_label, low, high)
    ax.hlines(range(len(rows)), low, high, color="#e4e4e4", linewidth=0.6, zorder=0)
    for i, code in enumerate(rows):
        beside(ax, -0.03, i, short(code), ha="right")


def _scale(ax: Axes, bottom: float, x_label: str, low: float, high: float) -> None:
    """The scale below the rows: a few round numbers, drawn plainly (an axis is slow to draw)."""
    ticks = [
        t
        for t in MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
        if low <= t <= high
    ]
    decimals = max((len(f"{t:.6g}".partition(".")[2]) for t in ticks), default=0)
    ax.hlines(bottom, low, high, color=INK, linewidth=1, clip_on=False)
    below = ax.get_xaxis_transform()
    height = ax.get_position().height * ax.figure.get_size_inches()[1]
    ax.vlines(ticks, -0.05 / height, 0, color=INK, linewidth=0.8, transform=below, clip_on=False)
    for t in ticks:
        ax.annotate(
            number(t, decimals), (t, 0), xycoords=below, xytext=(0, -5),
            textcoords="offset points", ha="center", va="top", fontsize=_SIZE, color=INK,
        )  # fmt: skip
    ax.annotate(
        x_label, (0.5, 0), xycoords="axes fraction", xytext=(0, -19), textcoords="offset points",
        ha="center", va="top", fontsize=_SIZE, color=INK, parse_math=False,
    )  # fmt: skip


def beside(ax: Axes, x: float, y: float, text: str, *, ha: str = "left") -> None:
    """Text in a margin, at a row; codes are never read as formulas."""
    ax.text(
        x, y, text, transform=ax.get_yaxis_transform(), ha=ha, va="center", fontsize=_SIZE,
        color=INK, parse_math=False,
    )  # fmt: skip


def limit_line(ax: Axes, at: float, text: str, style: str = "--", color: str = INK) -> None:
    """A vertical line through all rows, with its name above."""
    ax.axvline(at, color=color, linestyle=style, linewidth=1, zorder=1)
    if text:
        ax.text(
            at, 1.01, text, transform=ax.get_xaxis_transform(), ha="center", va="bottom",
            fontsize=_SIZE - 1, color=color, parse_math=False,
        )  # fmt: skip


def _intervals(ax: Axes, rows: pd.DataFrame, low: float, high: float, measure: Measure) -> None:
    """Draw each figure with its interval; beyond the scale as an arrow with its value."""
    y = np.arange(len(rows))
    lower, upper, estimate = (rows[c].to_numpy(float) for c in ("lower", "upper", "estimate"))
    states = rows["state"].to_numpy()
    for state, (marker, face, edge) in _STATES.items():
        mine = states == state
        if not mine.any():
            continue
        ax.hlines(
            y[mine], np.maximum(lower[mine], low), np.minimum(upper[mine], high),
            color=edge, linewidth=1.4, zorder=2,
        )  # fmt: skip
        for beyond, edge_of, arrow in ((upper > high, high, 5), (lower < low, low, 4)):
            at = y[mine & beyond]  # where the interval goes on beyond the scale
            if len(at):
                ax.plot(
                    [edge_of] * len(at), at, marker=arrow, markersize=5, color=edge,
                    linestyle="none", zorder=2, clip_on=False,
                )  # fmt: skip
        on = mine & (low <= estimate) & (estimate <= high)
        ax.plot(
            estimate[on], y[on], marker=marker, markerfacecolor=face,
            markeredgecolor=edge, markersize=6, linestyle="none", zorder=3, clip_on=False,
        )  # fmt: skip
    off = (estimate > high) | (estimate < low)
    for at, row in zip(y[off], rows[off].itertuples(), strict=True):
        above = row.estimate > high
        _, face, edge = _STATES[row.state]
        ax.plot(
            [high if above else low], [at], marker=">" if above else "<", markerfacecolor=face,
            markeredgecolor=edge, markersize=6, linestyle="none", zorder=3, clip_on=False,
        )  # fmt: skip
        ax.annotate(
            amount(row.estimate, measure, signed=row.question == "bias"),
            (high if above else low, at), xytext=(-7 if above else 7, 0),
            textcoords="offset points", ha="right" if above else "left", va="center",
            fontsize=_SIZE - 1, color=INK, parse_math=False,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1}, zorder=4,
        )  # fmt: skip


def findings(
    rows: pd.DataFrame,
    measure: Measure,
    marked: Collection[str] = (),
    ax: Axes | None = None,
) -> Axes:
    """Each person's figure and interval against the limit.

    `rows` are decisions of one measure and one question. Repeat errors start at zero;
    differences lie around it, with the limit on both sides. What lies beyond the scale is
    drawn at its edge as an arrow with its value. People in `marked` have an odd reading.
    """
    codes = [who + (ODD if who in marked else "") for who in rows["measurer"]]
    repeat = bool((rows["question"] == "repeatability").all())
    limit = rows["limit"].iloc[0]
    sizes = rows[["estimate", "lower", "upper"]].abs().to_numpy()
    widest = float(np.nanmax(sizes)) if not np.isnan(sizes).all() else 1.0
    usual = float(np.nanmedian(rows["estimate"].abs())) if rows["estimate"].notna().any() else 1.0
    most = 3 * limit if limit == limit else max(4 * usual, float(measure.step.size))
    high = 1.05 * max(min(widest, most), limit if limit == limit else 0, float(measure.step.size))
    low = 0.0 if repeat else -high
    ax = axes(codes) if ax is None else ax
    what = "Repeat error" if repeat else "Difference"
    lay_out(ax, codes, f"{what} ({rows['unit'].iloc[0]})", low, high)
    if not repeat:
        limit_line(ax, 0, "", style="-", color=GREY)
    if limit == limit:
        text = f"limit {exact(limit)}"
        limit_line(ax, limit, text)
        if not repeat:
            limit_line(ax, -limit, text)
    elif repeat and measure.expected_tem is not None:
        limit_line(ax, float(measure.expected_tem), "expected", style=":", color=GREY)
    _intervals(ax, rows, low, high, measure)
    for y, state in enumerate(rows["state"]):
        beside(ax, 1.03, y, state)
    return ax


def distances(rows: pd.DataFrame, measure: Measure, ax: Axes | None = None) -> Axes:
    """Every reading's distance from its subject's consensus, a line a person.

    `rows` are residuals of one measure. Odd rounds are circles, even rounds triangles;
    a far reading is a square, or an arrow beyond the scale, with its subject and distance
    beside it.
    """
    codes = list(dict.fromkeys(rows["measurer"]))
    near = rows.loc[~rows["far"], "residual"].abs().max()
    high = 1.15 * max(float(near) if near == near else 0.0, float(measure.step.size))
    ax = axes(codes) if ax is None else ax
    lay_out(ax, codes, f"Distance from consensus ({rows['unit'].iloc[0]})", -high, high)
    limit_line(ax, 0, "", style="-", color=GREY)
    y = rows["measurer"].map({code: i for i, code in enumerate(codes)}).to_numpy()
    away, far = rows["residual"].to_numpy(), rows["far"].to_numpy(bool)
    first = rows["round"].to_numpy() % 2 == 1
    for some, marker, lift in ((first & ~far, "o", -0.14), (~first & ~far, "^", 0.14)):
        ax.plot(
            away[some], y[some] + lift, marker=marker, markersize=4,
            markerfacecolor="none", markeredgecolor=BLUE, markeredgewidth=0.8, linestyle="none",
        )  # fmt: skip
    for some, marker in ((away > high, ">"), (away < -high, "<"), (np.abs(away) <= high, "s")):
        at = far & some
        if at.any():
            ax.plot(
                away[at].clip(-high, high), y[at], marker=marker, color=INK, linestyle="none",
                markersize=5 if marker == "s" else 6, clip_on=False,
            )  # fmt: skip
    for i in np.unique(y[far]):
        own = np.flatnonzero(far & (y == i))
        worst = own[np.abs(away[own]).argmax()]
        more = f" +{len(own) - 1}" if len(own) > 1 else ""
        size = amount(away[worst], measure, signed=True)
        beside(ax, 1.04, i, f"{short(rows['subject'].iloc[worst])} {size}{more}")
    return ax


def agreement(rows: pd.DataFrame, measure: Measure, ax: Axes | None = None) -> Axes:
    """Bias and 95 % limits of agreement of single readings, a line a person.

    `rows` are scores of one measure: `bias`, `agreement_lower` and `agreement_upper`.
    Thin ends are the intervals of the limits.
    """
    codes = list(dict.fromkeys(rows["measurer"]))
    bias, lower, upper = (
        rows[rows["statistic"] == name].set_index("measurer").loc[codes]
        for name in ("bias", "agreement_lower", "agreement_upper")
    )
    sizes = np.maximum(-lower["estimate"], upper["estimate"])
    high = 1.05 * max(min(sizes.max(), 4 * sizes.median()), float(measure.step.size))
    ax = axes(codes, right=0.35) if ax is None else ax
    lay_out(ax, codes, f"Single reading less reference ({rows['unit'].iloc[0]})", -high, high)
    limit_line(ax, 0, "", style="-", color=GREY)
    y = np.arange(len(codes))
    ax.hlines(y, lower["estimate"], upper["estimate"], color=BLUE, linewidth=3.2, zorder=2)
    for end in (lower, upper):
        ax.hlines(y, end["lower"], end["upper"], color=INK, linewidth=0.9, zorder=3)
    ax.plot(bias["estimate"], y, marker="o", markersize=5, markerfacecolor="white",
            markeredgecolor=INK, linestyle="none", zorder=4)  # fmt: skip
    for i in np.flatnonzero(sizes > high):
        beside(ax, 1.01, i, "\u2194")
    return ax


def alt_findings(rows: pd.DataFrame, measure: Measure) -> str:
    """What the plot of findings shows, in one sentence."""
    what = "Repeat error" if (rows["question"] == "repeatability").all() else "Difference"
    limit = rows["limit"].iloc[0]
    against = f" against a limit of {exact(limit)} {rows['unit'].iloc[0]}" if limit == limit else ""
    named: dict[str, list[str]] = {state: [] for state in _STATES}
    for row in rows.itertuples():
        named[row.state].append(f"{row.measurer} {figure_of(row, measure)}")
    parts = [f"{state}: {', '.join(people)}" for state, people in named.items() if people]
    return f"{what} in {label(measure.name)}{against}. {'; '.join(parts)}."


def alt_distances(rows: pd.DataFrame, measure: Measure) -> str:
    """What the plot of distances shows, in one sentence."""
    far = [
        f"{r.measurer}, subject {r.subject}, round {r.round}, "
        f"{amount(r.residual, measure, signed=True)} {r.unit}"
        for r in rows[rows["far"]].itertuples()
    ]
    what = f"Far from the rest: {'; '.join(far)}." if far else "No reading lies far from the rest."
    return (
        f"Distances of {len(rows)} readings from their subjects' consensus in "
        f"{label(measure.name)}. {what}"
    )


def alt_agreement(rows: pd.DataFrame, measure: Measure) -> str:
    """What the plot of limits of agreement shows, in one sentence."""
    lower, upper = (rows[rows["statistic"] == f"agreement_{end}"] for end in ("lower", "upper"))
    parts = [
        f"{code} {amount(low, measure, signed=True)} to {amount(high, measure, signed=True)}"
        for code, low, high in zip(
            lower["measurer"], lower["estimate"], upper["estimate"], strict=True
        )
    ]
    unit = rows["unit"].iloc[0]
    return f"95 % limits of agreement in {label(measure.name)} ({unit}). {'; '.join(parts)}."
