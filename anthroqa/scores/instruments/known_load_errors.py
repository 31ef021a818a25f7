"""How far is an instrument from known loads, and how well is that known?

Error is reading less load. Its uncertainty is put together as in JCGM 100:2008 (GUM), 5.1.2 and
G.4.1: repeats (their SD pooled over loads, Type A), rounding of the display (division / root 12,
F.2.2.1; never made smaller by averaging) and the standard (half of its expanded uncertainty,
whichever way its errors go together at different loads). Assumes one repeat error at every load.
Errors are of what was displayed: a zero that is off is in all of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.intake import Session
from anthroqa.notes import Note, Notes, notes_of
from anthroqa.notes.scores.instruments import KnownLoads, NotTwoSides, SideLessSide, TooFewLoads
from anthroqa.scores.layout.cube import Array, Counts
from anthroqa.scores.layout.figures import root_chi2_interval

COLUMNS = [
    "instrument", "measure", "check", "load", "statistic", "estimate", "lower", "upper", "unit",
    "readings", "note",
]  # fmt: skip
LEAST_LOADS = 3  # a straight line through two points leaves nothing
_MANY = 1e9  # df of what is known and not estimated


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """What one instrument's errors are uncertain by, in steps."""

    spread: float  # SD of repeats, pooled over all that were repeated; 0 without any
    df: int
    division: float
    standard: float  # standard uncertainty of a mass or rod; NaN where none is given


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Points:
    """Errors of one instrument at a few loads (or positions, or times), in steps."""

    loads: Array  # 0 for zero
    errors: Array
    n: Counts  # readings behind each
    of: Precision

    def variance(self, weights: Array) -> tuple[Array, Array]:
        """Of sums of errors by `weights` (... x points): the whole, and the part of repeats.

        What the same standard adds to two points cancels as far as their weights do.
        """
        repeats = self.of.spread**2 * (weights**2 / self.n).sum(axis=-1)
        rounding = self.of.division**2 / 12 * (weights**2).sum(axis=-1)
        loads, of = np.unique(self.loads, return_inverse=True)
        net = np.abs(weights @ np.eye(len(loads))[of])[..., loads != 0].sum(axis=-1)
        standard = (np.nan_to_num(self.of.standard) * net) ** 2
        return repeats + rounding + standard, repeats

    def figure(self, weights: Array, confidence: float) -> tuple[float, float, float]:
        """A sum of errors by `weights` with its interval (Welch & Satterthwaite, GUM G.4.1)."""
        variance, repeats = self.variance(weights)
        df = variance**2 * self.of.df / repeats**2 if repeats > 0 else _MANY
        half = special.stdtrit(min(df, _MANY), (1 + confidence) / 2) * np.sqrt(variance)
        estimate = float(weights @ self.errors)
        return estimate, estimate - half, estimate + half


def points(rows: pd.DataFrame, by: list[str], of: Precision) -> Points:
    """Mean error of known loads for each value of the columns `by`; the first is the load."""
    error = rows["reading_steps"] - rows["load_steps"]
    cells = _cells(error, *(rows[column] for column in by))
    return Points(
        loads=np.array([key[0] for key in cells], dtype=float),
        errors=np.array([np.mean(cell) for cell in cells.values()]),
        n=np.array([len(cell) for cell in cells.values()]), of=of,
    )  # fmt: skip


def _cells(values: pd.Series, *keys: pd.Series) -> dict[tuple, list[float]]:
    """Values with the same keys together, in the order of the keys."""
    cells: dict[tuple, list[float]] = {}
    for key, value in zip(zip(*keys, strict=True), values, strict=True):
        cells.setdefault(key, []).append(value)
    return dict(sorted(cells.items()))


def curve(rows: pd.DataFrame) -> Points:
    """Error at each tested load of one instrument; loads off the centre are not among them."""
    return points(centred(rows), ["load_steps"], precision(rows))


def centred(rows: pd.DataFrame) -> pd.DataFrame:
    """Known loads without loads off the centre."""
    return rows[rows["check"] != "off_centre"]


