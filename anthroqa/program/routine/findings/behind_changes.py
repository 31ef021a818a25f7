"""What came with a change of share: another instrument, or a change of the whole clinic?

Looked up in the counts; nothing is estimated here.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from anthroqa.program.routine.findings.groups import Cells, Codes, first_said

COMB, OFF_STEP, NOT_READINGS = "converted", "off step", "not a reading"
_WORDS = {
    COMB: "readings may have been converted on one side: a unit was switched",
    OFF_STEP: "another step, or another unit, on one side",
    NOT_READINGS: "missing, out of range or unreadable",
}
_ELSE = "another scale or board, another habit, or other staff"


def notes(told: pd.DataFrame, measures: Mapping[str, Cells]) -> list[str]:
    """A note for each change of `measure, level, who, mark, period`."""
    clinics = told[told["level"] == "clinic"]
    out = []
    for row in told.itertuples():
        said = [_WORDS.get(row.mark, _ELSE)]
        c = measures[row.measure]
        own = _cells_of(c, row.level, row.who)
        if row.level != "everybody":
            said += _instruments(c, own, row.period)
        same = clinics[(clinics["measure"] == row.measure) & (clinics["mark"] == row.mark)
                       & (clinics["period"] == row.period)]  # fmt: skip
        if row.level in ("everybody", "measurer"):
            there = [w for w in same["who"] if (own & _cells_of(c, "clinic", w)).any()]
            said += [f"as clinic {first_said(there)} did"] if there else []
        out.append("; ".join(said))
    return out


def _cells_of(c: Cells, level: str, who: str) -> np.ndarray:
    names, code = c.by(level)
    return code == names.index(who)


def _instruments(c: Cells, own: np.ndarray, period: str) -> list[str]:
    """Instruments first, or last, read at the change."""
    names, code = c.by("instrument")
    late = np.array([p >= period for p in c.names["period"]])[c.codes["period"]]
    after, before = _used(code, own & late), _used(code, own & ~late)
    said = []
    if after - before and before:
        said.append(f"{first_said(names[i] for i in sorted(after - before))} from then on")
    if before - after and after:
        said.append(f"{first_said(names[i] for i in sorted(before - after))} until then")
    return said


def _used(code: Codes, own: np.ndarray) -> set[int]:
    return {int(i) for i in np.unique(code[own]) if i >= 0}
