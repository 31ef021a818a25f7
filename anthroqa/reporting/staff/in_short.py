"""What does a manager of many sessions need in ten seconds, and what must be said before acting?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd

from anthroqa.notes.program.staff import AtNextSession
from anthroqa.program.staff.drift import REFERENCE
from anthroqa.program.staff.naming import DIFFERS
from anthroqa.program.staff.reviewed import Review
from anthroqa.program.staff.sessions import Program
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, paragraph
from anthroqa.reporting.page.wording import counted, day, label, listed, sentence
from anthroqa.reporting.staff import words
from anthroqa.reporting.staff.instruments import said_of
from anthroqa.scores.marks.screening import NAMED

_FIRST = 5  # problems on top; all of them stand in the notes


def opening(review: Review) -> Html:
    """Who stands out, what moved, whether retraining helped, who is due; and the cautions."""
    program = review.program
    return Html(
        heading(sentence(program.title), 1),
        _facts(program),
        *_left_out(program),
        heading("In short", 2),
        *_named(review),
        *_reference(review),
        *_instruments(review),
        *_retraining(review.retrained),
        *_due(program, review.due),
        paragraph(
            "Nothing follows from this page by itself. What was found goes to the person first, "
            "with their own readings; the scale, the reference and the conditions are looked at "
            "before anybody. Whether somebody is named hangs on their own readings: moderated "
            "figures are for pictures and for planning. Local protocol and licensed practice "
            "decide.",
            lead="Before you act.",
        ),
    )  # fmt: skip


def _facts(program: Program) -> str:
    sessions = program.sessions
    people = {who for s in sessions for who in s.readings["measurer"]} - program.references
    first, last = sessions[0].date, sessions[-1].date
    dates = f"on {day(first)}" if first == last else f"from {day(first)} to {day(last)}"
    of = listed(sorted(program.references))
    many = "s" if len(program.references) > 1 else ""
    reference = f" beside the reference{many} {of}" if of else ""
    alone = " One session says nothing of a change." if len(sessions) == 1 else ""
    return paragraph(
        f"Staff over {counted(len(sessions), 'session')} {dates}: {len(people)} staff{reference}, "
        f"{counted(len(program.measures), 'measure')}.{alone}"
    )


def _left_out(program: Program) -> Iterator[str]:
    """What is wrong with the data, before anything that they say."""
    problems = program.problems
    if not problems:
        return
    more = f" The first {_FIRST} of them; all stand in the notes on the data." if (
        len(problems) > _FIRST) else ""  # fmt: skip
    yield paragraph(
        f"{counted(len(problems), 'problem')} in the files. What could be used is shown.{more}",
        lead="The data need attention:",
    )
    yield bullets(str(problem) for problem in problems[:_FIRST])


def _named(review: Review) -> Iterator[str]:
    """Staff who stand out beyond chance; the reference has a paragraph of its own."""
    program, rows = review.program, review.named
    lead = "Who differs or has moved:" if len(program.sessions) > 1 else "Who differs:"
    mine = rows[~rows["measurer"].isin(program.references) & (rows["what"] != REFERENCE)]
    tested, named = int(mine["p_value"].notna().sum()), mine[mine["state"] == NAMED]
    if not tested:
        yield paragraph(
            "no question could be asked of anybody: too few sessions, people or readings.",
            lead=lead,
        )
    elif named.empty:
        yield paragraph(
            f"nobody. Of {counted(tested, 'question')} asked of the staff none stands out from "
            "what chance gives so many.",
            lead=lead,
        )
    else:
        stand = "stand" if len(named) > 1 else "stands"
        yield paragraph(
            f"{counted(named['measurer'].nunique(), 'person', 'people')}. Of "
            f"{counted(tested, 'question')} asked of the staff {len(named)} {stand} out, all of "
            "them taken together (Holm).",
            lead=lead,
        )
        lines = _said(review, named)
        yield bullets(lines[:SOME])
        yield from cut(lines, "findings")


def _said(review: Review, named: pd.DataFrame) -> list[str]:
    """Each named finding as a sentence, people by code."""
    again = set(zip(review.retrained["measure"], review.retrained["measurer"], strict=True))
    lines = []
    for row in named.sort_values(["measurer", "measure"], kind="stable").itertuples():
        text = _finding(review, row)
        if (row.measure, row.measurer) in again:
            text += ". Retrained meanwhile: see there first"
        lines.append(f"{row.measurer}, {label(row.measure)}: {text}.")
    return lines


def _finding(review: Review, row) -> str:
    """The figures behind a row that is named, in words."""
    measure = review.program.measures[row.measure]
    if row.question == DIFFERS:
        return words.differs(_row(review.funnel, row), measure)
    return words.moved(_row(review.drifts[review.drifts["what"] == row.what], row), measure)


def _row(table: pd.DataFrame, row) -> Any:
    """The row of a table for the same measure and person."""
    mine = table[(table["measure"] == row.measure) & (table["measurer"] == row.measurer)]
    return next(mine.itertuples())


def _reference(review: Review) -> Iterator[str]:
    """Whether the reference has moved against all staff, or differs from them."""
    program, rows = review.program, review.named
    mine = rows[rows["measurer"].isin(program.references) | (rows["what"] == REFERENCE)]
    if not mine["p_value"].notna().any():
        return
    named = mine[mine["state"] == NAMED]
    if named.empty:
        moved = ", nor to have moved against them" if len(program.sessions) > 1 else ""
        yield paragraph(
            f"{listed(sorted(program.references))}: not seen to have a larger repeat error than "
            f"the staff{moved}.",
            lead="The reference:",
        )
        return
    found = [
        f"{row.measurer}, {label(row.measure)}: {_finding(review, row)}"
        for row in named.itertuples()
    ]
    moved = (named["what"] == REFERENCE).any()
    says = "it moved, or all the staff did" if moved else "look at it first"
    after = " Settle that first: it is in every difference." if moved else ""
    yield paragraph(f"{says}. {'; '.join(found)}.{after}", lead="The reference:")


def _instruments(review: Review) -> Iterator[str]:
    """Which instruments moved against known loads."""
    if review.instrument_drifts["change"].notna().sum() == 0:
        return
    measures, moved = review.program.measures, review.moved_instruments
    if moved.empty:
        said = "none is seen to have moved against known loads."
    else:
        lines = [said_of(row, measures[row.measure]) for row in moved.itertuples()]
        said = f"{'; '.join(lines)}. That is the instrument's and nobody's error: see to it first."
    yield paragraph(said, lead="Instruments:")


def _retraining(retrained: pd.DataFrame) -> Iterator[str]:
    """What was found of everybody retrained, a line a person and measure."""
    if retrained.empty:
        return
    lines = []
    for (who, name), some in retrained.groupby(["measurer", "measure"], sort=True):
        found = ", ".join(f"{r.what} {r.finding}" for r in some.itertuples())
        lines.append(f"{who}, {label(name)}: {found}.")
    yield paragraph(
        "held against luck, which makes a high figure fall by itself.", lead="Retraining:"
    )
    yield bullets(lines[:SOME])
    yield from cut(lines, "people and measures")


def _due(program: Program, due: pd.DataFrame) -> Iterator[str]:
    """Who is due at the next session, and when the others are, with the subjects needed."""
    if due.empty:
        return
    soon = due[[AtNextSession in note for note in due["note"]]]
    rest = due[~due["measurer"].isin(soon["measurer"])]
    first = rest.groupby("measurer")["due"].min()
    lines = [f"at the next session: {_who(program, soon)}"] if len(soon) else []
    for date in sorted(set(first)):
        mine = rest[rest["measurer"].isin(first.index[first == date])]
        lines.append(f"{day(date)}: {_who(program, mine)}")
    yield paragraph(
        "by date, with the subjects that would settle 8 in 10 such people, where any number would.",
        lead="Due again:",
    )
    yield bullets(f"{line}." for line in lines[:_FIRST])


def _who(program: Program, rows: pd.DataFrame) -> str:
    """People with the most subjects that one of their questions needs."""
    most = rows.groupby("measurer")["subjects"].max()
    people = words.in_order(program, rows["measurer"])
    needs = {who: "" if pd.isna(most[who]) else f" ({most[who]})" for who in people}
    below = ", listed below" if len(people) > words.CROWD else ""
    return words.crowd([f"{who}{needs[who]}" for who in people]) + below
