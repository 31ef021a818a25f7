"""Who moved, or what did, and did retraining help? The parts of a review that speak of change."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.notes import Notes, notes_of
from anthroqa.notes.program.staff import AtNextSession
from anthroqa.program.staff.dated import RETRAINED
from anthroqa.program.staff.drift import DIFFERENCE, REFERENCE, REPEAT
from anthroqa.program.staff.naming import MOVES
from anthroqa.program.staff.reviewed import Review
from anthroqa.program.staff.sessions import Program
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, image, paragraph, table
from anthroqa.reporting.page.wording import amount, interval, label, number, sentence, unbroken
from anthroqa.reporting.session.sections import rows_of
from anthroqa.reporting.staff import figures, words
from anthroqa.reporting.staff.instruments import by_instrument
from anthroqa.scores.marks.screening import NAMED

_ASKED = {"repeatability": "repeat error", "bias": "difference"}


def moved(review: Review) -> Html:
    """How far has each person moved from their first session to their last?"""
    program = review.program
    if len(program.sessions) < 2:
        return Html(paragraph("There is one session only: it says nothing of a change."))
    parts = []
    for measure in program.measures.values():
        rows = rows_of(review.drifts, measure)
        rows = rows[(rows["what"] != REFERENCE) & ~rows["measurer"].isin(program.references)]
        parts.append(heading(sentence(label(measure.name)), 3))
        if rows["change"].notna().any():
            parts += _moved_table(review, rows, measure)
        parts += words.reasons(rows)
    return Html(*parts)


def _moved_table(review: Review, rows: pd.DataFrame, measure: Measure) -> list[str]:
    """A row a person: the change of the repeat error, and that of the difference."""
    named = words.named_in(review, measure.name, question=MOVES)
    by_what = {
        what: {r.measurer: r for r in rows[rows["what"] == what].itertuples()}
        for what in (REPEAT, DIFFERENCE)
    }
    body = []
    for who in words.those_shown(review.program, rows["measurer"], named):
        cells = [_cell(by_what[what].get(who), measure) for what in (REPEAT, DIFFERENCE)]
        body.append((who, *cells, *([NAMED if who in named else ""] if named else [])))
    rest = rows["measurer"].nunique() - len(body)
    return [
        table(
            ["Who", "Repeat error, last to first", f"Difference ({measure.step.unit})",
             *["All taken together"] * bool(named)], body,
            caption=f"Change from the first session to the last, {label(measure.name)}",
        ),
        *([paragraph(f"And {rest} more people, in drifts.csv.")] if rest else []),
    ]  # fmt: skip


def _cell(row, measure: Measure) -> str:
    """A change with its interval, a ratio or in the unit of the column."""
    if row is None or row.change != row.change:
        return "\u2013"
    size = number(row.change, 2) if row.what == REPEAT else amount(row.change, measure, signed=True)
    return unbroken(f"{size} ({words.change_ends(row, measure)})")


def reference_and_instruments(review: Review) -> Html:
    """Has the reference moved, or an instrument?"""
    return Html(
        *_reference(review.program, review.drifts), *by_instrument(review),
        *_changed(review.events),
    )  # fmt: skip


def _reference(program: Program, drifts: pd.DataFrame) -> Iterator[str]:
    """The reference against all the staff together."""
    if program.reference is None:
        yield paragraph("The sessions have no reference; staff are compared with each other.")
        return
    rows = drifts[(drifts["what"] == REFERENCE) | drifts["measurer"].isin(program.references)]
    lines = []
    for row in rows[rows["measure"].isin(program.measures)].itertuples():
        measure = program.measures[row.measure]
        what = "repeat error" if row.what == REPEAT else "against all staff"
        change = row.note
        if row.change == row.change:
            change = f"{words.change(row, measure)} ({words.change_ends(row, measure)})"
        lines.append(f"{row.measurer}, {label(row.measure)}, {what}: {change}.")
    if lines:
        yield paragraph(
            "how it changed from the first session to the last. If all staff moved alike it looks "
            "the same: known loads and rods tell them apart, or a second "
            "expert.",
            lead="The reference:",
        )
        yield bullets(lines)


def _changed(happened: pd.DataFrame) -> Iterator[str]:
    """Who read on another instrument, or was held against another reference, than before."""
    rows = happened[happened["event"] != RETRAINED]
    lines = []
    for (event, date, measure, note), some in rows.groupby(
        ["event", "date", "measure", "note"], sort=False
    ):
        lines.append(
            f"{sentence(event)} in {label(measure)} from {words.when(date)} on ({note}): "
            f"{words.crowd(some['measurer'])}."
        )
    if lines:
        yield paragraph("A change here looks like a change of the people:", lead="Changed.")
        yield bullets(lines[:SOME])
        yield from cut(lines, "changes")


def retraining(review: Review) -> Html:
    """Did retraining do more than luck alone would have done?"""
    if review.retrained.empty:
        return Html(paragraph(
            "Nobody was retrained as far as the files say (retraining.csv beside the sessions)."
        ))  # fmt: skip
    parts = []
    for (name, what), rows in review.retrained.groupby(["measure", "what"], sort=False):
        measure = review.program.measures[name]
        parts.append(heading(sentence(f"{label(name)}, {what}"), 3))
        drawn = rows[rows[["after", "luck_alone"]].notna().all(axis=1)].head(SOME)
        if len(drawn):
            parts.append(image(
                figures.luck_plot(drawn, measure), alt=figures.alt_luck(drawn, measure)
            ))  # fmt: skip
        parts += [
            table(
                ["Who", "Retrained", f"Picked at ({measure.step.unit})", "Before",
                 "Luck alone gives", "After", "Finding"],
                [_retrained_row(r, measure) for r in rows.head(SOME).itertuples()],
                caption=f"{sentence(what)} before and after retraining, {label(name)}",
            ),
            *cut(rows, "people, in retrained.csv"),
            *words.reasons(rows),
        ]  # fmt: skip
    return Html(*parts)


def _retrained_row(row, measure: Measure) -> tuple[str, ...]:
    """One person's figures before and after, and what luck alone lets expect."""
    signed = row.what != REPEAT
    picked, before, alone, after = (
        amount(value, measure, signed=signed)
        for value in (row.picked, row.before, row.luck_alone, row.after)
    )
    if row.luck_lower == row.luck_lower:
        ends = interval(row.luck_lower, row.luck_upper, measure, signed=signed)
        alone = unbroken(f"{alone} ({ends})")
    return (
        row.measurer, words.when(row.date), picked, before, alone, after, unbroken(row.finding),
    )  # fmt: skip


