"""How many readings stand at each position, counted where the records are?

One query runs inside the engine that holds the records; only counts come out. A text reading is
understood once for each of its forms, by `intake`, before it. Counts add up over shards, months
and sites; days and squares over shards that do not split a person's day, repeated values over
shards that do not split a visit key.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from anthroqa.intake.tables.problems import Problem, SessionError, whole_file
from anthroqa.notes import Note
from anthroqa.notes.program.routine_problems import (
    Held,
    MostlyOff,
    NoMeasurer,
    OffInMonths,
    Undated,
)
from anthroqa.program.routine.counting import counts as c
from anthroqa.program.routine.counting import query
from anthroqa.program.routine.counting.engines import NUMBER, TEXT
from anthroqa.program.routine.counting.forms import all_understood, unknown_measures
from anthroqa.program.routine.counting.preview import looks_like
from anthroqa.program.routine.counting.progress import Progress, silent
from anthroqa.program.routine.counting.request import Wanted
from anthroqa.program.routine.counting.sources import Source

CLUSTERS = ("", "day")
_KIND = {
    query.OFF: c.OFF_STEP, query.MISSING: c.MISSING, query.OUT: c.OUT,
    query.UNREADABLE: c.UNREADABLE, query.ALL: c.ALL,
}  # fmt: skip
_MOST = 0.01  # share of rows without a code, a day or a month from which somebody must look
_AT_ONCE = 12_000_000  # rows that are counted by day at once, for the memory it takes
_MOSTLY = 0.5  # share of readings off the step from which the step is in doubt
_SWITCHED = 0.2  # share of a month that is a sign of another unit; common practice, no source


def tally(
    source: Source, wanted: Sequence[Wanted], *, clusters: str = "", progress: Progress = silent
) -> pd.DataFrame:
    """The counts of the records, as `tallied` gives them; raises only where there are none."""
    return tallied(source, wanted, clusters=clusters, progress=progress).counts


def tallied(
    source: Source, wanted: Sequence[Wanted], *, clusters: str = "", progress: Progress = silent
) -> c.Tally:
    """Count the readings at each position, inside the engine that holds them.

    Parameters
    ----------
    source : Source
        From `open_source`.
    wanted : sequence of Wanted
        Measures and their steps.
    clusters : str
        "day" for the number of days and the sum of squared daily counts too.
    progress : Progress
        Where to show how far it is.

    Raises
    ------
    SessionError
        Where nothing can be counted: no rows, none of the measures, a lost connection.
    ValueError
        If `clusters` is neither "" nor "day".
    """
    if clusters not in CLUSTERS:
        raise ValueError(f"clusters is 'day' or '', not {clusters!r}")
    found = _there(source, progress)
    if not len(found):
        raise SessionError([whole_file(source.name, Held.NO_ROWS)])
    column = source.columns["measure"]
    problems = unknown_measures(found, wanted, source.name, column)
    there = [one for one in wanted if one.name in set(found["measure"])]
    forms: list[query.Form] = []
    if source.kinds["reading"] == "text":
        forms, unread = all_understood(
            found.dropna(subset="written"), there, source.name, source.columns["reading"],
            decimal_comma=source.decimal_comma,
        )  # fmt: skip
        problems += unread
    if not there:
        raise SessionError(problems)
    raw = _counted(source, there, clusters, forms, progress, int(found["n"].sum()))
    counts = finished(raw, there, clusters=clusters)
    problems += _doubts(source, counts, there)
    counted = set(counts["measure"])
    measures = {one.name: one.measure for one in there if one.name in counted}
    return c.Tally(name=source.name, counts=counts, measures=measures, problems=tuple(problems))


def sql_of(source: Source, wanted: Sequence[Wanted], *, clusters: str = "") -> str:
    """The query as the source's engine gets it; forms of text readings are left open."""
    return source.in_its_words(_sql(source, wanted, clusters, [], trim=False))


def _there(source: Source, progress: Progress) -> pd.DataFrame:
    """Which measures there are, and which forms where readings are text."""
    measure = f"COALESCE(CAST({query.quoted(source.columns['measure'])} AS VARCHAR), '')"
    written, by, columns = "", "1", {"measure": TEXT, "n": NUMBER}
    if source.kinds["reading"] == "text":
        written = f"CAST({query.quoted(source.columns['reading'])} AS VARCHAR) AS written, "
        by, columns = "1, 2", {"measure": TEXT, "written": TEXT, "n": NUMBER}
    return source.ask(
        f"SELECT {measure} AS measure, {written}COUNT(*) AS n FROM {source.relation} GROUP BY {by}",
        columns, progress=progress,
    )  # fmt: skip


def _sql(
    source: Source, wanted: Sequence[Wanted], clusters: str, forms: Sequence[query.Form], *,
    trim: bool, part: int = 0, parts: int = 1,
) -> str:  # fmt: skip
    relation = source.relation
    if parts > 1:
        dated = source.kinds["taken_at"] != "text"
        relation = query.some_months(relation, source.columns["taken_at"], part, parts, dated=dated)
    return query.sql_text(
        relation, wanted, columns=source.columns, kinds=source.kinds, clusters=clusters,
        forms=forms, trim=trim,
    )  # fmt: skip


