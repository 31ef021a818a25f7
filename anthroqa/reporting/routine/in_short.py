"""What does a manager need of routine records in ten seconds, and what comes before acting?

Everything said is a row of a table of `program`; a name needs both a size and a test.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from typing import Any

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.notes import Notes, notes_of
from anthroqa.notes.program.routine import AsEverybodyAt, ReadingsConverted, Shares
from anthroqa.program.routine.audited import RoutineAudit
from anthroqa.program.routine.counting.counts import (
    ALL,
    MISSING,
    OFF_STEP,
    ON_MARK,
    OUT,
    UNREADABLE,
    Tally,
)
from anthroqa.program.routine.findings.groups import FEWEST, Cells
from anthroqa.program.routine.findings.repetition import ALIKE
from anthroqa.program.routine.findings.shares_of_marks import LOOK, NAMED, NOT_JUDGED
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, paragraph
from anthroqa.reporting.page.wording import label, listed, sentence
from anthroqa.reporting.routine import words
from anthroqa.reporting.routine.made_from import title
from anthroqa.reporting.routine.words import INSTRUMENT, PERSON, PROGRAM, SITE, counted
from anthroqa.scores.marks.screening import NAMED_AT

_CONVERTED = notes_of(Shares.CONVERTED_SEE_ABOVE)
_TOLD = 12  # findings told one by one; of more only how many there are of a kind


def opening(records: RoutineAudit) -> Html:
    """Who leans to which marks, and what to look at before a person."""
    tally = records.tally
    audit, changes = (_in_order(tally, rows) for rows in (records.audit, records.changes))
    return Html(
        heading(title(tally), 1),
        _facts(tally),
        heading("In short", 2),
        *_problems(tally),
        *_leaning(records, audit),
        *_said(
            "The program's own habit, for which nobody is named:", named(level(audit, PROGRAM)),
            lambda row: words.leaning(row, tally.measures[row.measure]),
            lambda row: words.of_marks(row, tally.measures[row.measure]), "audit.csv",
        ),
        *_said(
            "Written after a conversion, and left out of what is said of marks:",
            records.conversions, words.converted, words.of_unit, "conversions.csv",
        ),
        *_said(
            "Something changed (a new scale or board, a new habit, other staff):",
            _changed_places(changes),
            lambda row: words.changed(row, tally.measures[row.measure]),
            lambda row: words.of_change(row, tally.measures[row.measure]), "changes.csv",
        ),
        *_changed_people(changes),
        *_repeated(records.repeated),
        *_no_readings(tally),
        *_unjudged(audit),
        paragraph(
            "Readings that stand on coarse marks are a habit of reading, of an instrument or of a "
            "form, and no sign of dishonesty. Look at the scale, the board and the way of writing "
            "first; then the result goes to the person before it goes to anybody else. These "
            "records tell what was written, and not what a child weighed: blind second readings "
            "of about 30 children per site and quarter turn a suspicion into a figure. No child "
            "is reclassified by this page. Local protocol and licensed practice decide.",
            lead="Before you act.",
        ),
    )  # fmt: skip


def _facts(tally: Tally) -> str:
    counts = tally.counts
    dated = sorted(set(counts["period"]) - {""})
    first, last = (dated[0].split("..")[0], dated[-1].split("..")[-1]) if dated else ("", "")
    when = f"{words.periods(first if first == last else f'{first}..{last}')}: " if dated else ""
    places = [
        counted(n, noun, words.PLURAL[noun])
        for noun in (SITE, INSTRUMENT)
        if (n := len(set(counts[noun]) - {""}))
    ]
    where = f" in {listed(places)}" if places else ""
    return paragraph(
        f"{when}{counted(words.total(counts, ALL), 'record')} of "
        f"{counted(counts['measure'].nunique(), 'measure')} by "
        f"{counted(counts['measurer'].nunique(), 'person', 'people')}{where}; "
        f"{words.total(counts, ON_MARK):,} hold a reading on a mark. The page is made from counts "
        "of them: no single reading is in it."
    )


def _problems(tally: Tally) -> Iterator[str]:
    if tally.problems:
        yield paragraph("what is sound is shown all the same.", lead="The records need attention:")
        yield bullets(str(p) for p in tally.problems[:SOME])
        yield from cut(tally.problems, "problems")


def _in_order(tally: Tally, rows: pd.DataFrame) -> pd.DataFrame:
    """The rows with measures in the order in which they were asked for."""
    order = {name: i for i, name in enumerate(tally.measures)}
    return rows.sort_values("measure", key=lambda names: names.map(order), kind="stable")


def named(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows of the audit with a name."""
    return rows[rows["state"] == NAMED]


