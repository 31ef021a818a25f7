"""What do months, conversions and repeated values of drawn programs say where truth is known?

Counts are drawn position by position, without single readings: a person's month has a share put
on the mark that differs from month to month, so that months are wider than a binomial.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from anthroqa.program.routine.findings.combs_in_counts import by_chance, converted
from anthroqa.program.routine.findings.groups import step_of
from anthroqa.program.routine.findings.months import changes
from anthroqa.program.routine.findings.repetition import ALIKE, repeated

STAFF, SITES = 40, 4


@dataclass(frozen=True, kw_only=True)
class Year:
    """A kind of program over months."""

    name: str
    months: int = 12
    readings: int = 40  # of a person in a month, about
    habit: float = 0.05  # share put on the whole mark, on average
    rho: float = 0.0  # of months of one person
    step: str = "1 oz"
    new_scale: float = 0.0  # share more on the whole mark from the middle on, in site C0
    new_habit: float = 0.0  # the same of person P001
    converted: str = ""  # site C0: `all`, or `late` from the middle on
    repeats: float = 0.1  # share of followed readings that are the same
    spread: float = 0.0  # SD of that between staff
    carried: float = 0.0  # share more of person P001


YEARS = (
    Year(name="steady"),
    Year(name="habits that differ by month", rho=0.05),
    Year(name="few months", months=4, readings=100, rho=0.05),
    Year(name="two years", months=24, readings=80, rho=0.02),
    Year(name="new scale in one site", new_scale=0.15, rho=0.02),
    Year(name="new habit of one person", new_habit=0.3, rho=0.02),
    Year(name="a converted site", converted="all", rho=0.02),
    Year(name="a unit switched in one site", converted="late", rho=0.02),
    Year(name="a converted site, 1/8 in", converted="all", rho=0.02, step="1/8 in"),
    Year(name="a converted site, 0.1 kg", converted="all", rho=0.02, step="0.1 kg"),
    Year(name="leaners in metric, 0.1 cm", rho=0.05, step="0.1 cm", habit=0.3),
    Year(name="repeats that differ", spread=0.03),
    Year(name="values carried over", spread=0.02, carried=0.2),
)


def one(year: Year, rng: np.random.Generator) -> pd.DataFrame:
    """The counts of one program."""
    step = step_of(year.step)
    cycle = step.cycle()
    person, month = np.indices((STAFF, year.months)).reshape(2, -1)
    site = person % SITES
    late = month >= year.months // 2
    share = year.habit + np.where((site == 0) & late, year.new_scale, 0)
    share = share + np.where((person == 1) & late, year.new_habit, 0)
    if year.rho:
        k = (1 - year.rho) / year.rho
        share = rng.beta(share * k, (1 - share) * k)
    chance = (1 - share)[:, None] / cycle + share[:, None] * (np.arange(cycle) == 0)
    n = rng.multinomial(rng.poisson(year.readings, len(person)), chance)
    comb = np.array(by_chance(step, cycle))
    whole = (site == 0) & (late if year.converted == "late" else bool(year.converted))
    on = np.where(whole[:, None], n, rng.binomial(n, comb))
    own = np.clip(rng.normal(year.repeats, year.spread, STAFF), 0.005, 1)
    own[1] += year.carried
    followed = rng.binomial(n, 0.6)
    same = rng.binomial(followed, own[person][:, None])
    cell, position = (at.ravel() for at in np.indices(n.shape))
    table = pd.DataFrame({
        "site": np.char.add("C", site[cell].astype(str)),
        "measurer": np.char.add("P", np.char.zfill(person[cell].astype(str), 3)),
        "instrument": "", "measure": "weight", "step": year.step, "kind": "on a mark",
        "position": position, "n": n.ravel(), "on_comb": on.ravel(),
        "period": np.char.add("m", np.char.zfill(month[cell].astype(str), 2)),
        "followed": followed.ravel(), "same": same.ravel(),
    })  # fmt: skip
    key = ["site", "measurer", "instrument", "measure", "step", "period"]
    every = table.groupby(key, sort=False)["n"].sum().reset_index().assign(kind="all")
    return pd.concat([table[table["n"] > 0], every], ignore_index=True)


def study(programs: int, seed: int, *, kinds: Sequence[Year] = YEARS) -> pd.DataFrame:
    """Shares of programs in which something is said, by kind.

    `changed`: the planted change of share is found within a month; `false`: any other change is
    told (the staff of a site with a new scale do change). `converted`: the site that is
    converted is found; `false_comb`: any other, or a person. `carried`: the person is found;
    `alike`: anybody else.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for kind in kinds:
        found = pd.DataFrame([_judged(one(kind, rng), kind) for _ in range(programs)])
        rows.append({"program": kind.name, **found.mean().to_dict()})
    return pd.DataFrame(rows)


def _judged(counts: pd.DataFrame, kind: Year) -> dict[str, float]:
    told = changes(counts, confidence=0.90)
    level, who = ("site", "C0") if kind.new_scale or kind.converted else ("measurer", "P001")
    staff = [f"P{i:03d}" for i in range(0, STAFF, SITES)]
    near = (told["period"].str[1:].astype(int) - kind.months // 2).abs() <= 1
    mine = (told["level"] == level) & (told["who"] == who)
    planted = mine | (told["level"] == "everybody")
    if level == "site":
        planted |= (told["level"] == "measurer") & told["who"].isin(staff)
    change = kind.new_scale or kind.new_habit or kind.converted == "late"
    combs = converted(counts)
    here = (combs["site"] == "C0") & (combs["measurer"] == "")
    alike = repeated(counts, confidence=0.90)
    alike = alike[(alike["state"] == ALIKE) & (alike["level"] == "measurer")]
    return {
        "changed": float((mine & near).any()) if change else np.nan,
        "false": float((~planted if change else told["who"] != "").any()),
        "converted": float(here.any()) if kind.converted else np.nan,
        "false_comb": float((~here if kind.converted else combs["site"] != "").any()),
        "carried": float((alike["who"] == "P001").any()) if kind.carried else np.nan,
        "alike": float((alike["who"] != "P001" if kind.carried else alike["who"] != "").any()),
    }  # fmt: skip


def short(kind: Year, **changed: object) -> Year:
    """A smaller program of the same kind."""
    return replace(kind, **changed)