def precision(rows: pd.DataFrame) -> Precision:
    """Of the known loads of one instrument; repeats pooled by df over loads and positions.

    A zero that is held at zero says little of loads: it counts only where nothing else repeats.
    """
    off = rows["check"] == "off_centre"
    cells = _cells(rows["reading_steps"], off, rows["load_steps"], rows["position"])
    loaded = [cell for (_, load, _), cell in cells.items() if load != 0]
    spread, df = 0.0, 0
    for some in (loaded, list(cells.values())):
        df = sum(len(cell) - 1 for cell in some)  # one mean a cell is taken out
        if df:
            spread = math.sqrt(sum(np.var(cell) * len(cell) for cell in some) / df)
            break
    return Precision(
        spread=spread, df=df, division=float(rows["division_steps"].iloc[0]),
        standard=float(rows["uncertainty_steps"].iloc[0]) / 2,  # expanded, k = 2
    )  # fmt: skip


def instrument_figures(session: Session, *, confidence: float) -> pd.DataFrame:
    """Of every instrument with known loads: `COLUMNS`, amounts in `unit`, codes in `note`."""
    rows = []
    for name, measure in session.measures.items():
        mine = session.known_loads[session.known_loads["measure"] == name]
        size, unit = float(measure.step.size), measure.step.unit
        for code, tested in mine.groupby("instrument", sort=True):
            of = precision(tested)
            lacks = notes_of(*unknown(of))
            for check, load, statistic, (estimate, lower, upper), n, note in _figures(
                tested, of, confidence
            ):
                why = notes_of(note, lacks if estimate == estimate else None)
                rows.append((
                    code, name, check, load * size, statistic, estimate * size, lower * size,
                    upper * size, unit, n, why,
                ))  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def unknown(of: Precision) -> Iterator[KnownLoads]:
    """What its intervals do not hold."""
    if math.isnan(of.standard):
        yield KnownLoads.EXACT
    if of.df == 0:
        yield KnownLoads.UNREPEATED


_Row = tuple[str, float, str, tuple[float, float, float], int, Note | Notes | None]
_BLANK = (np.nan, np.nan, np.nan)


def _figures(rows: pd.DataFrame, of: Precision, confidence: float) -> Iterator[_Row]:
    check = "rod" if (rows["check"] == "rod").any() else "load"
    at = centred(rows)
    found = points(at, ["load_steps"], of) if len(at) else None
    for i, load in enumerate(found.loads if found else ()):
        figure = found.figure(np.eye(len(found.loads))[i], confidence)
        yield (check if load else "zero"), load, "error", figure, int(found.n[i]), None
    if found:
        yield _linearity(check, found, confidence)
    yield from _repeats(rows, confidence)
    yield from _off_centre(rows, of, confidence)
    yield from _drift(check, rows, of, confidence)
    if check == "rod":
        yield from _joint(rows, of, confidence)


def _linearity(check: str, found: Points, confidence: float) -> _Row:
    """Largest distance of an error from the straight line through all of them."""
    m = len(found.loads)
    if m < LEAST_LOADS:
        note = TooFewLoads(tested=m, least=LEAST_LOADS)
        return check, np.nan, "linearity", _BLANK, int(found.n.sum()), note
    line = np.column_stack([np.ones(m), found.loads])
    rest = np.eye(m) - line @ np.linalg.pinv(line)
    away = rest @ found.errors
    far = int(np.abs(away).argmax())
    sign = -1.0 if away[far] < 0 else 1.0
    figure = _size(found.figure(sign * rest[far], confidence))
    return check, float(found.loads[far]), "linearity", figure, int(found.n.sum()), None


def _size(figure: tuple[float, float, float]) -> tuple[float, float, float]:
    """A figure that cannot be below zero."""
    estimate, lower, upper = figure
    return max(estimate, 0.0), max(lower, 0.0), upper