def level(rows: pd.DataFrame, *levels: str) -> pd.DataFrame:
    """The rows of people, sites or instruments."""
    return rows[rows["level"].isin(levels)]


def _among(rows: pd.DataFrame, keys: Collection[tuple[str, ...]]) -> pd.Series:
    """Which rows are among some keys."""
    told = [key in keys for key in rows.itertuples(index=False, name=None)]
    return pd.Series(told, index=rows.index, dtype=bool)


def _said(
    lead: str, rows: pd.DataFrame, say: Callable[[Any], str], kind: Callable[[Any], str], file: str
) -> Iterator[str]:
    """A line for each row; where they are many, how many there are of a kind."""
    if rows.empty:
        return
    yield paragraph("", lead=lead)
    yield from _lines(rows, say, kind, file)


def _lines(
    rows: pd.DataFrame, say: Callable[[Any], str], kind: Callable[[Any], str], file: str
) -> Iterator[str]:
    if len(rows) <= _TOLD:
        yield bullets(f"{sentence(say(row))}." for row in rows.itertuples())
        return
    kinds = Counter(kind(row) for row in rows.itertuples())
    yield bullets(f"{sentence(what)}: {n:,}." for what, n in kinds.items())
    yield paragraph(f"Each is in {file}.")


def _leaning(records: RoutineAudit, audit: pd.DataFrame) -> Iterator[str]:
    """Who leans; then the instruments and sites at which everybody is on the same marks."""
    measures = records.tally.measures
    people = level(audit, PERSON)
    found, look = named(people), people[people["state"] == LOOK]
    whys = [note.first(AsEverybodyAt) for note in look["note"]]
    explained = look.assign(place=[why.place if why else "" for why in whys])
    others = look.loc[explained["place"] == "", "who"].nunique()
    judged = people.loc[people["state"] != NOT_JUDGED, "who"].nunique()
    more = (
        f" {counted(others, 'person', 'people')} more may be worth a look, see below."
        if others else ""
    )  # fmt: skip
    yield paragraph(
        f"{found['who'].nunique() or 'nobody'} of the {counted(judged, 'person', 'people')} who "
        f"could be judged.{more}",
        lead="Lean to coarse marks:",
    )
    yield from _lines(
        found,
        lambda row: words.leaning(row, measures[row.measure]),
        lambda row: words.of_marks(row, measures[row.measure]),
        "audit.csv",
    )
    yield from _said(
        "An instrument or a site leans, so look there before at people:",
        _places(audit, records.cells), lambda row: _place(row, explained, measures),
        lambda row: words.of_marks(row, measures[row.measure]), "audit.csv",
    )  # fmt: skip


def _places(audit: pd.DataFrame, measures: Iterable[Cells]) -> pd.DataFrame:
    """Instruments and sites that lean; no site for which one of its instruments does."""
    rows = named(level(audit, SITE, INSTRUMENT))
    sites = {c.measure: c.instruments_at_sites() for c in measures}
    told = {
        (row.measure, row.mark, site)
        for row in level(rows, INSTRUMENT).itertuples()
        for instrument, site in sites[row.measure] if instrument == row.who
    }  # fmt: skip
    return rows[(rows["level"] == INSTRUMENT) | ~_among(rows[["measure", "mark", "who"]], told)]


