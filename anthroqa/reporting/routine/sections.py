"""What does each question of the shares on marks say? One function a question."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from anthroqa.intake import EVERYBODY, Measure
from anthroqa.notes.program.routine import ReadingsConverted
from anthroqa.program.routine.audited import RoutineAudit
from anthroqa.program.routine.counting.counts import ON_MARK
from anthroqa.program.routine.findings.shares_of_marks import LOOK, NAMED, POINTS
from anthroqa.reporting.page.html import SOME, Html, cut, heading, image, paragraph, table
from anthroqa.reporting.page.wording import label, listed, number, sentence
from anthroqa.reporting.routine import figures, words
from anthroqa.reporting.routine.in_short import level, named
from anthroqa.reporting.routine.words import INSTRUMENT, PERSON, PROGRAM, SITE, counted
from anthroqa.reporting.session.positions import MOST_POSITIONS, alt_on_ruler, on_ruler

_AN_IMAGE = 8  # rulers; a printed page holds so many
_MOST_RULERS = 16


def by_person(records: RoutineAudit) -> Html:
    """What share of each person's readings is put on coarse marks beyond the expected?"""
    return Html(
        *_shares(records, level(records.audit, PERSON), PERSON)
        or [paragraph("Nobody has a reading on a mark.")]
    )


def by_place(records: RoutineAudit) -> Html:
    """The same of sites and of instruments."""
    parts: list[str] = []
    for place in (SITE, INSTRUMENT):
        rows = level(records.audit, place)
        if len(rows):
            parts += [heading(sentence(words.PLURAL[place]), 3),
                      *_shares(records, rows, place)]  # fmt: skip
    return Html(*parts or [paragraph("The records name no site and no instrument.")])


def _shares(records: RoutineAudit, rows: pd.DataFrame, of: str) -> list[str]:
    """For each measure a figure a mark that somebody is on, and a table."""
    parts: list[str] = []
    for measure in records.tally.measures.values():
        there = (rows["n"] > 0) | rows["note"].map(lambda note: ReadingsConverted in note)
        mine = rows[(rows["measure"] == measure.name) & (rows["mark"] != "") & there]
        if len(mine):
            if of == PERSON:
                parts.append(heading(sentence(label(measure.name)), 3))
            parts += [*_figures(mine, measure, of), *_table(mine, measure, of, records.confidence)]
    return parts


def _figures(rows: pd.DataFrame, measure: Measure, of: str) -> Iterator[str]:
    """A figure of each mark that somebody is on; of people, where nobody is, of the whole mark."""
    told = set(rows.loc[rows["state"].isin([NAMED, LOOK]), "mark"])
    marks = [mark for mark in dict.fromkeys(rows["mark"]) if mark in told]
    for mark in marks or [words.whole_mark(measure)] * (of == PERSON):
        mine = rows[rows["mark"] == mark]
        what = f"Readings put on {words.marks(mark, measure)}, points beyond the expected"
        draw = figures.shares if len(mine) <= SOME else figures.crowd
        yield image(draw(mine, what, POINTS), alt=_alt(mine, measure, mark, of))


def _alt(rows: pd.DataFrame, measure: Measure, mark: str, of: str) -> str:
    """What a figure of shares shows, in one sentence."""
    found = named(rows)
    said = "; ".join(f"{r.who} {words.excess(r)}" for r in found.head(_MOST_RULERS).itertuples())
    more = counted(len(rows) - len(found), "other", "others")
    return (
        f"Points of a hundred beyond the expected on {words.marks(mark, measure)}, "
        f"{label(measure.name)}, {len(rows)} {words.PLURAL[of]}. Named: {said or 'none'}; {more}."
    )


