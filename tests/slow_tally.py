"""A tally in plain Python: one loop over the rows, fractions instead of floats."""

import math
from collections import Counter, defaultdict
from fractions import Fraction

import numpy as np
import pandas as pd

STEPS = {"weight": (Fraction(1), 16), "length": (Fraction(1, 8), 8), "kilos": (Fraction(1, 10), 10)}
RECORDED_TO = {"weight": "1 oz", "length": "1/8 in", "kilos": "0.1 kg"}
RANGES = {"weight": "3 lb to 45 lb", "length": "10 in to 50 in"}
ENDS = {"weight": (48, 720), "length": (80, 400), "kilos": (0, 10**9)}
TEETH = {  # a mark of the other system, in steps: 0.05 kg, 1/2 cm, 1/4 lb
    "weight": Fraction(5, 100) / Fraction(45359237, 10**8) * 16,
    "length": Fraction(1, 2) / Fraction(254, 100) * 8,
    "kilos": Fraction(45359237, 10**8) / 4 * 10,
}


def place(measure: str, reading: float) -> tuple[str, int | None, int | None]:
    """Kind, position and steps of a number."""
    if reading is None or math.isnan(reading) or math.isinf(reading):
        return "missing", None, None
    size, cycle = STEPS[measure]
    steps = Fraction(reading) / size
    low, high = ENDS[measure]
    if steps < low - Fraction(1, 100) or steps > high + Fraction(1, 100):
        return "out of range", None, None
    whole = round(steps)
    if abs(steps - whole) > Fraction(1, 100):
        return "off step", None, None
    return "on a mark", whole % cycle, whole


def on_comb(measure: str, steps: int) -> bool:
    """Whether a multiple of the other mark is within half a step."""
    tooth = TEETH[measure]
    below = math.floor(steps / tooth)
    return any(abs(steps - m * tooth) <= Fraction(1, 2) for m in (below, below + 1))


def slow_tally(rows: pd.DataFrame, *, days: bool, visits: bool = False) -> dict:
    """Numbers by key: (site, measurer, instrument, measure, kind, position, period)."""
    n, comb, followed, same = Counter(), Counter(), Counter(), Counter()
    daily = defaultdict(Counter)
    last: dict = {}
    codes = ["site", "measurer", "instrument"]
    blank = rows.assign(**{code: rows[code].fillna("") for code in codes})
    order = blank.sort_values(["taken_at", "reading", *codes], na_position="last")
    for row in order.itertuples():
        kind, position, steps = place(row.measure, row.reading)
        dated = not pd.isna(row.taken_at)
        period = f"{row.taken_at:%Y-%m}" if dated else ""
        day = row.taken_at.date() if dated else None
        who = (row.site, row.measurer, row.instrument, row.measure)
        keys = [(*who, kind, position, period), (*who, "all", None, period)]
        before = None
        if visits and steps is not None and dated and not pd.isna(row.visit_key):
            before = last.get((row.visit_key, row.measure))
            last[row.visit_key, row.measure] = steps
        for key in keys:
            n[key] += 1
            comb[key] += steps is not None and on_comb(row.measure, steps)
            daily[key][day] += 1
            followed[key] += before is not None
            same[key] += before is not None and before == steps
    out = {}
    for key in n:
        numbers = [n[key], comb[key]]
        if days:
            numbers += [len(daily[key]), sum(m * m for m in daily[key].values())]
        out[key] = [*numbers, *((followed[key], same[key]) if visits else ())]
    return out


def as_mapping(counts: pd.DataFrame) -> dict:
    """A counts table in the form of `slow_tally`."""
    names = ["n", "on_comb", "days", "squares", "followed", "same"]
    names = [name for name in names if name in counts]
    out = {}
    for row in counts.to_dict(orient="records"):
        position = None if pd.isna(row["position"]) else int(row["position"])
        key = tuple(row[c] for c in ("site", "measurer", "instrument", "measure", "kind"))
        key = (*key, position, row["period"])
        assert key not in out
        out[key] = [int(row[name]) for name in names]
    return out


def drawn_rows(seed: int, size: int, *, visits: bool = False) -> pd.DataFrame:
    """Rows as a database may hold them: numbers in the step's unit, with all that goes wrong."""
    rng = np.random.default_rng(seed)
    measure = rng.choice(list(STEPS), size)
    steps = np.where(measure == "weight", rng.integers(40, 730, size), rng.integers(70, 410, size))
    den = np.select([measure == "weight", measure == "length"], [1, 8], 10)
    reading = steps / den
    strange = rng.random(size)
    reading = np.where(strange < 0.03, reading + 0.013, reading)
    reading = np.where((strange > 0.03) & (strange < 0.05), reading + 0.5 / den, reading)
    reading = np.where((strange > 0.05) & (strange < 0.07), -reading, reading)
    reading = np.where((strange > 0.07) & (strange < 0.09), np.nan, reading)
    reading = np.where((strange > 0.09) & (strange < 0.10), np.inf, reading)
    reading = np.where((strange > 0.10) & (strange < 0.11), 1e12, reading)
    hours = pd.to_timedelta(rng.integers(0, 70 * 24, size), unit="h")
    taken = pd.Series(pd.Timestamp("2025-12-20") + hours).dt.as_unit("us")
    taken[rng.random(size) < 0.03] = pd.NaT
    site = rng.choice(np.array(["A", "B", None], dtype=object), size)
    frame = pd.DataFrame({
        "site": site, "measurer": rng.choice(["K1", "K2", "K3"], size),
        "instrument": rng.choice(["s1", "s2"], size), "measure": measure, "reading": reading,
        "taken_at": taken,
    })  # fmt: skip
    if visits:
        child = rng.choice(np.array([*"pqrstuvw", None], dtype=object), size)
        frame["visit_key"] = child
        often = rng.random(size) < 0.5  # repeated values
        frame.loc[often, "reading"] = np.where(measure == "length", 24.375, 100.0)[often]
    return frame
