"""What came with a change of share: another instrument, or a change of the whole site?

Looked up in the counts; nothing is estimated here.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from anthroqa.notes import Note, Notes, notes_of
from anthroqa.notes.program.routine import AsSites, Behind, FirstUsed, LastUsed
from anthroqa.program.routine.findings.groups import Cells, Codes

COMB, OFF_STEP, NOT_READINGS = "converted", "off step", "not a reading"
_WHAT = {
    COMB: Behind.UNIT_SWITCHED, OFF_STEP: Behind.OTHER_STEP, NOT_READINGS: Behind.NO_READINGS,
}  # fmt: skip


def looked_up(told: pd.DataFrame, measures: Mapping[str, Cells]) -> list[Notes]:
    """What came with each change of `measure, level, who, mark, period`."""
    sites = told[told["level"] == "site"]
    out = []
    for row in told.itertuples():
        found: list[Note] = [_WHAT.get(row.mark, Behind.OTHER_INSTRUMENT)]
        c = measures[row.measure]
        own = _cells_of(c, row.level, row.who)
        if row.level != "everybody":
            found += _instruments(c, own, row.period)
        same = sites[(sites["measure"] == row.measure) & (sites["mark"] == row.mark)
                       & (sites["period"] == row.period)]  # fmt: skip
        if row.level in ("everybody", "measurer"):
            there = tuple(w for w in same["who"] if (own & _cells_of(c, "site", w)).any())
            found += [AsSites(sites=there)] if there else []
        out.append(notes_of(*found))
    return out


def _cells_of(c: Cells, level: str, who: str) -> np.ndarray:
    names, code = c.by(level)
    return code == names.index(who)


def _instruments(c: Cells, own: np.ndarray, period: str) -> list[Note]:
    """Instruments first, or last, read at the change."""
    names, code = c.by("instrument")
    late = np.array([p >= period for p in c.names["period"]])[c.codes["period"]]
    after, before = _used(code, own & late), _used(code, own & ~late)
    found: list[Note] = []
    if after - before and before:
        found.append(FirstUsed(instruments=tuple(names[i] for i in sorted(after - before))))
    if before - after and after:
        found.append(LastUsed(instruments=tuple(names[i] for i in sorted(before - after))))
    return found


def _used(code: Codes, own: np.ndarray) -> set[int]:
    return {int(i) for i in np.unique(code[own]) if i >= 0}
