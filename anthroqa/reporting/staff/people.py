"""How do people's figures lie over many sessions, and among the others? One function a question."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from anthroqa.intake import Measure
from anthroqa.program.staff.dated import LETTERS
from anthroqa.program.staff.drift import DIFFERENCE, REPEAT
from anthroqa.program.staff.naming import DIFFERS
from anthroqa.program.staff.reviewed import Review
from anthroqa.program.staff.sessions import Program
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, image, paragraph, table
from anthroqa.reporting.page.wording import (
    amount,
    counted,
    interval,
    label,
    number,
    sentence,
    unbroken,
)
from anthroqa.reporting.session.sections import rows_of
from anthroqa.reporting.staff import figures, panels, words

_COLUMNS = 6  # sessions in one table; the latest


def by_session(review: Review) -> Html:
    """How did each person's repeat error and difference go from session to session?"""
    program, happened = review.program, review.events
    parts = [*_letters(happened)]
    for measure in program.measures.values():
        parts.append(heading(sentence(label(measure.name)), 3))
        for what in (REPEAT, DIFFERENCE):
            rows = rows_of(review.smoothed, measure, what=what)
            rows = rows[rows["value"].notna()]
            if rows.empty:
                parts.append(paragraph(f"No {what} can be had in any session."))
                continue
            named = words.named_in(review, measure.name, what=what)
            if what == DIFFERENCE:
                parts += words.follows_reference(review, measure)
            parts += _over_time(program, rows, rows_of(happened, measure), measure, named)
            parts.append(_sessions_table(program, rows, measure, what))
    return Html(*parts)


def _over_time(
    program: Program, rows: pd.DataFrame, happened: pd.DataFrame, measure: Measure, named: set[str]
) -> list[str]:
    """Images of twelve people each, all on one scale."""
    people = words.those_shown(program, rows["measurer"], named)
    place = {who: i for i, who in enumerate(people)}
    high = panels.scale_of(rows, measure)
    shown = rows[rows["measurer"].isin(people)]
    shown = shown.assign(place=shown["measurer"].map(place))
    shown = shown.sort_values(["place", "date"], kind="stable")
    parts = []
    for start in range(0, len(people), panels.AN_IMAGE):
        some = people[start : start + panels.AN_IMAGE]
        mine = shown[shown["measurer"].isin(some)]
        ax = panels.over_time(mine, happened, measure, high, named)
        parts.append(image(ax, alt=panels.alt_over_time(mine, measure)))
    rest = rows["measurer"].nunique() - len(people)
    if rest:
        parts.append(paragraph(f"And {rest} more people, in history.csv."))
    return parts


def _sessions_table(program: Program, rows: pd.DataFrame, measure: Measure, what: str) -> str:
    """The figures of the latest sessions, a column a session."""
    heads = words.heads(rows)
    sessions = list(heads)[-_COLUMNS:]
    signed = what != REPEAT
    body = []
    for who in words.those_shown(program, rows["measurer"], ()):
        mine = rows[rows["measurer"] == who]
        at = dict(zip(mine["session"], mine["value"], strict=True))
        body.append((
            who, *(amount(at.get(s, float("nan")), measure, signed=signed) for s in sessions)
        ))  # fmt: skip
    earlier = f", the latest {_COLUMNS} sessions" if len(heads) > _COLUMNS else ""
    return table(
        ["Who", *(heads[s] for s in sessions)], body,
        caption=f"{sentence(what)} by session ({measure.step.unit}), {label(measure.name)}"
        f"{earlier}",
    )  # fmt: skip


def _letters(happened: pd.DataFrame) -> Iterator[str]:
    """What the letters above the dotted lines mean, those that are there."""
    there = [event for event in LETTERS if (happened["event"] == event).any()]
    if there:
        meaning = ", ".join(f"{LETTERS[event]} {event}" for event in there)
        yield paragraph(f"Dotted lines: {meaning}.")