def _table(rows: pd.DataFrame, measure: Measure, of: str, confidence: float) -> Iterator[str]:
    """A row each: what was found, readings, and the points beyond the expected on each mark."""
    marks, codes = list(dict.fromkeys(rows["mark"])), list(dict.fromkeys(rows["who"]))
    shown = rows[rows["who"].isin(codes[:SOME])]
    body = []
    for code, own in shown.groupby("who", sort=False):
        by_mark = own.set_index("mark")
        cells = [
            words.points(r["excess_lower"], r["excess_upper"], r["excess"], signed=True)
            for _, r in by_mark.reindex(marks).iterrows()
        ]
        body.append((code, _finding(own), f"{int(own['n'].iloc[0]):,}", *cells))
    yield table(
        ["Who" if of == PERSON else sentence(of), "Finding", "Readings", *marks], body,
        caption=f"Points beyond the expected, {label(measure.name)} "
        f"({100 * confidence:.0f} % interval)",
    )  # fmt: skip
    yield from cut(codes, f"{words.PLURAL[of]}, in audit.csv")


def _finding(own: pd.DataFrame) -> str:
    """The state of a person's marks, those with a finding before the others."""
    for state, said in ((NAMED, "leans to"), (LOOK, f"{LOOK}:")):
        mine = own.loc[own["state"] == state, "mark"]
        if len(mine):
            return f"{said} {listed(mine)}"
    return str(own["state"].iloc[0])


def positions(records: RoutineAudit) -> Html:
    """Where between two whole marks do the readings of everybody, and of those named, stand?"""
    parts: list[str] = []
    for measure in records.tally.measures.values():
        if not 1 < (measure.cycle or 0) <= MOST_POSITIONS:
            continue
        drawn = [(PROGRAM, EVERYBODY), *_drawn(records.audit, measure)]
        rows = _at_positions(records.tally.counts, measure, drawn)
        people = list(dict.fromkeys(rows["measurer"])) if len(rows) else []
        parts += [heading(sentence(label(measure.name)), 3)] if people else []
        for start in range(0, len(people), _AN_IMAGE):
            some = people[start : start + _AN_IMAGE]
            mine = pd.concat([rows[rows["measurer"] == who] for who in some])
            said = [_most(mine[mine["measurer"] == who], measure) for who in some]
            alt = alt_on_ruler(some, said, measure)
            parts.append(image(on_ruler(mine, said, measure), alt=alt))
    return Html(*parts or [paragraph("No measure has a few positions between two whole marks.")])


def _drawn(audit: pd.DataFrame, measure: Measure) -> list[tuple[str, str]]:
    """Who is drawn: instruments and people with a name, in the order of the audit."""
    rows = named(level(audit, INSTRUMENT, PERSON))
    rows = rows[rows["measure"] == measure.name]
    return list(dict.fromkeys(zip(rows["level"], rows["who"], strict=True)))[: _MOST_RULERS - 1]


def _at_positions(
    counts: pd.DataFrame, measure: Measure, drawn: Sequence[tuple[str, str]]
) -> pd.DataFrame:
    """Of a hundred readings how many stand at each position, beside as many at each."""
    cycle = measure.cycle or 1
    on = counts[(counts["measure"] == measure.name) & (counts["kind"] == ON_MARK)]
    parts = []
    for of, code in drawn:
        mine = on if of == PROGRAM else on[on[of] == code]
        at = np.bincount(
            mine["position"].to_numpy(dtype=np.int64), weights=mine["n"], minlength=cycle
        )
        if at.sum():
            parts.append(pd.DataFrame({
                "measurer": code if of != PROGRAM else words.who(of, code),
                "position": np.arange(cycle), "observed": 100 * at / at.sum(),
                "expected": 100 / cycle, "n": int(at.sum()),
            }))  # fmt: skip
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


def _most(rows: pd.DataFrame, measure: Measure) -> str:
    """How many readings, and how many of a hundred stand on the whole mark."""
    whole = rows.loc[rows["position"] == 0, "observed"].iloc[0]
    return (
        f"{counted(int(rows['n'].iloc[0]), 'reading')}; of 100, {number(whole, 0)} on "
        f"{words.marks(words.whole_mark(measure), measure)}"
    )
