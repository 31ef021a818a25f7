"""What is in a table of counts, how are counts added, and which may leave?

Counts hold no reading and no child: for each site, measurer, instrument, measure and month, how
many readings stood at each position between two whole marks. Every column of numbers is a sum, so
that shards, months and sites are added cell by cell: `days` and `squares` (the sum of the squared
daily counts) over shards that do not split a person's day, `followed` and `same` over shards that
do not split a visit key.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from anthroqa.intake import Measure
from anthroqa.intake.tables.personal import looks_like_a_name
from anthroqa.intake.tables.problems import Problem
from anthroqa.notes.program.routine_problems import LikeNames

ON_MARK, OFF_STEP, MISSING, OUT, UNREADABLE, ALL = (
    "on a mark", "off step", "missing", "out of range", "unreadable", "all",
)  # fmt: skip
KINDS = (ON_MARK, OFF_STEP, MISSING, OUT, UNREADABLE, ALL)
WHO = ["site", "measurer", "instrument"]
ONCE_SITE = "clinic"  # what the column `site` was called before
KEY = [*WHO, "measure", "step", "kind", "position", "period"]
NUMBERS = ["n", "days", "squares", "on_comb", "followed", "same"]
COLUMNS = [*KEY, *NUMBERS]
OPTIONAL = NUMBERS[1:]
OF_A_TOTAL = [name for name in KEY if name not in ("kind", "position")]
FEWEST = 50  # readings of a person and measure that a period holds; a program's own rule
_ORDER = ["measure", "step", *WHO, "period", "kind", "position"]
_LAST = 1_000_000  # in the order: where there is no position
_ROOM = 2**62
FORMULA = ("=", "+", "-", "@")  # what begins one in a spreadsheet
_BETWEEN = ".."  # the first and the last month of a longer period


@dataclass(frozen=True, kw_only=True, eq=False)
class Tally:
    """Counts of routine records, what needs attention in them, and where they are from."""

    name: str  # of the source, without a path or a password
    counts: pd.DataFrame
    measures: Mapping[str, Measure]  # that were counted
    problems: tuple[Problem, ...] = ()
    inputs: Mapping[str, str] = field(default_factory=dict)  # name -> sha256
    options: Mapping[str, str] = field(default_factory=dict)  # how they were counted


def merged(parts: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Counts of several shards, months or sites added cell by cell, in the order of their keys.

    A column that one of them lacks (days, say) cannot be added and is left out.
    """
    tables = [part for part in parts if len(part)]
    if not tables:
        return pd.DataFrame(columns=[*KEY, "n"])
    table = tables[0] if len(tables) == 1 else pd.concat(tables, ignore_index=True)
    return added(table, KEY, [name for name in NUMBERS if all(name in t for t in tables)])


def added(table: pd.DataFrame, key: Sequence[str], numbers: Sequence[str]) -> pd.DataFrame:
    """Numbers summed over rows of one key, in the order of a counts file; blanks stay blank."""
    order = sorted(key, key=_ORDER.index)
    codes = np.zeros(len(table), dtype=np.int64)
    room = 1  # codes are below it
    for name in order:
        code, n = _coded(table[name])
        if room * n >= _ROOM:
            codes = np.unique(codes, return_inverse=True)[1].reshape(-1)
            room = int(codes.max(initial=0)) + 1
        codes, room = codes * n + code, room * n
    rows = np.argsort(codes, kind="stable")
    codes = codes[rows]
    first = np.flatnonzero(np.diff(codes, prepend=codes[:1] - 1))
    found = table.iloc[rows[first]][[name for name in KEY if name in key]].reset_index(drop=True)
    for name in numbers:
        number = pd.array(table[name], dtype="Int64")[rows]
        blank = np.asarray(number.isna())
        sums = np.add.reduceat(number.to_numpy(dtype=np.int64, na_value=0), first)
        found[name] = pd.array(sums, dtype="Int64")
        found.loc[np.logical_and.reduceat(blank, first), name] = pd.NA
    place = found.get("position", pd.NA)
    found["position"] = pd.Series(place, index=found.index, dtype="Int64")
    return found.astype({"n": "int64"})


