"""Who puts readings on coarse marks, by how much, and is it more than chance gives?

Said of everybody, of each site, instrument and person, for each coarse mark: the share of
readings put on it (`exclusive`), with an interval that allows for clustering (`design_effect`). A
careful reader of many children leaves positions even: that is what a share is held against. Where
the median person leans, that habit is told as the program's, and sites and people are held
against the median person's share instead (of six people judged, or more).

At two thousand readings everything is significant, so the effect decides. `named` is somebody
whose excess is five points or more, whose interval excludes none, and whose readings on the mark
are more than chance gives after Holm (1979) over everybody of that level, all measures and marks;
a second mark of theirs only where more stand on it than the first one gives. No person is named
for what an instrument does, and no place for what a person does (`places`).
`worth a look` is the same within a false-discovery rate of one in ten (Benjamini & Hochberg 1995).
The chance is that so many readings stand on the mark if the person reads as expected, on days like
those of the median person (binomial on the effective number, upper tail); that it may be the habit
of a few days only, is what the interval allows for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.intake import EVERYBODY
from anthroqa.notes import NONE, Note, Notes, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.program.routine import (
    AsEverybodyAt,
    FewReadings,
    OnlyWith,
    ReadingsConverted,
    Shares,
)
from anthroqa.program.routine.findings.combs_in_counts import conversion_rows, left_out
from anthroqa.program.routine.findings.design_effect import (
    BY_DAY,
    BY_MONTH,
    NEITHER,
    Clustering,
    clustering,
)
from anthroqa.program.routine.findings.exclusive import classes, intervals, likely, unbiased, ways
from anthroqa.program.routine.findings.groups import (
    FEWEST,
    LEVELS,
    ON_A_MARK,
    Cells,
    cells,
)
from anthroqa.program.routine.findings.places import explained, read_there, without
from anthroqa.scores.layout.cube import Array, Counts, Flags
from anthroqa.scores.layout.figures import check_confidence, join, notes
from anthroqa.scores.marks.screening import NAMED_AT, SCREENED_AT, false_discovery, holm

COLUMNS = [
    "measure", "step", "level", "who", "mark", "n", "share", "lower", "upper", "expected",
    "excess", "excess_lower", "excess_upper", "design_effect", "p_value", "adjusted", "state",
    "note",
]  # fmt: skip
NAMED, LOOK, EXPECTED, NOT_JUDGED = "named", "worth a look", "as expected", "not judged"
POINTS = 0.05  # excess share below which nobody is named; common practice, no source
BESIDE_AT = 0.01  # risk of a second mark for somebody who leans to one; no source
LEANING = 0.01  # share of the median person that makes a habit of the program; no source
TYPICAL = 6  # people judged before one of them can be called typical; common practice, no source
_ALLOWS = {
    BY_DAY: NONE, BY_MONTH: Notes((Shares.BY_MONTH,)), NEITHER: Notes((Shares.UNCLUSTERED,)),
    "": NONE,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Block:
    """One measure at one level: arrays are who x coarse marks."""

    level: str
    who: tuple[str, ...]
    n: Counts
    on: Counts  # standing on each mark
    share: Array
    unbiased: Array
    lower: Array
    upper: Array
    effect: Array  # of clustering, on their own readings
    typical_effect: Array  # as that of the median person


def audit(counts: pd.DataFrame, *, confidence: float = 0.90) -> pd.DataFrame:
    """Shares of readings put on coarse marks: of everybody, sites, instruments and people.

    Parameters
    ----------
    counts : pandas.DataFrame
        A tally of routine records.
    confidence : float, default 0.90
        Of the intervals, two-sided.

    Returns
    -------
    pandas.DataFrame
        `measure, step, level, who, mark, n, share, lower, upper, expected, excess, excess_lower,
        excess_upper, design_effect, p_value, adjusted, state, note`: one row a measure, level
        (`everybody`, `site`, `instrument`, `measurer`), name and coarse mark. `share` of the
        `n` readings is put on the mark and no coarser one; `expected` is 0, or a typical person's
        where the program leans; `state` is `named`, `worth a look`, `as expected`, or `not
        judged` with the reason in `note`. A measure without coarse marks has one row, blank.

    Raises
    ------
    ValueError
        If a column is lacking, or a measure is counted in two steps.
    """
    measures = cells(counts)
    return worded(audit_rows(measures, conversion_rows(measures), confidence=confidence))


def audit_rows(
    measures: Sequence[Cells], converted: pd.DataFrame, *, confidence: float
) -> pd.DataFrame:
    """The same, with codes in `note`; what was converted is left out."""
    check_confidence(confidence)
    if not measures:
        return pd.DataFrame(columns=COLUMNS)
    used = {c: left_out(c, converted) for c in measures}
    parts = [_of_measure(c, out, confidence) for c, out in used.items()]
    table = _states(pd.concat(parts, ignore_index=True))
    for c, out in used.items():
        table = _place_first(table, c.where(~out))
    return table[COLUMNS]


def _of_measure(c: Cells, out: Flags, confidence: float) -> pd.DataFrame:
    if c.cycle is None:
        n = c.sums["n"][c.of_kind(ON_A_MARK)].sum()
        return pd.DataFrame([{
            "measure": c.measure, "step": str(c.step), "level": LEVELS[0], "who": EVERYBODY,
            "mark": "", "n": int(n), "note": Notes((Shares.NO_WHOLE_MARK,)),
            "allows_for": "", "gone": 0, "beside": False,
        }]).reindex(columns=[*COLUMNS, "allows_for", "gone", "beside"])  # fmt: skip
    used = c.where(~out)
    how = clustering(used)
    blocks = _blocks(used, how, confidence)
    typical = _typical(blocks)
    return pd.concat([
        _table(c, block, np.zeros_like(typical) if i == 0 else typical, _gone(c, out, block), how)
        for i, block in enumerate(blocks)
    ])  # fmt: skip


def _blocks(c: Cells, how: Clustering, confidence: float) -> list[_Block]:
    """Shares and their intervals at each level where somebody has a code."""
    assert c.cycle is not None
    levels = [level for level in LEVELS if c.by(level)[0]]
    at = np.concatenate([c.positions("n", level) for level in levels])
    effect = np.concatenate([how.effects(c, level) for level in levels])
    typical = np.concatenate([how.typical(c, level) for level in levels])
    df = np.concatenate([how.df(c, level) for level in levels])
    n = classes(at, c.cycle)
    shares = likely(n, c.cycle)
    w, m = effect.shape
    each = np.repeat(np.arange(w), m)
    lower, upper = (
        end.reshape(w, m) for end in intervals(
            n[each] / effect.reshape(-1, 1), shares[each], np.tile(np.arange(1, m + 1), w),
            c.cycle, confidence, df=np.repeat(df, m),
        )
    )  # fmt: skip
    on = np.stack([at[:, ::mark].sum(axis=1) for mark in c.marks], axis=1)
    blocks, start = [], 0
    for level in levels:
        who = c.by(level)[0]
        own = slice(start, start + len(who))
        start = own.stop
        blocks.append(_Block(
            level=level, who=who, n=at[own].sum(axis=1), on=on[own], share=shares[own, 1:],
            unbiased=unbiased(n[own], c.cycle)[:, 1:], lower=lower[own], upper=upper[own],
            effect=effect[own], typical_effect=typical[own],
        ))  # fmt: skip
    return blocks


def _typical(blocks: list[_Block]) -> Array:
    """Shares of the median person, where that person leans beyond the error of a median; else 0.

    The error is that of a median of normals, 1.2533 SD / sqrt(n), SD from the median distance.
    """
    people = blocks[-1]
    own = people.unbiased[people.n >= FEWEST]
    if people.level != "measurer" or len(own) < TYPICAL:
        return np.zeros(people.share.shape[1])
    middle = np.median(own, axis=0)
    spread = np.median(np.abs(own - middle), axis=0) / special.ndtri(0.75)
    error = np.sqrt(np.pi / 2 / len(own)) * spread
    leans = (middle > special.ndtri(0.95) * error) & (middle >= LEANING)
    out = np.where(leans, middle, 0.0)
    return out / max(out.sum(), 1)


def _gone(c: Cells, out: np.ndarray, block: _Block) -> Counts:
    """Readings of each that were converted, and left out."""
    who, code = c.by(block.level)
    return c.sum("n", out & c.of_kind(ON_A_MARK), (code, len(who)))


def _table(c: Cells, block: _Block, typical: Array, gone: Counts, how: Clustering) -> pd.DataFrame:
    chance = _standing(np.r_[1 - typical.sum(), typical][None], c.cycle)
    p = _tail(block, chance, block.typical_effect)
    large = (block.share - typical >= POINTS) & (block.lower > typical)
    beside = _beside(block, np.where(large, p, np.inf), typical, c.cycle)
    p[block.n < FEWEST] = np.nan
    w, m = block.share.shape
    names = list(c.marks.values())
    flat = {
        "measure": c.measure, "step": str(c.step), "level": block.level,
        "who": np.repeat(np.array(block.who, dtype=object), m), "mark": names * w,
        "n": np.repeat(block.n, m), "share": block.share.ravel(), "lower": block.lower.ravel(),
        "upper": block.upper.ravel(), "expected": np.tile(typical, w),
        "design_effect": block.effect.ravel(), "p_value": p.ravel(),
        "beside": beside.ravel(),
    }  # fmt: skip
    table = pd.DataFrame(flat)
    for end, column in (("excess", "share"), ("excess_lower", "lower"), ("excess_upper", "upper")):
        table[end] = table[column] - table["expected"]
    blank = ["share", "lower", "upper", "expected", "design_effect"]
    table.loc[table["n"] == 0, [*blank, *(c for c in COLUMNS if c.startswith("excess"))]] = np.nan
    table["gone"] = np.repeat(gone, m)
    table["allows_for"], table["note"] = how.allows_for, [NONE] * len(table)
    return table


def _standing(shares: Array, cycle: int) -> Array:
    """Chance of standing on each coarse mark, if these are the shares (rows x ways)."""
    return shares @ ways(cycle).on[1:].T


def _tail(block: _Block, chance: Array, effect: Array) -> Array:
    """Chance of so many readings on each mark or more, on the effective number."""
    k, n = block.on / effect, block.n[:, None] / effect
    k, off = np.maximum(k, 1e-9), np.maximum(n - k + 1, 1e-9)
    return np.where(block.on > 0, special.betainc(k, off, chance), 1.0)


def _beside(block: _Block, p: Array, typical: Array, cycle: int) -> Flags:
    """Marks that somebody's strongest mark explains: not more stand there than it gives."""
    rows, top = np.arange(len(p)), p.argmin(axis=1)
    shares = np.tile(np.r_[0, typical], (len(p), 1))
    shares[rows, top + 1] = np.nan_to_num(block.share[rows, top])
    shares[:, 0] = 1 - shares[:, 1:].sum(axis=1)
    p_beside = _tail(block, np.clip(_standing(shares, cycle), 0, 1), block.effect)
    out = p_beside * p.shape[1] > BESIDE_AT
    out[rows, top] = False
    return out & np.isfinite(p.min(axis=1))[:, None]