def _counted(
    source: Source, wanted: Sequence[Wanted], clusters: str, forms: Sequence[query.Form],
    progress: Progress, rows: int,
) -> pd.DataFrame:  # fmt: skip
    """What the engine counts; once more where codes have outer spaces, which is rare."""
    if source.kinds["reading"] == "text" and not forms:
        empty = query.Form(
            measure=wanted[0].name, written="", mark=query.MISSING, steps=None, on_comb=False
        )
        forms = [empty]  # a list of values cannot be empty
    numbers = query.numbers(source.columns, clusters)
    columns = dict.fromkeys(query.CODES, TEXT) | dict.fromkeys(["month", "mark", *numbers], NUMBER)
    if source.kinds["taken_at"] == "text":
        columns["month"] = TEXT

    # a database looks after its own memory, and a visit key goes through all months
    whole = source.engine != "duckdb" or not clusters or "visit_key" in source.columns
    parts = 1 if whole else min(-(-rows // _AT_ONCE), 12)

    def ask(*, trim: bool) -> pd.DataFrame:
        found = [
            source.ask(
                _sql(source, wanted, clusters, forms, trim=trim, part=part, parts=parts),
                columns, progress=progress,
            )
            for part in range(parts)
        ]  # fmt: skip
        return found[0] if parts == 1 else pd.concat(found, ignore_index=True)

    raw = ask(trim=False)
    spaced = any(
        code != code.strip(" ") for name in c.WHO for code in raw[name].astype(str).unique()
    )
    return ask(trim=True) if spaced else raw


def finished(raw: pd.DataFrame, wanted: Sequence[Wanted], *, clusters: str) -> pd.DataFrame:
    """What the engine counted, as a counts table."""
    steps = {one.name: str(one.measure.step) for one in wanted}
    combed = {one.name for one in wanted if one.comb is not None}
    cycled = {one.name for one in wanted if one.cycle is not None}
    mark = raw["mark"].to_numpy(dtype=np.int64)
    measure = raw["measure"].astype(str)
    table = pd.DataFrame({
        "site": raw["site"].astype(str), "measurer": raw["measurer"].astype(str),
        "instrument": raw["instrument"].astype(str), "measure": measure,
        "step": measure.map(steps), "kind": pd.Series(mark).map(_KIND).fillna(c.ON_MARK),
        "position": pd.array(mark, dtype="Int64"), "period": _periods(raw["month"]),
    })  # fmt: skip
    table.loc[(mark < 0) | ~measure.isin(cycled), "position"] = pd.NA
    for name in c.NUMBERS:
        if name in raw:
            table[name] = pd.array(np.rint(raw[name].to_numpy(dtype=float)), dtype="Int64")
    table.loc[~measure.isin(combed), "on_comb"] = pd.NA
    # months that are none fall together with those that have no date
    return c.in_order(table) if clusters else c.with_totals(table)


def _periods(month: pd.Series) -> pd.Series:
    """Months as text; blank for none and for what is no month."""
    if pd.api.types.is_numeric_dtype(month):
        whole = month.fillna(0).astype("int64").to_numpy()
        names = {m: f"{m // 100:04d}-{m % 100:02d}" if m else "" for m in np.unique(whole)}
        return pd.Series(whole).map(names)
    text = month.fillna("").astype(str)
    return text.where(text.str.fullmatch(r"\d{4}-(?:0[1-9]|1[0-2])"), "").reset_index(drop=True)


def _doubts(source: Source, counts: pd.DataFrame, wanted: Sequence[Wanted]) -> list[Problem]:
    """What a person should look at before believing the counts."""
    problems = c.codes_only(counts, source.name)
    total = counts[counts["kind"] == c.ALL]
    n = int(total["n"].sum())
    nobody = int(total.loc[total["measurer"] == "", "n"].sum())
    if nobody >= _MOST * n:
        problems.append(_of_column(source, "measurer", NoMeasurer(rows=nobody, of=n)))
    undated = int(total.loc[total["period"] == "", "n"].sum())
    if undated >= _MOST * n:
        problems.append(_of_column(source, "taken_at", Undated(rows=undated, of=n)))
    for one in wanted:
        own = counts[counts["measure"] == one.name]
        by_kind = own.groupby("kind")["n"].sum()
        off, on = int(by_kind.get(c.OFF_STEP, 0)), int(by_kind.get(c.ON_MARK, 0))
        if off > _MOSTLY * (off + on):
            problems.append(_of_column(source, "reading", MostlyOff(
                measure=one.name, off=off, readings=off + on, step=one.measure.step,
                likely=looks_like(source, one),
            )))  # fmt: skip
        else:
            problems += _switched(source, one, own)
    return problems


def _switched(source: Source, one: Wanted, counts: pd.DataFrame) -> list[Problem]:
    """Sites that wrote something else than this step in some months, and not in the others."""
    counts = counts[(counts["period"] != "") & ~counts["kind"].isin([c.ALL, c.MISSING])]
    other = counts["n"].where(counts["kind"].isin([c.OFF_STEP, c.OUT]), 0)
    problems = []
    by = counts.assign(other=other).groupby(["site", "period"])[["n", "other"]].sum()
    for site, months in by.groupby(level="site"):
        some = months["other"] >= _SWITCHED * months["n"]
        rest = months[~some].sum()
        if some.all() or not some.any() or rest["other"] > _SWITCHED / 4 * rest["n"]:
            continue
        there = months[some].sum()
        problems.append(_of_column(source, "reading", OffInMonths(
            site=str(site), measure=one.name, step=one.measure.step,
            months=tuple(months.index.get_level_values("period")[some]),
            off=int(there["other"]), readings=int(there["n"]), off_else=int(rest["other"]),
            readings_else=int(rest["n"]),
        )))  # fmt: skip
    return problems


def _of_column(source: Source, ours: str, code: Note) -> Problem:
    return Problem(file=source.name, row=None, column=source.columns[ours], found="", code=code)