def _place(row, explained: pd.DataFrame, measures: Mapping[str, Measure]) -> str:
    """A site or an instrument, and those who do there what it does."""
    own = explained[(explained["measure"] == row.measure) & (explained["mark"] == row.mark)]
    who = own.loc[own["place"] == row.who, "who"]
    told = f"; so do {words.codes(who)} with it" if len(who) else ""
    return f"{words.leaning(row, measures[row.measure])}{told}"


def _changed_places(changes: pd.DataFrame) -> pd.DataFrame:
    """Changes of sites and instruments; of everybody, where none of these explains it."""
    what = ["measure", "mark", "period"]
    places = level(changes, SITE, INSTRUMENT)
    keys = set(places[what].itertuples(index=False, name=None))
    everybody = level(changes, PROGRAM)
    return pd.concat([everybody[~_among(everybody[what], keys)], places])


def _changed_people(changes: pd.DataFrame) -> Iterator[str]:
    people = level(changes, PERSON)
    if len(people):
        who = list(dict.fromkeys(people["who"]))
        yield paragraph(
            f"{words.codes(who)}, in the section on months.", lead="Changes in a person's shares:"
        )


def _repeated(rows: pd.DataFrame) -> Iterator[str]:
    found = rows[rows["state"] == ALIKE]
    if len(found):
        yield from _said(
            "Repeated values:", found, words.repeated, words.of_repeats, "repeated.csv"
        )
        yield paragraph(
            f"{sentence(ALIKE)} has many possible reasons: the last sheet in sight, a value "
            "remembered or carried over, visits close together, a scale or board that sticks."
        )


def _no_readings(tally: Tally) -> Iterator[str]:
    counts = tally.counts
    parts = [
        f"{n:,} {kind}" for kind in (MISSING, OFF_STEP, OUT, UNREADABLE)
        if (n := words.total(counts, kind))
    ]  # fmt: skip
    if parts:
        share = 1 - words.total(counts, ON_MARK) / words.total(counts, ALL)
        yield paragraph(
            f"{listed(parts)}: {words.small(share)} of the records, counted and in no share.",
            lead="No reading on a mark:",
        )


def _unjudged(audit: pd.DataFrame) -> Iterator[str]:
    out = level(audit, PERSON)
    out = out[out["state"] == NOT_JUDGED]
    told: dict[tuple[str, Notes], list[str]] = {}
    for name, rows in out.groupby("measure", sort=False):
        why = rows["note"].map(lambda n: _CONVERTED if ReadingsConverted in n else n)
        for note, some in rows.groupby(why, sort=False):
            told.setdefault((words.codes(dict.fromkeys(some["who"])), note), []).append(label(name))
    if told:
        said = [f"{who}, {listed(names)} ({note})" for (who, note), names in told.items()]
        yield paragraph(f"{'; '.join(said)}.", lead="Not judged:")


def chances(records: RoutineAudit) -> Html:
    """How many names and notes chance alone would give, and how many effects are only small."""
    people = level(records.audit, PERSON)
    tests = int(people["p_value"].notna().sum())
    if not tests:
        return Html(paragraph(f"Nobody has {FEWEST} readings of a measure: nobody is judged."))
    sure = people[people["adjusted"] <= NAMED_AT]
    tiny = set(sure["who"]) - set(people.loc[people["state"].isin([NAMED, LOOK]), "who"])
    small = (
        f" {counted(len(tiny), 'person', 'people')} here {'is' if len(tiny) == 1 else 'are'} "
        "beyond chance, by too little to be named." if tiny else ""
    )  # fmt: skip
    return Html(paragraph(
        f"{counted(tests, 'test')} could name a person. After the adjustment (Holm) at most 1 "
        "program in 20 names anybody by chance. With thousands of readings nearly every test is "
        f"significant, so the size decides: under five points nobody is named.{small}",
        lead="Chance and size.",
    ))  # fmt: skip