def _states(table: pd.DataFrame) -> pd.DataFrame:
    """Adjusted for all of a level, over measures and marks; and what is said of each."""
    table = table.assign(adjusted=np.nan, state=NOT_JUDGED)
    found = np.full(len(table), np.nan)
    for level in LEVELS:
        own = (table["level"] == level).to_numpy()
        p = table.loc[own, "p_value"].to_numpy(dtype=float)
        table.loc[own, "adjusted"] = holm(p)
        found[own] = false_discovery(p)
    judged = table["p_value"].notna()
    large = (table["excess"] >= POINTS) & (table["excess_lower"] > 0)
    beside = table["beside"].astype(bool)
    told = large & ~beside
    table["state"] = np.select(
        [~judged, told & (table["adjusted"] <= NAMED_AT), told & (found <= SCREENED_AT)],
        [NOT_JUDGED, NAMED, LOOK], EXPECTED,
    )  # fmt: skip
    small = judged & (table["adjusted"] <= NAMED_AT) & ~large & (table["excess_lower"] > 0)
    few = ~judged & (table["n"] > 0) & ~table["note"].map(bool)
    nothing = ~judged & (table["n"] == 0) & ~(table["gone"] > 0)
    held = judged & (table["expected"] > 0)
    other = judged & large & beside & (table["adjusted"] <= NAMED_AT)
    gone = [Notes((ReadingsConverted(readings=int(n)),)) if n > 0 else NONE for n in table["gone"]]
    table["note"] = join(
        table["note"].to_numpy(dtype=object),
        *(notes(len(table), (where.to_numpy(dtype=bool), note)) for where, note in (
            (few, FewReadings(least=FEWEST)), (nothing, Shares.NO_READING),
            (small, Shares.SMALL), (other, Shares.OTHER_MARK), (held, Shares.TYPICAL),
        )),
        np.array(gone, dtype=object), table["allows_for"].map(_ALLOWS).to_numpy(dtype=object),
    )  # fmt: skip
    return table


