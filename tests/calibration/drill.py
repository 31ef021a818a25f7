"""How often is a reader's mark and displacement found, and does the interval cover?

Drawn drills of 24 settings, the readers' habits known. `python tests/calibration/drill.py`
prints the whole study.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pandas as pd

import anthroqa
from anthroqa.intake.written.steps import Step
from anthroqa.scores.drill import read_back
from anthroqa.simulate.drills import Reader, read, settings

INSTRUMENTS = {  # step, steps in a whole mark, marks that people read
    "board, in": (Step(Fraction(1, 8), "in"), 8, (1, 2, 4)),
    "board, cm": (Step(Fraction(1, 10), "cm"), 10, (1, 5)),
    "beam": (Step(Fraction(1, 4), "lb"), 4, (1, 2, 4)),
}
SHIFTS = (0.0, -0.5, 0.5, -1.0, 1.0)
_FINDING = {
    0.0: read_back.NEAREST, -0.5: read_back.HALF_LOW, 0.5: read_back.HALF_HIGH, -1.0: read_back.LOW,
    1.0: read_back.HIGH,
}  # fmt: skip
_AT_ONCE = 40  # drills in one session, each on settings of its own


def habits() -> list[tuple[str, Reader]]:
    """Every instrument with every habit that is studied."""
    return [
        (name, Reader(mark=mark, shift=shift, error=0.2, backwards=back))
        for name, (_, cycle, marks) in INSTRUMENTS.items()
        for mark in marks
        for shift in SHIFTS
        for back in ([False, True] if mark == 1 and shift == 0 and cycle > 2 else [False])
    ]


def drills(
    instrument: str, reader: Reader, n: int, rng: np.random.Generator, *, n_settings: int = 24
) -> anthroqa.Session:
    """`n` people of one habit, each with settings of their own."""
    step, cycle, _ = INSTRUMENTS[instrument]
    amounts = [settings(step, cycle, low=15, high=45, rng=rng, n=n_settings) for _ in range(n)]
    true = np.array([[float(a / step.size) for a in row] for row in amounts])
    counts = read(true, reader, cycle, rng=rng)
    person, subject = np.indices(true.shape).reshape(2, -1)
    codes = [f"S{p}-{s}" for p, s in zip(person, subject, strict=True)]
    frame = pd.DataFrame({"measurer": "P", "subject": "S", "measure": "m", "round": [1],
                          "reading": "1"})  # fmt: skip
    empty = anthroqa.Session.from_frame(frame, measures={"m": {"recorded_to": str(step)}})
    return replace(
        empty, exercise="drill",
        readings=pd.DataFrame({
            "measurer": [f"P{p:04d}" for p in person], "subject": codes, "measure": "m",
            "round": 1, "count": counts.ravel(),
        }),
        true_values=pd.DataFrame({
            "subject": codes, "measure": "m", "true": "", "steps": true.ravel(),
        }),
    )  # fmt: skip


def study(sessions: int, seed: int, *, confidence: float = 0.90) -> pd.DataFrame:
    """What is found in `sessions` drills of each habit, a row a habit.

    `right`: mark, side and displacement are those planted; `wrong`: another mark or side, or
    another displacement, is named (undecided is neither); `covered`: of the displacements of
    the mark planted, those whose interval holds the truth; `judged`: how many those are.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for instrument, reader in habits():
        tables = [
            read_back.marks(drills(instrument, reader, n, rng), confidence=confidence)
            for n in _batches(sessions)
        ]
        found = pd.concat(tables, ignore_index=True)
        side = (found["finding"] == read_back.WRONG_SIDE) == reader.backwards
        same = (found["mark_steps"] == reader.mark).fillna(False).astype(bool) & side
        wanted = read_back.WRONG_SIDE if reader.backwards else _FINDING[reader.shift]
        right = same & (found["finding"] == wanted)
        if reader.backwards:  # the displacement is in the table and in no finding
            right &= found["lower"].ge(-0.25) & found["upper"].le(0.25)
        judged = found[same & found["lower"].notna()]
        inside = (judged["lower"] <= reader.shift) & (reader.shift <= judged["upper"])
        rows.append({
            "instrument": instrument, "mark": reader.mark, "shift": reader.shift,
            "wrong_side": reader.backwards, "drills": len(found), "right": right.mean(),
            "wrong": (~same & (found["finding"] != read_back.UNDECIDED) | same & ~right
                      & ~found["finding"].isin([read_back.UNDECIDED, wanted])).mean(),
            "judged": len(judged), "covered": inside.mean(),
        })  # fmt: skip
    return pd.DataFrame(rows)


def _batches(sessions: int) -> list[int]:
    full, rest = divmod(sessions, _AT_ONCE)
    return [_AT_ONCE] * full + ([rest] if rest else [])


if __name__ == "__main__":
    sys.stdout.write(study(600, 20261030).to_string(index=False, float_format="{:.3f}".format))
