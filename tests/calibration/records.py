"""What do the statistics of routine records say of drawn programs whose truth is known?

Staff read children on days; a day of somebody who leans has its own share of readings put on the
mark. Only counts are given to the audit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from anthroqa.program.routine.findings.groups import step_of
from anthroqa.program.routine.findings.shares_of_marks import LOOK, NAMED, audit
from anthroqa.scores.marks.combs import leaves_gaps, on_comb


@dataclass(frozen=True, kw_only=True)
class Staff:
    """Readings of one measure before they are counted, one entry a reading."""

    who: np.ndarray
    x: np.ndarray  # in steps
    day: np.ndarray
    site: np.ndarray
    period: np.ndarray


def drawn(
    rng: np.random.Generator,
    shares: np.ndarray,
    *,
    mark: int,
    readings: int = 150,
    days: int = 25,
    rho: float = 0.0,
    sites: int = 4,
    months: int = 2,
    centre: float = 320.0,
    spread: float = 80.0,
) -> Staff:
    """Readings of staff who put such shares of them on a mark; `rho` between days of a leaner.

    The share of a day is beta distributed about the person's with intra-day correlation `rho`.
    """
    n = len(shares) * readings
    who = np.repeat(np.arange(len(shares)), readings)
    day = rng.integers(0, days, n)
    own = np.broadcast_to(shares[:, None], (len(shares), days)).astype(float)
    if rho:
        k = (1 - rho) / rho
        mean = np.clip(own, 1e-9, 1 - 1e-9)
        own = np.where(own > 0, rng.beta(mean * k, (1 - mean) * k), 0.0)
    true = np.maximum(rng.normal(centre, spread, n), 20)
    leans = rng.random(n) < own[who, day]
    x = np.where(leans, np.round(true / mark) * mark, np.round(true)).astype(np.int64)
    return Staff(who=who, x=x, day=day, site=who % sites, period=day * months // days)


def counted(
    staff: Staff, step: str, *, measure: str = "weight", days: bool = True, comb: bool = False
) -> pd.DataFrame:
    """The tally of readings that all stand on a mark."""
    at = step_of(step)
    cell = (staff.site * 1000 + staff.who) * 100 + staff.period
    teeth = leaves_gaps(at) if comb else None
    on = on_comb(staff.x, teeth[1]) if teeth else np.zeros(len(staff.x), dtype=bool)
    own = _summed(cell * 100 + staff.x % at.cycle(), staff.day, on)
    every = _summed(cell * 100, staff.day, on)
    table = pd.concat([own.assign(kind="on a mark"), every.assign(kind="all")], ignore_index=True)
    key = table.pop("key").to_numpy()
    cell = key // 100
    table = table.assign(
        site=np.char.add("C", (cell // 100_000).astype(str)),
        measurer=np.char.add("P", np.char.zfill((cell // 100 % 1000).astype(str), 3)),
        instrument="", measure=measure, step=step,
        period=np.char.add("2026-", np.char.zfill((cell % 100 + 1).astype(str), 2)),
        position=np.where(table["kind"] == "all", np.nan, key % 100),
    )  # fmt: skip
    left = [] if days else ["days", "squares"]
    return table.drop(columns=left if comb else [*left, "on_comb"])


def _summed(key: np.ndarray, day: np.ndarray, on: np.ndarray) -> pd.DataFrame:
    """Readings, days, squared daily counts and readings on the comb, by key."""
    pairs, which, n = np.unique(key * 1000 + day, return_inverse=True, return_counts=True)
    keys, start = np.unique(pairs // 1000, return_index=True)
    combs = np.bincount(which, weights=on).astype(np.int64)
    return pd.DataFrame({
        "key": keys, "n": np.add.reduceat(n, start), "on_comb": np.add.reduceat(combs, start),
        "days": np.diff(np.append(start, len(pairs))), "squares": np.add.reduceat(n**2, start),
    })  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Program:
    """A kind of program: 40 staff, 150 readings each in 25 days, some of whom lean."""

    name: str
    step: str = "1 oz"
    mark: str = "1 lb"
    planted: float = 0.15
    leaners: int = 3
    rho: float = 0.0  # of a leaner's days
    all_lean: float = 0.0
    days: bool = True  # are days counted?
    readings: int = 150


PROGRAMS = (
    Program(name="days alike"),
    Program(name="days differ", rho=0.1),
    Program(name="days differ much", rho=0.3),
    Program(name="days differ, not counted", rho=0.1, days=False),
    Program(name="days differ, 1/4 lb", step="1/4 lb", mark="1 lb", rho=0.1),
    Program(name="days differ, 1/8 in", step="1/8 in", mark="1/2 in", rho=0.1, planted=0.3),
    Program(name="days differ, 0.1 kg", step="0.1 kg", mark="0.5 kg", rho=0.1),
    Program(name="nobody leans", leaners=0),
    Program(name="everybody leans a little", all_lean=0.05, rho=0.1),
    Program(name="everybody leans", all_lean=0.15, rho=0.3),
    Program(name="2,000 readings each", readings=2000, rho=0.1),
    Program(name="2,000 readings, three at 3 %", readings=2000, planted=0.03, rho=0.1),
)
STAFF = 40


def one(program: Program, rng: np.random.Generator) -> pd.DataFrame:
    """The counts of one program; the first of the staff are those who lean."""
    step = step_of(program.step)
    mark = next(m for m, name in step.coarse_marks().items() if name == program.mark)
    shares = np.full(STAFF, program.all_lean)
    shares[: program.leaners] += program.planted
    staff = drawn(
        rng, shares, mark=mark, readings=program.readings, rho=program.rho, centre=100.0 * mark,
        spread=20.0 * mark,
    )  # fmt: skip
    return counted(staff, program.step, days=program.days)


def study(programs: int, seed: int, *, kinds: Sequence[Program] = PROGRAMS) -> pd.DataFrame:
    """How often leaners are named and somebody honest is, by kind of program.

    `found`: share of leaners named, by whatever mark; `right`: on the planted mark. `honest`:
    share of programs in which somebody else is named; `looked_at`: worth a look. `sites`: in
    which a site is. `covered`: intervals (0.90) of the planted mark that hold a leaner's share;
    `covered_honest`: of all others on it; `effect`: mean design effect there.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for kind in kinds:
        found = []
        for _ in range(programs):
            table = audit(one(kind, rng), confidence=0.90)
            found.append(_judged(table, kind))
        rows.append({"program": kind.name, **pd.DataFrame(found).mean().to_dict()})
    return pd.DataFrame(rows)


def _judged(table: pd.DataFrame, kind: Program) -> dict[str, float]:
    people = table[table["level"] == "measurer"]
    lean = people["who"].str[1:].astype(int) < kind.leaners
    named, here = people["state"] == NAMED, people["mark"] == kind.mark
    truth = np.where(lean, kind.planted, 0) + kind.all_lean
    held = (people["lower"] <= truth) & (truth <= people["upper"])
    who = people.loc[named & lean, "who"].nunique()
    return {
        "found": who / max(kind.leaners, 1) if kind.leaners else np.nan,
        "right": (named & lean & here).sum() / kind.leaners if kind.leaners else np.nan,
        "wrong_mark": float((named & lean & ~here).any()),
        "honest": float((named & ~lean).any()),
        "looked_at": float(((people["state"] == LOOK) & ~lean).any()),
        "sites": float(((table["level"] == "site") & (table["state"] == NAMED)).any()),
        "covered": held[lean & here].mean(), "covered_honest": held[~lean & here].mean(),
        "effect": people.loc[here, "design_effect"].mean(),
    }  # fmt: skip
