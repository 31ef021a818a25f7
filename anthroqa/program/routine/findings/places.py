"""Is it the scale, board or site that leans, or the people who read there?

A scale that shows every second ounce makes everybody lean who reads it. Where an instrument (a
site, if instruments have no codes) is named for a mark, two people or more have enough readings
there, and the share of each of them is at least half of that of all, the instrument comes first:
a person whose readings elsewhere do not lean five points is not named for it. The other way round,
a site or an instrument is not named for what the people named for that mark do there. Rules of
ours.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

import numpy as np
import pandas as pd

from anthroqa.program.routine.findings.exclusive import classes, likely
from anthroqa.program.routine.findings.groups import FEWEST, ON_A_MARK, Cells
from anthroqa.scores.layout.cube import Array, Counts

HALF = 0.5  # of the share of all there; common practice, no source


def explained(c: Cells, named: pd.DataFrame, points: float) -> Iterator[tuple[str, str, str]]:
    """Person, mark and place, where a place that is named explains what a person does.

    `named` are rows of the audit of this measure: `level, who, mark, share`, of instruments and
    sites.
    """
    kind = "instrument" if c.by("instrument")[0] else "site"
    places, place = c.by(kind)
    people, person = c.by("measurer")
    on = c.of_kind(ON_A_MARK)
    assert c.cycle is not None
    shape = (person, len(people)), (c.sums["position"], c.cycle)
    every = c.sum("n", on, *shape)
    for row in named[named["level"] == kind].itertuples():
        here = c.sum("n", on & (place == places.index(row.who)), *shape)
        j = list(c.marks.values()).index(row.mark) + 1
        share, elsewhere = _share(here, j, c.cycle), _share(every - here, j, c.cycle)
        enough = here.sum(axis=1) >= FEWEST
        if enough.sum() < 2 or (share[enough] < HALF * row.share).any():
            continue
        free = (every - here).sum(axis=1) < FEWEST
        for i in np.flatnonzero(enough & (free | (elsewhere < points))):
            yield people[i], row.mark, row.who


def without(c: Cells, row: Any, people: Collection[str]) -> float:
    """The share of a place on a mark without some people; NaN where few readings are left."""
    assert c.cycle is not None
    names, place = c.by(row.level)
    staff, person = c.by("measurer")
    others = ~np.isin(person, [staff.index(who) for who in people])
    keep = c.of_kind(ON_A_MARK) & (place == names.index(row.who)) & others
    at = c.sum("n", keep, (c.sums["position"], c.cycle))[None]
    if at.sum() < FEWEST:
        return np.nan
    return float(_share(at, list(c.marks.values()).index(row.mark) + 1, c.cycle)[0])


def read_there(c: Cells, row: Any, people: Collection[str]) -> list[str]:
    """Which of some people have readings at a place, in the order of their codes."""
    names, place = c.by(row.level)
    staff, person = c.by("measurer")
    own = c.of_kind(ON_A_MARK) & (place == names.index(row.who))
    n = c.sum("n", own, (person, len(staff)))
    return [who for who, k in zip(staff, n, strict=True) if k and who in people]


def _share(at: Counts, way: int, cycle: int) -> Array:
    return np.nan_to_num(likely(classes(at, cycle), cycle)[:, way])
