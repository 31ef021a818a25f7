"""How do a person's own readings lie about their subjects' consensus, drawn small?

One line a subject, the person's readings on it, others behind them as grey marks without a name;
at the foot the difference and the repeat error with their intervals and limits. Drawn as a few
plain paths inside the page: dozens of pages need many, and they print in any size.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.reporting.page.figures import short
from anthroqa.reporting.page.html import escape
from anthroqa.reporting.page.wording import LIMITS, MINUS, amount, label, number
from anthroqa.reporting.person.words import ASKED

LEAST_OTHERS = 2  # who read a subject too; the reading of a single other person would be theirs
_WIDE, _LEFT, _RIGHT, _TOP = 340, 68, 34, 3  # units, about a quarter of a millimetre in print
_LINES, _MOST, _FOOT, _SCALE = 90, 130, 12, 14  # for all subjects, at the most, a row at the foot
_LEAST_LINE, _LINE, _FULL = 4, 9, 6  # of a subject; from which on its marks have their full size
_LABELLED = 6.5  # units that a line needs to have its subject's code beside it
_LETTER = 5.5  # units of a figure or a letter
_MOST_TICKS = 7
_TICKED = 0.93  # part of the scale that has ticks: at its ends it says what is low and high
_ROOM = 1.15
_MARKS = {"within limit": "dot", "over limit": "block", "not settled": "open", "not judged": "x"}
_INK, _GREY, _PALE, _FAINT, _WHITE = "#1a1a1a", "#767676", "#b0b0b0", "#e4e4e4", "#fff"
_LAYERS = {  # in their order: line, its width, and what is inside
    "rule": (_FAINT, 0.6, "none"), "other": (_PALE, 1, "none"), "zero": (_GREY, 1, "none"),
    "join": (_INK, 0.9, "none"), "behind": ("none", 0, _WHITE), "own": (_INK, 1.1, _WHITE),
    "far": (_INK, 1, _INK), "axis": (_INK, 1, "none"), "limit": (_INK, 1.8, "none"),
    "interval": (_INK, 1.8, "none"), "dot": (_INK, 1, _INK), "block": (_INK, 1, _INK),
    "open": (_INK, 1.3, _WHITE), "x": (_INK, 1.3, "none"),
}  # fmt: skip
_SIZES = {"code": 7.5, "tick": 9, "said": 9.5, "away": 9}
_RING = "{x0:.1f} {y:.1f}a{r:.1f} {r:.1f} 0 1 1 {d:.1f} 0a{r:.1f} {r:.1f} 0 1 1 -{d:.1f} 0z"
_CORNERS = {
    "block": ((-3, -3), (3, -3), (3, 3), (-3, 3)), "up": ((0, -3.6), (3.4, 2.6), (-3.4, 2.6)),
    "left": ((-4, 0), (2, -3.4), (2, 3.4)), "right": ((4, 0), (-2, -3.4), (-2, 3.4)),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawing:
    """Paths by layer, and texts above them; `reach` is half of the scale."""

    reach: float
    paths: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    texts: list[str] = field(default_factory=list)

    def x(self, value: float) -> float:
        """Where a distance lies; beyond the scale at its edge."""
        inside = max(-self.reach, min(self.reach, value))
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * (inside / self.reach + 1) / 2

    def across(self, layer: str, low: float, high: float, y: float) -> None:
        self.paths[layer].append(f"M{self.x(low):.1f} {y:.1f}H{self.x(high):.1f}")

    def upright(self, layer: str, value: float, y1: float, y2: float) -> None:
        self.paths[layer].append(f"M{self.x(value):.1f} {y1:.1f}V{y2:.1f}")

    def mark(self, layer: str, shape: str, value: float, y: float, by: float = 1) -> None:
        """A mark of a shape, so many times its full size."""
        x = self.x(value)
        if shape in _CORNERS:
            ends = [f"{x + by * dx:.1f} {y + by * dy:.1f}" for dx, dy in _CORNERS[shape]]
            self.paths[layer].append(f"M{'L'.join(ends)}Z")
        elif shape == "x":
            self.paths[layer].append(f"M{x - 3:.1f} {y - 3:.1f}l6 6m0 -6l-6 6")
        else:
            r = 2.9 * by
            self.paths[layer].append("M" + _RING.format(x0=x - r, y=y, r=r, d=2 * r))

    def text(self, x: float, y: float, text: str, kind: str, anchor: str = "end") -> None:
        self.texts.append(
            f'<text class="{kind}" x="{x:.1f}" y="{y + 3:.1f}" font-size="{_SIZES[kind]}" '
            f'text-anchor="{anchor}">{escape(text)}</text>'
        )

    def svg(self, height: float, alt: str) -> str:
        """Everything, the layers in their order; looks are attributes, which all programs read."""
        paths = "".join(
            f'<path class="{layer}" stroke="{line}" stroke-width="{width}" fill="{inside}" '
            f'd="{"".join(self.paths[layer])}"/>'
            for layer, (line, width, inside) in _LAYERS.items()
            if layer in self.paths
        )
        return (
            f'<svg viewBox="0 0 {_WIDE} {height:.0f}" role="img" aria-label="{escape(alt)}" '
            f'font-family="DejaVu Sans, Arial, sans-serif" fill="{_INK}">'
            f"{paths}{''.join(self.texts)}</svg>"
        )


def own_readings(
    mine: pd.DataFrame, others: pd.DataFrame, findings: pd.DataFrame, measure: Measure
) -> str:
    """A person's first readings of one measure against the consensus; "" where there is none.

    `mine` and `others` are residuals, `findings` the person's decisions of that measure. Readings
    of odd rounds are rings, of even ones triangles; a far one is a block, or beyond the
    scale an arrow with how far off it is.
    """
    mine = mine[mine["residual"].notna()]
    if mine.empty:
        return ""
    drawing = _Drawing(reach=_reach(mine, measure))
    readings: dict[str, list] = {}
    for row in mine.itertuples():
        readings.setdefault(row.subject, []).append(row)
    n = len(readings)
    line = min(_LINE, max(_LINES / n, min(_LEAST_LINE, _MOST / n)))
    places = {s: _TOP + line * (i + 0.5) for i, s in enumerate(sorted(readings, key=_counted))}
    for subject, y in places.items():
        drawing.across("rule", -drawing.reach, drawing.reach, y)
        _subject(drawing, readings[subject], y, min(1, line / _FULL), measure)
        if line >= _LABELLED:
            drawing.text(_LEFT - 7, y, short(subject), "code")
    for subject, away in _behind(others, drawing.reach):
        if subject in places:
            y = places[subject]
            drawing.upright("other", away, y - 0.4 * line, y + 0.4 * line)
    foot = _TOP + line * n + 2
    for row in findings.itertuples():
        _finding(drawing, row, foot + _FOOT / 2)
        foot += _FOOT
    drawing.upright("zero", 0, _TOP, foot)
    _scale(drawing, foot, measure)
    return drawing.svg(foot + _SCALE, _alt(mine, measure))


def _reach(mine: pd.DataFrame, measure: Measure) -> float:
    """Half of the scale: what near readings and limits need; the rest is an arrow at its edge."""
    near = mine.loc[~mine["far"], "residual"].abs().max()
    limits = [float(v) for key in LIMITS.values() if (v := getattr(measure, key)) is not None]
    return _ROOM * max(near if near == near else 0.0, 2 * float(measure.step.size), *limits)


def _counted(code: str) -> list[tuple[str, int]]:
    """The order in which people count: C2 before C10."""
    return [(text, int(n or 0)) for text, n in re.findall("([^0-9]*)([0-9]*)", code)]


def _behind(others: pd.DataFrame, reach: float) -> dict[tuple[str, float], None]:
    """Where others read, each place once; nothing of a subject with one other reader."""
    readers = others.groupby("subject")["measurer"].transform("nunique")
    inside = others[(readers >= LEAST_OTHERS) & (others["residual"].abs() <= reach)]
    return dict.fromkeys(zip(inside["subject"], inside["residual"], strict=True))


def _subject(drawing: _Drawing, rows: list, y: float, by: float, measure: Measure) -> None:
    """The readings of one subject, joined by a line."""
    away = [row.residual for row in rows]
    if len(rows) > 1:
        drawing.across("join", min(away), max(away), y)
    for row in rows:
        if abs(row.residual) > drawing.reach:
            side = math.copysign(1, row.residual)
            said = amount(row.residual, measure, signed=True)
            drawing.mark("far", "right" if side > 0 else "left", row.residual, y, by)
            wide = _LETTER * len(said)
            middle = drawing.x(row.residual) - side * (7 + wide / 2)
            box = f"M{middle - wide / 2:.1f} {y - 4:.1f}h{wide:.1f}v8h-{wide:.1f}z"
            drawing.paths["behind"].append(box)
            drawing.text(middle, y, said, "away", "middle")
        elif row.far:
            drawing.mark("far", "block", row.residual, y, by)
        else:
            drawing.mark("own", "ring" if row.round % 2 else "up", row.residual, y, by)


def _finding(drawing: _Drawing, row, y: float) -> None:
    """A figure with its interval and its limit, on a line of its own."""
    reach = drawing.reach
    drawing.text(_LEFT - 7, y, ASKED[row.question], "said")
    if row.limit == row.limit:
        for side in (1,) if row.question == "repeatability" else (-1, 1):
            drawing.upright("limit", side * row.limit, y - _FOOT / 2 + 1, y + _FOOT / 2 - 1)
    if row.lower == row.lower and row.upper == row.upper:
        if row.lower <= reach and row.upper >= -reach:
            drawing.across("interval", row.lower, row.upper, y)
        if row.lower < -reach:
            drawing.mark("far", "left", row.lower, y)
        if row.upper > reach:
            drawing.mark("far", "right", row.upper, y)
    if abs(row.estimate) <= reach:
        shape = _MARKS[row.state]
        drawing.mark(shape, shape, row.estimate, y)


def _scale(drawing: _Drawing, y: float, measure: Measure) -> None:
    """Ticks at marks that the instrument has, in its own words, and which side is high."""
    drawing.across("axis", -drawing.reach, drawing.reach, y)
    for at in _ticks(drawing.reach, measure):
        drawing.upright("axis", float(at), y, y + 3)
        said = _named(at, measure) if at else f"0 {measure.step.unit}"
        drawing.text(drawing.x(float(at)), y + 8, said, "tick", "middle")
    drawing.text(_LEFT - 7, y + 8, "\u2190 reads low", "tick")
    drawing.text(drawing.x(drawing.reach) + 4, y + 8, "high \u2192", "tick", "start")


def _ticks(reach: float, measure: Measure) -> Iterator[Fraction]:
    """A mark of the instrument, or the next round number above, and its multiples."""
    step = measure.step
    halving = step.by_halves or step.unit == "oz"
    apart, factors, i = step.size, (2,) if halving else (2, Fraction(5, 2), 2), 0
    while 2 * reach / float(apart) > _MOST_TICKS - 1:
        apart *= factors[i % len(factors)]
        i += 1
    n = int(_TICKED * reach / float(apart))
    return (i * apart for i in range(-n, n + 1))


def _named(value: Fraction, measure: Measure) -> str:
    """A tick with its sign, as a fraction where the marks are fractions."""
    if not measure.step.by_halves:
        decimals = len(f"{float(abs(value)):.6g}".partition(".")[2])
        return number(float(value), decimals, signed=True)
    whole, part = divmod(abs(value), 1)
    return ("+" if value > 0 else MINUS) + " ".join(str(n) for n in (whole, part) if n)


def _alt(mine: pd.DataFrame, measure: Measure) -> str:
    far = [
        f"subject {r.subject}, round {r.round}, {amount(r.residual, measure, signed=True)} {r.unit}"
        for r in mine[mine["far"]].itertuples()
    ]
    said = f"Far: {'; '.join(far)}." if far else "No reading lies far off."
    return (
        f"{len(mine)} of your readings of {label(measure.name)} against the middle of everybody's "
        f"readings of the same subject. {said}"
    )
