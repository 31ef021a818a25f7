"""What else do routine records say: months, conversions, repeated values, what is no reading?"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from anthroqa.intake import EVERYBODY, Measure
from anthroqa.program.routine.audited import RoutineAudit
from anthroqa.program.routine.findings.repetition import ALIKE
from anthroqa.reporting.page.html import SOME, Html, cut, heading, image, paragraph, table
from anthroqa.reporting.page.wording import label, listed, sentence
from anthroqa.reporting.routine import figures, words
from anthroqa.reporting.routine.in_short import level, named
from anthroqa.reporting.routine.words import INSTRUMENT, PERSON, PROGRAM, SITE, counted
from anthroqa.reporting.session.marks_words import percent

_PANELS, _MOST_PANELS = 4, 12  # months in an image, and in all, of a measure
_PLACES = (PROGRAM, SITE, INSTRUMENT)


def by_months(records: RoutineAudit) -> Html:
    """Is a share steady from month to month, and where did it change for good?"""
    parts: list[str] = []
    for measure in records.tally.measures.values():
        points, changed, audit = (
            table[table["measure"] == measure.name]
            for table in (records.months, records.changes, records.audit)
        )
        panels = _panels(points, changed, audit, measure)
        if panels or len(changed):
            parts.append(heading(sentence(label(measure.name)), 3))
        for start in range(0, min(len(panels), _MOST_PANELS), _PANELS):
            some = panels[start : start + _PANELS]
            said = [f"{words.who(of, code)}: % standing on {words.marks(mark, measure)}"
                    for of, code, mark in some]  # fmt: skip
            ax = figures.months(points, some, said, changed)[0]
            parts.append(image(ax, alt=_alt_months(points, some, changed, measure)))
        if len(panels) > _MOST_PANELS:
            parts.append(paragraph(f"And {len(panels) - _MOST_PANELS} more, in months.csv."))
        if len(changed):
            parts += _changes(changed, measure)
    return Html(*parts or [paragraph("The records are not dated, or cover one month only.")])


def _panels(
    points: pd.DataFrame, changed: pd.DataFrame, audit: pd.DataFrame, measure: Measure
) -> list[tuple[str, str, str]]:
    """What is drawn: everybody on whole marks, what changed, and who is named."""
    there = set(zip(points["level"], points["who"], points["mark"], strict=True))
    columns = ["level", "who", "mark"]
    people = level(named(audit), PERSON)
    wanted = [
        (PROGRAM, EVERYBODY, words.whole_mark(measure)),
        *level(changed, *_PLACES)[columns].itertuples(index=False, name=None),
        *people[columns].itertuples(index=False, name=None),
    ]
    return [panel for panel in dict.fromkeys(wanted) if panel in there]


def _alt_months(
    points: pd.DataFrame, panels: Sequence[tuple[str, str, str]], changed: pd.DataFrame,
    measure: Measure,
) -> str:  # fmt: skip
    """What the panels show, in one sentence each."""
    said = []
    for panel in panels:
        rows, change = figures.of(points, *panel), figures.of(changed, *panel)
        out = int(rows["note"].map(bool).sum())
        at = [f"changed in {words.periods(p)}" for p in change["period"]]
        said.append(
            f"{words.who(*panel[:2])} on {panel[2]}: {percent(rows['share'].min())} to "
            f"{percent(rows['share'].max())}, {out} of {counted(len(rows), 'period')} outside the "
            f"band{', ' + listed(at) if at else ''}"
        )
    return f"Shares by month, {label(measure.name)}. {'; '.join(said)}."


def _changes(changed: pd.DataFrame, measure: Measure) -> list[str]:
    body = [
        (
            words.who(r.level, r.who), words.share_of_what(r.mark, measure),
            words.periods(r.period), percent(r.before), percent(r.after),
            words.points(r.lower, r.upper, signed=True), r.note,
        )
        for r in changed.head(SOME).itertuples()
    ]  # fmt: skip
    head = ["Who", "Share", "First month", "Before", "After", "Change (points)", "Look for"]
    caption = f"Changes that lasted, {label(measure.name)}"
    return [table(head, body, caption=caption), *cut(changed, "changes, in changes.csv")]


def conversions(records: RoutineAudit) -> Html:
    """Which readings were made in another unit and converted before they were written?"""
    rows = records.conversions
    if rows.empty:
        return Html(paragraph(
            "Nowhere do nearly all readings lie on the marks of another unit, more than chance "
            "gives."
        ))  # fmt: skip
    body = [
        (words.place(r), label(r.measure), r.source, words.periods(r.period) if r.period else "all",
         f"{int(r.on):,} of {int(r.n):,}", percent(r.expected), words.p(r.p_value))
        for r in rows.head(SOME).itertuples()
    ]  # fmt: skip
    head = ["Where", "Measure", "Likely read to", "Months", "On its marks", "By chance", "p"]
    return Html(
        table(head, body, caption="Readings on the marks of another unit"),
        *cut(rows, "rows, in conversions.csv"),
    )


def repeated(records: RoutineAudit) -> Html:
    """Whose readings equal the child's last one more often than those of the others?"""
    rows = records.repeated
    if rows.empty:
        return Html(
            paragraph("Not asked: there is no key of visits in the records (the column visit_key).")
        )
    told = rows[rows["state"] == ALIKE]
    body = [
        (words.who(r.level, r.who), label(r.measure), f"{int(r.same):,} of {int(r.followed):,}",
         percent(r.share), words.share_span(r), percent(r.expected))
        for r in told.head(SOME).itertuples()
    ]  # fmt: skip
    head = ["Who", "Measure", "Equal to the last", "Share", "Interval", "Among the others"]
    found = [table(head, body, caption=f"Repeated values, {ALIKE}")] if body else []
    others = counted(len(rows) - len(told), "row")
    return Html(
        *found, *cut(told, "rows, in repeated.csv"),
        paragraph(f"{others} of repeated.csv.", lead="As expected, or not judged:"),
    )  # fmt: skip


_KINDS = {"missing": "Missing", "off_step": "Off every mark", "out_of_range": "Out of range",
          "unreadable": "Unreadable"}  # fmt: skip
_SEEN = 0.02  # share of a kind from which a site or a person is in the table; no source


def no_readings(records: RoutineAudit) -> Html:
    """Where are values missing, off every mark, out of range or unreadable?"""
    rows = records.quality
    kinds = rows[list(_KINDS)]
    told = rows[
        ((rows["level"] == PROGRAM) & (kinds.sum(axis=1) > 0))
        | (rows["level"].isin([SITE, PERSON]) & (kinds.max(axis=1) >= _SEEN))
    ]
    if told.empty:
        return Html(paragraph("Every record holds a reading on a mark."))
    body = [
        (words.who(r.level, r.who), label(r.measure), f"{r.n:,}",
         *(words.small(getattr(r, kind)) for kind in _KINDS), r.note)
        for r in told.head(SOME).itertuples()
    ]  # fmt: skip
    return Html(
        table(["Who", "Measure", "Records", *_KINDS.values(), "Note"], body,
              caption="Records without a reading on a mark"),
        *cut(told, "rows, in quality.csv"),
        paragraph(
            "Sites and people are here from 1 in 50 of a kind; all of them are in quality.csv."
        ),
    )  # fmt: skip
