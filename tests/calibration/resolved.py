"""How often does the interval of `within_tem_resolved` hold the TEM, and how long is it?

Beside it the plain interval of `within_tem`, for which rounding is a part of the error.
"""

from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pandas as pd
from strategies import as_session

import anthroqa
from anthroqa.simulate import nearest

TEMS = (0.1, 0.15, 0.2, 0.3, 0.5, 1.0, 3.0)  # in steps
CONFIDENCES = (0.90, 0.95)
# how often each subject is read, and whether with a tare
DESIGNS: dict[str, tuple[tuple[int, ...], bool]] = {
    "12 pairs": ((2,) * 12, False),
    "10 pairs": ((2,) * 10, False),
    "8 triples": ((3,) * 8, False),
    "4 pairs, 3 triples, 2 fours": ((2,) * 4 + (3,) * 3 + (4,) * 2, False),
    "12 pairs with a tare": ((2,) * 12, True),
    "6 triples with a tare": ((3,) * 6, True),
}
_AT_ONCE = 250  # people who share one drawing of the tails


def session_of(n: int, design: str, tem: float, rng: np.random.Generator) -> anthroqa.Session:
    """One person a session, all as the people of one; each has subjects at places of their own."""
    often, tared = DESIGNS[design]
    shape = (n, len(often), max(often))
    child = rng.uniform(60, 160, shape[:2])[..., None]
    caregiver = rng.uniform(500, 900, shape[:2])[..., None] if tared else np.zeros((1, 1, 1))
    sd = tem / np.sqrt(2) if tared else tem
    tare = nearest(caregiver + sd * rng.normal(size=shape)) if tared else np.zeros(shape, int)
    read = nearest(child + caregiver + sd * rng.normal(size=shape))
    there = np.arange(shape[2]) < np.array(often)[None, :, None]
    person, subject, turn = np.nonzero(np.broadcast_to(there, shape))
    at = (person, subject, turn)
    readings = pd.DataFrame({
        "measurer": "P" + pd.Series(person).astype(str),
        "subject": "S" + pd.Series(subject).astype(str),
        "measure": "length", "round": turn + 1, "count": (read - tare)[at],
        "count_read": read[at], "count_tare": tare[at],
    })  # fmt: skip
    return replace(as_session({"A": [[0, 0]]}), readings=readings)


def study(
    sessions: int, seed: int, *, designs: Collection[str] = tuple(DESIGNS)
) -> pd.DataFrame:  # fmt: skip
    """Coverage and median length (in steps) by design, TEM and confidence.

    `above` and `below` are the shares of intervals that lie wholly on one side of the TEM.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for design in designs:
        for tem in TEMS:
            found: dict[float, list[pd.DataFrame]] = {c: [] for c in CONFIDENCES}
            for start in range(0, sessions, _AT_ONCE):
                drawn = session_of(min(_AT_ONCE, sessions - start), design, tem, rng)
                for confidence, tables in found.items():
                    tables.append(anthroqa.score(
                        drawn, confidence=confidence, seed=start,
                        only=["within_tem", "within_tem_resolved"],
                    ))  # fmt: skip
            rows += [_row(design, tem, c, pd.concat(tables)) for c, tables in found.items()]
    return pd.DataFrame(rows)


def _row(design: str, tem: float, confidence: float, table: pd.DataFrame) -> dict[str, object]:
    own, plain = (table[table["statistic"] == s] for s in ("within_tem_resolved", "within_tem"))

    def covered(rows: pd.DataFrame) -> float:
        return float(((rows["lower"] <= tem) & (tem <= rows["upper"])).mean())

    return {
        "design": design, "tem": tem, "confidence": confidence, "sessions": len(own),
        "covered": covered(own), "above": float((own["lower"] > tem).mean()),
        "below": float((own["upper"] < tem).mean()),
        "median_length": float((own["upper"] - own["lower"]).median()),
        "plain_covered": covered(plain),
        "plain_median_length": float((plain["upper"] - plain["lower"]).median()),
    }  # fmt: skip
