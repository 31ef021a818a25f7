"""Does a shift between rounds that everybody shares change who is within a limit?

Each session is drawn twice from the same noise: as it is, and with one TEM added to everybody's
readings of round 2 before they are read to the step. A step that is not much finer than the TEM
reads other numbers off the second session, whatever is done about the shift; `reread` is what
the same amount added to *every* round changes, which is nobody's shift at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pandas as pd
from strategies import as_session

import anthroqa
from anthroqa.simulate import draw, nearest

ONLY = [
    "within_tem", "within_tem_resolved", "within_tem_less_shift", "round_shift", "bias",
    "bias_from_others",
]  # fmt: skip
TEMS = (3.0, 1.0, 0.8, 0.3)  # in steps
LIMITS = ("0.67", "1", "1.5", "2")  # in TEMs, of repeatability and of bias
SIZES = ((5, 10, 2), (5, 12, 2), (5, 20, 2), (8, 10, 2), (8, 12, 2), (8, 20, 2), (5, 10, 3))
SHIFT = 1.0  # in TEMs
_AT_ONCE = 50  # sessions that share one drawing of the tails


def as_measures(counts: np.ndarray) -> anthroqa.Session:
    """Sessions (x people x subjects x rounds) as measures of one; LEAD is the reference."""
    who = np.array(["LEAD", *(f"P{i}" for i in range(1, counts.shape[1]))])
    at, person, subject, turn = np.indices(counts.shape).reshape(4, -1)
    readings = pd.DataFrame({
        "measurer": who[person], "subject": "S" + pd.Series(subject).astype(str),
        "measure": "m" + pd.Series(at).astype(str), "round": turn + 1, "count": counts.reshape(-1),
    })  # fmt: skip
    one = as_session({"LEAD": [[0, 0]]}, reference="LEAD")
    (measure,) = one.measures.values()
    names = [f"m{i}" for i in range(len(counts))]
    return replace(one, readings=readings, measures={n: replace(measure, name=n) for n in names})


def decided(
    session: anthroqa.Session, tem: float, *, seed: int, limits: Sequence[str] = LIMITS
) -> pd.DataFrame:
    """The findings of a session on its staff at each limit (in millimetres: steps)."""
    scores = anthroqa.score(session, only=ONLY, seed=seed)
    found = []
    for limit in limits:
        amount = Fraction(limit) * Fraction(str(tem))
        measures = {
            n: replace(m, limit_tem=amount, limit_bias=amount, limit_source="drawn")
            for n, m in session.measures.items()
        }
        found.append(anthroqa.decide(scores, replace(session, measures=measures)).assign(at=limit))
    table = pd.concat(found)
    return table[table["measurer"] != "LEAD"]


def drawn(
    n: int, tem: float, staff: int, subjects: int, rounds: int, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    """Counts of the same noise as it is, with a shift of round 2, and moved as a whole."""
    plain, shifted, moved = [], [], []
    turn = np.zeros(rounds)
    turn[1] = SHIFT * tem
    for _ in range(n):
        bias = np.r_[0.0, 0.5 * tem * rng.normal(size=staff)]
        true = rng.uniform(500, 900, subjects)
        values = draw(true, tem=[tem] * (staff + 1), bias=bias, shift=np.zeros(rounds), rng=rng)
        plain.append(nearest(values))
        shifted.append(nearest(values + turn))
        moved.append(nearest(values + SHIFT * tem))
    return {"plain": np.array(plain), "shifted": np.array(shifted), "reread": np.array(moved)}


def study(
    sessions: int, seed: int, *, tems: Sequence[float] = TEMS,
    sizes: Sequence[tuple[int, int, int]] = SIZES, limits: Sequence[str] = LIMITS,
) -> pd.DataFrame:  # fmt: skip
    """Shares of staff with another state by design and limit, and how often intervals hold.

    `repeatability` and `bias` are shares of the other state with the shift, `either` of staff
    with one of both; `reread` is `either` with the whole session moved. `above_*` and `below_*`
    are shares of the intervals judged on that lie wholly on one side of the TEM.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for tem in tems:
        for size in sizes:
            parts = [
                _compared(drawn(min(_AT_ONCE, sessions - i), tem, *size, rng), tem, i, limits)
                for i in range(0, sessions, _AT_ONCE)
            ]
            table = pd.concat(parts).groupby("limit", sort=False).mean().reset_index()
            table.insert(0, "design", f"{size[0]} staff, {size[1]} x {size[2]}")
            table.insert(0, "tem", tem)
            rows.append(table)
    return pd.concat(rows, ignore_index=True)


def _compared(
    counts: dict[str, np.ndarray], tem: float, seed: int, limits: Sequence[str]
) -> pd.DataFrame:
    key = ["at", "measure", "measurer", "question"]
    found = {
        name: decided(as_measures(block), tem, seed=seed, limits=limits).set_index(key)
        for name, block in counts.items()
    }
    rows = []
    for limit in limits:
        at = {name: table.loc[limit] for name, table in found.items()}
        moved, reread = (at["plain"]["state"] != at[n]["state"] for n in ("shifted", "reread"))
        row: dict[str, object] = {"limit": limit}
        row |= moved.groupby("question", sort=False).mean()
        for name, differs in (("either", moved), ("reread", reread)):
            row[name] = float(differs.groupby(["measure", "measurer"]).any().mean())
        for name in ("plain", "shifted"):
            own = at[name].xs("repeatability", level="question")
            row[f"above_{name}"] = float((own["lower"] > tem).mean())
            row[f"below_{name}"] = float((own["upper"] < tem).mean())
        rows.append(row)
    return pd.DataFrame(rows)