def differing(review: Review) -> Html:
    """Who differs from the others by more than the number of readings lets expect?"""
    parts = []
    for measure in review.program.measures.values():
        rows = rows_of(review.funnel, measure)
        if rows["estimate"].notna().sum() == 0:
            continue
        named = words.named_in(review, measure.name, question=DIFFERS)
        parts += [
            heading(sentence(label(measure.name)), 3),
            image(
                figures.funnel_plot(rows, measure, named),
                alt=figures.alt_funnel(rows, measure, named),
            ),
            *words.reasons(rows),
        ]  # fmt: skip
        body = [
            (
                r.measurer, amount(r.estimate, measure), number(r.df, 0),
                unbroken(interval(r.lower_95, r.upper_95, measure)),
                unbroken(interval(r.lower_998, r.upper_998, measure)),
            )
            for r in rows[rows["measurer"].isin(named)].itertuples()
        ]  # fmt: skip
        if body:
            parts.append(table(
                ["Who", f"Repeat error ({measure.step.unit})", "Degrees of freedom",
                 "95 % limits of chance", "99.8 %"], body,
                caption=f"Named, all questions taken together, {label(measure.name)}",
            ))  # fmt: skip
        else:
            parts.append(paragraph(f"Nobody is named in {label(measure.name)}."))
    return Html(
        *parts or [paragraph("No repeat error can be had: two readings a child are needed.")]
    )


def moderated_beside(review: Review) -> Html:
    """What is each person's repeat error likely to be, seen among everybody's?"""
    program, moderated, parts = review.program, review.moderated, []
    for measure in program.measures.values():
        rows = rows_of(moderated, measure)
        if rows["moderated"].notna().sum() == 0:
            continue
        people = words.those_shown(program, rows["measurer"], ())
        rows = rows.set_index("measurer").loc[people].reset_index()
        parts.append(heading(sentence(label(measure.name)), 3))
        for start in range(0, len(rows), SOME // 2):
            some = rows.iloc[start : start + SOME // 2]
            parts.append(image(
                figures.drawn_in(some, measure), alt=figures.alt_drawn_in(some, measure)
            ))  # fmt: skip
        body = [
            (r.measurer, amount(r.estimate, measure), number(r.df, 0),
             amount(r.moderated, measure), unbroken(interval(r.lower, r.upper, measure)))
            for r in rows.itertuples()
        ]  # fmt: skip
        parts += [
            *words.reasons(rows),
            table(
                ["Who", f"Own ({measure.step.unit})", "Degrees of freedom", "Moderated",
                 "Interval"], body,
                caption=f"Repeat error over all sessions, {label(measure.name)}",
            ),
        ]  # fmt: skip
        rest = int((moderated["measure"] == measure.name).sum()) - len(rows)
        if rest:
            parts.append(paragraph(f"And {rest} more people, in moderated.csv."))
    return Html(*parts or [paragraph("Nothing can be moderated: there is no repeat error.")])


def cannot_show(review: Review) -> Html:
    """What sessions of this size and number cannot show."""
    lines = []
    for measure in review.program.measures.values():
        rows = rows_of(review.funnel, measure)
        changes = rows_of(review.drifts, measure, what=DIFFERENCE)
        unit, said = measure.step.unit, []
        low, high = (rows[c].median() for c in ("lower_95", "upper_95"))
        if np.isfinite([low, high]).all():
            said.append(
                f"with the usual number of readings here, repeat errors from "
                f"{amount(low, measure)} to {amount(high, measure)} {unit} are all alike by chance"
            )
        half = ((changes["upper"] - changes["lower"]) / 2).median()
        if half == half:
            said.append(
                f"a difference that moves by less than about {amount(half, measure)} {unit} cannot "
                "be told from one that stays"
            )
        if said:
            lines.append(f"{sentence(label(measure.name))}: {'; '.join(said)}.")
    return Html(bullets([
        *lines,
        "Who has the largest or the least error: people of one skill differ by chance, and this "
        "page puts nobody in an order.",
        "Why somebody moved: another instrument, other children, another reference and a new habit "
        "look alike. Somebody who was away is not seen in between.",
        "That nobody drifts: nobody seen to drift is not the same.",
        "What anybody does in the clinic: a session is watched.",
    ]))  # fmt: skip


def notes(review: Review) -> Html:
    """What was left out and why, and which sessions were used."""
    body = [
        (
            s.name, words.when(s.date), s.reference or "\u2013",
            s.readings["measurer"].nunique(), s.readings["subject"].nunique(), len(s.readings),
        )
        for s in review.program.sessions
    ]  # fmt: skip
    problems = review.program.problems
    return Html(
        table(
            ["Session", "Date", "Reference", "People", "Subjects", "Readings"], body,
            caption="Sessions on this page",
        ),
        paragraph(f"{counted(len(problems), 'problem')}:", lead="Left out or to be looked at.")
        if problems else paragraph("Nothing was left out."),
        bullets(str(problem) for problem in problems[:SOME]),
        *cut(problems, "problems"),
    )  # fmt: skip
