"""Slips planted one a session: how often far, how often the right kind first, how often by chance.

Seven staff read twelve subjects twice.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
import pandas as pd
from calibration.planting import PLANTS, SHEETS, Planted, Session, count_of, key, repeat_sd

import anthroqa
from anthroqa.intake.written.grammar import as_written
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.odd.expectation import expected


def planted(sessions: int, seed: int, *, plants: Collection[tuple] = PLANTS) -> pd.DataFrame:
    """One row a planted reading: how far in repeat SDs, whether far, what it is consistent with."""
    rows = []
    for number, (words, names, plant) in enumerate(plants):
        rng = np.random.default_rng([seed, number])
        done = 0
        while done < sessions:
            session = Session(names, rng)
            name = names[0]
            meant = session.net[name].copy()
            where = plant(session, name)
            if where is None:
                continue
            try:
                built = session.build()
            except anthroqa.SessionError:
                continue  # intake refuses it: it is told there
            done += 1
            rows += _judged(built, words, name, meant, where, done)
    return pd.DataFrame(rows)


def _judged(
    session: anthroqa.Session, words: str, name: str, meant: np.ndarray, where: Planted, n: int
) -> list[dict[str, object]]:
    table = anthroqa.slips(session)
    keys = ["measure", "measurer", "subject", "round"]
    told = {k: list(g["consistent_with"]) for k, g in table.groupby(keys)}
    first = {k: g.iloc[0] for k, g in table.groupby(keys)}
    counts = session.readings.set_index(keys)["count"]
    sheet = SHEETS[name]
    sd = repeat_sd(sheet)
    rows = []
    for at in where:
        size = abs(counts[key(name, at)] - meant[at]) / sd
        kinds = told.get(key(name, at), [])
        rows.append({
            "kind": words, "measure": name, "session": n, "size": size, "far": bool(kinds),
            "first": bool(kinds) and kinds[0] == words, "listed": words in kinds,
            "told": kinds[0] if kinds else "not far",
            "chance": first[key(name, at)]["chance"] if kinds else np.nan,
            "others": len(told) - sum(key(name, w) in told for w in where),
        })  # fmt: skip
    return rows


def study(sessions: int, seed: int) -> pd.DataFrame:
    """One row a kind and measure: shares far by size, and how often the right kind stands first."""
    rows = planted(sessions, seed)
    large = rows["size"] >= 6
    found = rows[large & rows["far"]]
    by = ["kind", "measure"]
    table = pd.DataFrame({
        "readings": rows.groupby(by, sort=False).size(),
        "median_size": rows.groupby(by, sort=False)["size"].median(),
        "from_6_far": rows[large].groupby(by)["far"].mean(),
        "from_9_far": rows[rows["size"] >= 9].groupby(by)["far"].mean(),
        "right_first": found.groupby(by)["first"].mean(),
        "right_listed": found.groupby(by)["listed"].mean(),
        "chance": found.groupby(by)["chance"].mean(),
    })  # fmt: skip
    return table.reset_index()


def by_size(sessions: int, seed: int) -> pd.DataFrame:
    """Share of readings far that were moved by so many repeat SDs, by measure."""
    rows = []
    for number, (name, sheet) in enumerate(SHEETS.items()):
        rng = np.random.default_rng([seed, number])
        sd = repeat_sd(sheet)
        for size in (6, 7, 9, 12):
            far = 0
            for _ in range(sessions):
                session = Session([name], rng)
                at = session.anywhere(name)
                steps = int(np.ceil(size * sd)) * int(rng.choice([-1, 1]))
                count = count_of(session.texts[name][at], sheet.mark) + steps
                session.texts[name][at] = as_written(count, sheet.mark)
                far += bool(expected(next(cubes(session.build()))).far[at])
            rows.append({"measure": name, "repeat_sds": size, "far": far / sessions})
    table = pd.DataFrame(rows)
    wide = table.pivot_table(index="measure", columns="repeat_sds", values="far")
    return wide.reset_index()


HONEST: Mapping[str, dict[str, float]] = {
    "seven staff": {},
    "four staff": {"staff": 4},
    "one person's repeat error 2.5 times": {"widest": 2.5},
    "the same, four staff": {"widest": 2.5, "staff": 4},
    "one person 2 TEM high": {"biased": 2.0},
    "a quarter of the subjects twice as hard": {"unequal": 2.0},
    "no second round": {"missing": 1.0},
    "a third of second readings missing": {"missing": 0.3},
}


def honest(sessions: int, seed: int) -> pd.DataFrame:
    """False flags in 20 sessions a measure, by design."""
    rows = []
    for number, (words, how) in enumerate(HONEST.items()):
        rng = np.random.default_rng([seed, number])
        for name in SHEETS:
            flags = 0
            for _ in range(sessions):
                for cube in cubes(Session([name], rng, **how).build()):
                    flags += int(expected(cube).far.sum())
            rows.append({"design": words, "measure": name, "flags_in_20": 20 * flags / sessions})
    table = pd.DataFrame(rows).pivot_table(index="design", columns="measure", values="flags_in_20")
    return table.loc[list(HONEST), list(SHEETS)].reset_index()


def random_errors(sessions: int, seed: int, *, most: float = 40.0) -> pd.DataFrame:
    """Gross errors of any size up to so many spreads: the share explained, and the rate printed."""
    rows = []
    for number, name in enumerate(SHEETS):
        rng = np.random.default_rng([seed, number])
        explained, printed = [], []
        while len(explained) < sessions:
            session = Session([name], rng)
            at, step = session.anywhere(name), SHEETS[name].mark
            cube = next(cubes(session.build()))
            of = expected(cube)
            spread, limit = of.spread[at], of.limit[at]
            off = rng.uniform(limit, most * spread) * rng.choice([-1, 1])
            count = round(of.value[at] + off)
            if count <= 0:
                continue
            gross = count + int(cube.tare[at])
            session.texts[name][at] = as_written(gross, step)
            table = anthroqa.slips(session.build())
            mine = table[(table["measurer"] == f"P{at[0]}") & (table["round"] == at[2] + 1)
                         & (table["subject"] == f"S{at[1]:02d}")]  # fmt: skip
            if len(mine):
                explained.append(mine["consistent_with"].iloc[0] != "")
                printed.append(mine["chance"].iloc[0])
        rows.append({"measure": name, "errors": sessions, "explained": np.mean(explained),
                     "printed": np.mean(printed)})  # fmt: skip
    return pd.DataFrame(rows)