def _repeats(rows: pd.DataFrame, confidence: float) -> Iterator[_Row]:
    """SD and range of the same load, put on again and again."""
    repeated = rows[rows["check"] == "repeat"]
    groups = [(load, g) for load, g in repeated.groupby("load_steps", sort=True) if len(g) > 1]
    if not groups:
        yield "repeat", np.nan, "repeat_sd", _BLANK, len(repeated), KnownLoads.NONE_REPEATED
    for load, group in groups:
        shown = group["reading_steps"].to_numpy()
        sd = np.array([shown.std(ddof=1)])  # one mean is taken out
        lower, upper = root_chi2_interval(sd, np.array([len(shown) - 1.0]), confidence)
        note = None if sd > 0 else KnownLoads.HIDDEN
        figure = (float(sd[0]), float(lower[0]), float(upper[0]))
        yield "repeat", load, "repeat_sd", figure, len(shown), note
        # both ends of the range were rounded to a division
        rounding = group["division_steps"].iloc[0] * np.sqrt(2 / 12)
        half = special.ndtri((1 + confidence) / 2) * rounding
        span = float(np.ptp(shown))
        figure = _size((span, span - half, span + half))
        yield "repeat", load, "repeat_range", figure, len(shown), None


def _off_centre(rows: pd.DataFrame, of: Precision, confidence: float) -> Iterator[_Row]:
    """Error of a load at each position, and the largest less the smallest of them."""
    off = rows[rows["check"] == "off_centre"]
    for load, group in off.groupby("load_steps", sort=True):
        found = points(group, ["load_steps", "position"], of)
        names = sorted(group["position"].unique())
        unit = np.eye(len(names))
        for i, name in enumerate(names):
            figure = found.figure(unit[i], confidence)
            yield "off_centre", load, f"error:{name}", figure, int(found.n[i]), None
        if len(names) < 2:
            note = KnownLoads.ONE_POSITION
            yield "off_centre", load, "off_centre_spread", _BLANK, len(group), note
            continue
        order = np.argsort(found.errors, kind="stable")
        ends = unit[order[-1]] - unit[order[0]]  # two positions even where all are equal
        figure = _size(found.figure(ends, confidence))
        yield "off_centre", load, "off_centre_spread", figure, len(group), None


def _drift(check: str, rows: pd.DataFrame, of: Precision, confidence: float) -> Iterator[_Row]:
    """Error of a load at the last time less that at the first."""
    at = centred(rows[rows["taken_at"] != ""])
    when = pd.to_datetime(at["taken_at"], format="ISO8601", utc=True, errors="coerce")
    timed = at.assign(when=when)[when.notna()]
    several = timed.groupby("load_steps")["when"].transform("nunique") > 1
    for load, group in timed[several].groupby("load_steps", sort=True):
        ends = group[group["when"].isin([group["when"].min(), group["when"].max()])]
        figure = points(ends, ["load_steps", "when"], of).figure(np.array([-1.0, 1.0]), confidence)
        yield (check if load else "zero"), load, "drift", figure, len(ends), None


def _joint(rows: pd.DataFrame, of: Precision, confidence: float) -> Iterator[_Row]:
    """Mean error of rods on one side of the joint less that on the other.

    Rods that were read on both sides, where there are any; else all.
    """
    rods = rows[(rows["check"] == "rod") & (rows["position"] != "")]
    sides = sorted(rods["position"].unique())
    if len(sides) != 2:
        note = NotTwoSides(named=len(sides))
        yield "rod", np.nan, "joint", _BLANK, len(rods), note
        return
    both = rods.groupby("load_steps")["position"].transform("nunique") == 2
    used = rods[both] if both.any() else rods
    found = points(used, ["load_steps", "position"], of)
    places = sorted({*zip(used["load_steps"], used["position"], strict=True)})
    first = np.array([side == sides[0] for _, side in places])
    weights = np.where(first, 1 / first.sum(), -1 / (~first).sum())
    note = notes_of(
        SideLessSide(side=sides[0], less=sides[1]),
        None if both.any() else KnownLoads.NO_ROD_ON_BOTH_SIDES,
    )
    yield "rod", np.nan, "joint", found.figure(weights, confidence), len(used), note