def due_again(review: Review) -> Html:
    """Who is due at the next session and why, and who when, with how many subjects?"""
    program = review.program
    due = review.due[review.due["measure"].isin(program.measures)]
    if due.empty:
        return Html(paragraph("Nobody can be said to be due: there is no finding."))
    soon = due["note"].map(lambda note: AtNextSession in note)
    return Html(
        *_next_session(program, due[soon]),
        *(part for measure in program.measures.values()
          for part in words.follows_reference(review, measure)),
        *(part for measure in program.measures.values()
          for part in _later(program, rows_of(due[~soon], measure), measure)),
    )  # fmt: skip


def _next_session(program: Program, rows: pd.DataFrame) -> Iterator[str]:
    """Who should not wait, and why."""
    if rows.empty:
        return
    place = {who: i for i, who in enumerate(words.in_order(program, rows["measurer"]))}
    rows = rows.loc[rows["measurer"].map(place).sort_values(kind="stable").index]
    body = [
        (
            r.measurer, unbroken(label(r.measure)), unbroken(_ASKED[r.question]),
            unbroken(r.state), _subjects(r.subjects),
        )
        for r in rows.head(SOME).itertuples()
    ]  # fmt: skip
    yield table(
        ["Who", "Measure", "Question", "Then", "Subjects"], body, caption="Due at the next session"
    )
    yield from cut(rows, "lines, in due.csv")
    yield from words.reasons(rows.assign(note=rows["note"].map(_why)))


def _why(note: Notes) -> Notes:
    """Why somebody is due at the next session, and what else is to be known."""
    soon = note.first(AtNextSession)
    return notes_of(soon.why if soon else None, note.without(AtNextSession))


def _later(program: Program, rows: pd.DataFrame, measure: Measure) -> Iterator[str]:
    """A row a person: when, and what the last session found in both questions."""
    if rows.empty:
        return
    by_question = {
        asked: {r.measurer: r for r in rows[rows["question"] == question].itertuples()}
        for question, asked in _ASKED.items()
    }
    body = []
    for who in words.those_shown(program, rows["measurer"], ()):
        mine = rows[rows["measurer"] == who]
        cells = []
        for asked in _ASKED.values():
            row = by_question[asked].get(who)
            cells += (
                ["\u2013", "\u2013"]
                if row is None
                else [unbroken(row.state), _subjects(row.subjects)]
            )
        body.append((who, words.when(mine["last"].max()), words.when(mine["due"].min()), *cells))
    heads = [part for asked in _ASKED.values() for part in (sentence(asked), "Subjects")]
    yield table(["Who", "Last", "Due", *heads], body, caption=f"Due by date, {label(measure.name)}")
    rest = rows["measurer"].nunique() - len(body)
    if rest:
        yield paragraph(f"And {rest} more people, in due.csv.")
    yield from words.reasons(rows[rows["subjects"].isna()], rows["measurer"].nunique())


def _subjects(number_: object) -> str:
    """A number of subjects, or a dash where none is known to be enough."""
    return "\u2013" if pd.isna(number_) else str(int(number_))