def _place_first(table: pd.DataFrame, c: Cells) -> pd.DataFrame:
    """Nobody is named for what all do at a named instrument, nor all for what some do."""
    named = (table["measure"] == c.measure) & (table["state"] == NAMED)
    if c.cycle is None or not named.any():
        return table
    table = table.copy()
    for who, mark, place in explained(c, table[named], POINTS):
        own = (table["level"] == "measurer") & (table["who"] == who) & (table["mark"] == mark)
        _restate(table, table.index[named & own], LOOK, AsEverybodyAt(place=place))
    staff = table[(table["measure"] == c.measure) & (table["level"] == "measurer")]
    for row in table[named & (table["level"] == LEVELS[0])].itertuples():
        judged = staff[(staff["mark"] == row.mark) & (staff["state"] != NOT_JUDGED)]
        if len(judged) >= TYPICAL and judged["expected"].max() < POINTS:
            _restate(table, [row.Index], LOOK, Shares.NOT_OF_ALL)
    people = staff[staff["state"] == NAMED]
    for row in table[named & table["level"].isin(["site", "instrument"])].itertuples():
        there = read_there(c, row, set(people.loc[people["mark"] == row.mark, "who"]))
        if there and without(c, row, there) - row.expected < POINTS:
            _restate(table, [row.Index], EXPECTED, OnlyWith(people=tuple(there)))
    return table


def _restate(table: pd.DataFrame, rows: Sequence[int], state: str, why: Note) -> None:
    """Another state, and why, in a table of one's own."""
    table.loc[rows, "state"] = state
    table.loc[rows, "note"] = [notes_of(why, n) for n in table.loc[rows, "note"]]
