"""Which readings of a site were converted from another unit before they were written?

The tally counts, at each position, the readings that stand on marks which a reading of the other
system gives (`scores/marks/combs.py`: the finest of these combs that leaves gaps; every coarser
one is nearly inside it). By chance as many stand there as the comb has marks at that position
over a long range, so that a person who leans to some positions is no comb. The tail is that of a
binomial with the mean of these chances, which is not below that of the sum (Hoeffding 1956, Ann.
Math. Stat. 27:713-721, from memory). A group is named where that is at most 1 in 1000 after all
that were looked at, nearly every reading is on the comb, and at least half of those that should
be off it are missing. Where a whole group is not, the months before or after each month are
looked at too, the likeliest of them: a unit may be switched.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.intake.written.steps import Step
from anthroqa.notes import NONE, Notes
from anthroqa.notes.cells import worded
from anthroqa.notes.program.routine import Comb
from anthroqa.program.routine.findings.groups import ON_A_MARK, Cells, cells
from anthroqa.scores.layout.cube import Array, Counts, Flags
from anthroqa.scores.marks.combs import RISK, STRAYS, leaves_gaps, on_comb

COLUMNS = [
    "measure", "step", "site", "instrument", "measurer", "period", "source", "n", "on",
    "expected", "p_value", "note",
]  # fmt: skip
_KINDS = ("site", "code", "measurer")  # `code` is that of the instrument as it stands
_LONG = 20_000  # steps at each position over which a comb is counted
_LEAST = 20  # readings before a group is looked at; common practice, no source


@lru_cache(maxsize=32)
def by_chance(step: Step, cycle: int) -> tuple[float, ...]:
    """Share of the marks at each position that are on the comb, over a long range."""
    found = leaves_gaps(step)
    assert found is not None
    x = np.arange(_LONG * cycle, dtype=np.int64)
    return tuple(on_comb(x, found[1]).reshape(-1, cycle).mean(axis=0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Groups:
    """Readings of some groups by month: how many, on the comb, and expected there."""

    key: list[tuple[str, str, str]]  # site, instrument, measurer
    n: Counts  # groups x periods
    on: Counts
    expected: Array


def converted(counts: pd.DataFrame) -> pd.DataFrame:
    """Sites, instruments and people whose readings were converted before they were written.

    Parameters
    ----------
    counts : pandas.DataFrame
        A tally with the column `on_comb`; without it nothing is found.

    Returns
    -------
    pandas.DataFrame
        `measure, step, site, instrument, measurer, period, source, n, on, expected, p_value,
        note`: one row a finding. `measurer` is blank where it is everybody at that instrument.
        `period` is blank where it is all of them, else from the first to the last; `source` is
        what was likely read, or a coarser mark of that unit; `expected` the share that would be
        on its comb by chance; `p_value` is after all that were looked at.

    Raises
    ------
    ValueError
        If a column is lacking.
    """
    return worded(conversion_rows(cells(counts)))


def conversion_rows(measures: Iterable[Cells]) -> pd.DataFrame:
    """The same, with codes in `note`."""
    return pd.DataFrame([row for c in measures for row in _of_measure(c)], columns=COLUMNS)


def _of_measure(c: Cells) -> list[dict[str, object]]:
    if "on_comb" not in c.sums or c.cycle is None or leaves_gaps(c.step) is None:
        return []
    places = _groups(c, people=False)
    found = _found(c, places)
    whole = {(row["site"], row["instrument"]) for row in found if not row["period"]}
    people = _groups(c, people=True)
    if len(people.key) == len(places.key):
        return found
    # a person at a converted place is not named beside it
    keep = np.array([key[:2] not in whole for key in people.key], dtype=bool)
    partly = {(row["site"], row["instrument"]) for row in found}
    own = _Groups(
        key=[key for key, kept in zip(people.key, keep, strict=True) if kept], n=people.n[keep],
        on=people.on[keep], expected=people.expected[keep],
    )  # fmt: skip
    return found + [row for row in _found(c, own) if (row["site"], row["instrument"]) not in partly]


def _groups(c: Cells, *, people: bool) -> _Groups:
    """Everybody at each site and instrument, or each person there."""
    kinds = _KINDS[: 3 if people else 2]
    flat = np.zeros(len(c.sums["n"]), dtype=np.int64)
    for kind in kinds:
        flat = flat * len(c.names[kind]) + c.codes[kind]
    marks = c.of_kind(ON_A_MARK)
    groups, code = np.unique(flat[marks], return_inverse=True)
    own = c.where(marks)
    keys = []
    for number in groups:
        names: list[str] = []
        for kind in reversed(kinds):
            number, at = divmod(int(number), len(c.names[kind]))
            names.insert(0, c.names[kind][at])
        keys.append((*names, *[""] * (3 - len(names))))
    shape = ((code, len(groups)), (own.codes["period"], len(c.names["period"])))
    every = np.ones(len(code), dtype=bool)
    at = own.sum("n", every, *shape, (own.sums["position"], c.cycle))
    return _Groups(
        key=keys, n=at.sum(axis=2), on=own.sum("on_comb", every, *shape),
        expected=at @ np.array(by_chance(c.step, c.cycle)),
    )  # fmt: skip


def _found(c: Cells, groups: _Groups) -> list[dict[str, object]]:
    """A row for each group that is on the comb, at all times or from or up to some period."""
    if not groups.key:
        return []
    periods = list(c.names["period"])
    n, on, expected = (np.cumsum(a, axis=1) for a in (groups.n, groups.on, groups.expected))
    last = len(periods) - 1
    spans: list[tuple[int, int]] = [(0, last)]
    dated = 1 if periods and periods[0] == "" else 0
    spans += [(k, last) for k in range(dated + 1, last + 1)]
    spans += [(dated, k) for k in range(dated, last)]
    tests = len(groups.key) * len(spans)
    rows = []
    done = np.zeros(len(groups.key), dtype=bool)
    source = str(leaves_gaps(c.step)[0])
    best: dict[int, tuple[float, tuple[int, int], float]] = {}
    for first, end in spans:
        of, hit, chance = (_span(a, first, end) for a in (n, on, expected))
        p = tail(hit, of, chance) * tests
        sure = (p <= RISK) & nearly_all(hit, of, chance) & (of >= _LEAST) & ~done
        fit = _likelier(hit, of, chance)
        for i in np.flatnonzero(sure):
            done[i] = (first, end) == (0, last)
            if i not in best or fit[i] > best[i][0]:
                best[i] = (float(fit[i]), (first, end), float(p[i]))
    for i, (_, (first, end), p) in sorted(best.items()):
        site, instrument, measurer = groups.key[i]
        size, hit, chance = (float(_span(a, first, end)[i]) for a in (n, on, expected))
        seen = np.flatnonzero(groups.n[i, first : end + 1]) + first
        whole = (first, end) == (0, last)
        said = "" if whole else _from_to(periods[seen[0]], periods[seen[-1]])
        rows.append({
            "measure": c.measure, "step": str(c.step), "site": site, "instrument": instrument,
            "measurer": measurer, "period": said, "source": source, "n": int(size),
            "on": int(hit), "expected": chance / size, "p_value": min(p, 1.0),
            "note": NONE if whole else Notes((Comb.SWITCHED,)),
        })  # fmt: skip
    return rows


def _span(sums: Array, first: int, end: int) -> Array:
    return sums[:, end] - (sums[:, first - 1] if first else 0)


def _from_to(first: str, last: str) -> str:
    start, end = first.partition("..")[0], last.rpartition("..")[2]
    return start if start == end else f"{start}..{end}"


def tail(on: Array | Counts, n: Array | Counts, expected: Array) -> Array:
    """Chance of so many on the comb or more, each position by its own chance."""
    p = expected / np.maximum(n, 1)
    on = np.asarray(on, dtype=float)
    return np.where(on > 0, special.betainc(np.maximum(on, 1), n - on + 1, p), 1.0)


def _likelier(on: Array | Counts, n: Array | Counts, expected: Array) -> Array:
    """Log likelihood ratio of nearly all on the comb, a few astray, over chance."""
    p = np.clip(expected / np.maximum(n, 1), 1e-9, 1 - 1e-9)
    return on * np.log((1 - STRAYS) / p) + (n - on) * np.log(STRAYS / (1 - p))


def nearly_all(on: Array | Counts, n: Array | Counts, expected: Array) -> Flags:
    """Whether few are off it, and half or fewer of those that chance would put there."""
    off = n - on
    return (off <= STRAYS * n) & (2 * off <= n - expected) & (n > 0)


def left_out(c: Cells, found: pd.DataFrame) -> Flags:
    """Which cells of a measure were converted: they say nothing of marks."""
    out = np.zeros(len(c.sums["n"]), dtype=bool)
    periods = np.array(c.names["period"])
    for row in found[found["measure"] == c.measure].itertuples():
        own = np.ones(len(out), dtype=bool)
        for kind, name in zip(_KINDS, (row.site, row.instrument, row.measurer), strict=True):
            if kind != "measurer" or name:
                own &= c.codes[kind] == c.names[kind].index(name)
        if row.period:
            start, _, end = row.period.partition("..")
            inside = (periods >= start) & (periods <= (end or start) + "~")
            own &= inside[c.codes["period"]]
        out |= own
    return out