def _coded(column: pd.Series) -> tuple[npt.NDArray[np.int64], int]:
    """A column as numbers in the order of a counts file, and how many there are."""
    if column.name == "position":
        code = pd.array(column, dtype="Int64").to_numpy(dtype=np.int64, na_value=_LAST)
        return code, _LAST + 1
    code, names = pd.factorize(column, sort=False)
    rank = KINDS.index if column.name == "kind" else sorted(names).index
    places = np.array([rank(name) for name in names], dtype=np.int64)
    return places[code], len(KINDS) if column.name == "kind" else len(names)


def in_order(table: pd.DataFrame) -> pd.DataFrame:
    """Rows and columns in the order of a counts file, numbers whole."""
    return added(table, KEY, [name for name in NUMBERS if name in table])


def with_totals(table: pd.DataFrame) -> pd.DataFrame:
    """The counts with a row `all` for each of their totals; days do not add up over kinds."""
    parts = table[table["kind"] != ALL]
    numbers = [name for name in NUMBERS if name in table and name not in ("days", "squares")]
    total = added(parts, OF_A_TOTAL, numbers).assign(kind=ALL)
    return in_order(pd.concat([parts, total], ignore_index=True))


def for_others(counts: pd.DataFrame, *, fewest: int = FEWEST) -> pd.DataFrame:
    """Counts that may leave: periods put together until each person and measure has `fewest`.

    Neighbouring months are merged; what is left over at the end joins the period before it, and
    a person with fewer readings in all has one period. A few readings without a date go with the
    last period. Single positions are never hidden: that would destroy what the counts are for.
    Splits by site and instrument stay, and so does every sum.

    Parameters
    ----------
    counts : pandas.DataFrame
        Counts with their totals.
    fewest : int, default 50
        Readings of a measurer, measure and period; US federal practice hides counts below 11 (from
        memory), and a test of positions needs more.
    """
    if fewest < 1:
        raise ValueError("fewest must be 1 at least")
    total = counts[counts["kind"] == ALL].groupby(["measurer", "measure", "period"])["n"].sum()
    renamed: dict[tuple[str, str, str], str] = {}
    for (measurer, measure), months in total.groupby(level=[0, 1]):
        n = dict(zip(months.index.get_level_values(2), months, strict=True))
        for members in _neighbours(n, fewest):
            name = _span(members)
            renamed |= {(measurer, measure, month): name for month in members}
    keys = pd.MultiIndex.from_frame(counts[["measurer", "measure", "period"]])
    codes, unique = keys.factorize()
    names = pd.Series([renamed[key] for key in unique], dtype=object)
    return merged([counts.assign(period=names.to_numpy()[codes])])


def _span(members: list[str]) -> str:
    """One name for several periods; those without a date do not show in it."""
    dated = [m for m in members if m]
    if not dated:
        return ""
    first = min(m.split(_BETWEEN)[0] for m in dated)
    last = max(m.split(_BETWEEN)[-1] for m in dated)
    return first if first == last else f"{first}{_BETWEEN}{last}"


def _neighbours(n: dict[str, int], fewest: int) -> list[list[str]]:
    """Periods put together, in their order, until each group has `fewest`."""
    groups: list[list[str]] = []
    held = fewest  # what the last group holds; the first period begins a new one
    for period in sorted(n, key=lambda p: (not p, p)):  # without a date last
        if held >= fewest and (period or n[period] >= fewest or not groups):
            groups.append([])
            held = 0
        groups[-1].append(period)
        held += n[period]
    if len(groups) > 1 and held < fewest:
        left_over = groups.pop()
        groups[-1] += left_over
    return groups


def codes_only(counts: pd.DataFrame, file: str) -> list[Problem]:
    """A problem where codes look like people's names; the names are not repeated."""
    like = [code for code in counts["measurer"].unique() if looks_like_a_name(str(code))]
    if not like:
        return []
    return [
        Problem(file=file, row=None, column="measurer", found="", code=LikeNames(codes=len(like)))
    ]


def counts_text(counts: pd.DataFrame) -> str:
    """The counts as the text of a CSV file, the same for the same counts.

    A code that would start a formula in a spreadsheet gets an apostrophe, which reading takes off.
    """
    table = in_order(counts)
    for name in [*WHO, "measure"]:
        codes, unique = pd.factorize(table[name])
        safe = [f"'{code}" if str(code).startswith(FORMULA) else code for code in unique]
        table[name] = pd.Series(safe, dtype=object).to_numpy()[codes]
    return table.to_csv(index=False, lineterminator="\n")
