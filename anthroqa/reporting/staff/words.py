"""How are a change, a comparison and a date over many sessions said in plain words?

Plain text only; whoever puts it on a page escapes it there. Tables are those of `program`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.program.staff.drift import REFERENCE, REPEAT
from anthroqa.program.staff.reviewed import Review
from anthroqa.program.staff.sessions import Program
from anthroqa.reporting.page.html import SOME, paragraph
from anthroqa.reporting.page.wording import (
    amount,
    counted,
    interval,
    label,
    number,
    sentence,
    unbroken,
)
from anthroqa.scores.marks.screening import NAMED

CROWD = 20  # people in one line before they are only counted


def in_order(program: Program, people: Iterable[str]) -> list[str]:
    """References first, then everybody by code."""
    return sorted(set(people), key=lambda who: (who not in program.references, who))


def those_shown(program: Program, people: Iterable[str], named: Collection[str]) -> list[str]:
    """The first `SOME` people in order, and whoever is named; still in one order."""
    everybody = in_order(program, people)
    first = set(everybody[:SOME]) | set(named)
    return [who for who in everybody if who in first]


def named_in(review: Review, measure: str, **of: str) -> set[str]:
    """Who is named in a measure, in rows whose columns have the values of `of`."""
    rows = review.named[(review.named["measure"] == measure) & (review.named["state"] == NAMED)]
    for column, value in of.items():
        rows = rows[rows[column] == value]
    return set(rows["measurer"])


def crowd(people: Iterable[str]) -> str:
    """Codes one after the other; of very many only how many they are."""
    people = list(people)
    return ", ".join(people) if len(people) <= CROWD else f"{len(people)} people"


def change(row, measure: Measure) -> str:
    """A change over the sessions: a difference's in its unit, a repeat error's as a ratio."""
    if row.change != row.change:
        return "\u2013"
    if row.what == REPEAT:
        return f"{number(row.change, 2)} times"
    return f"{amount(row.change, measure, signed=True)} {row.unit}"


def change_ends(row, measure: Measure) -> str:
    """The interval of a change."""
    if row.lower != row.lower:
        return "no interval"
    if row.what == REPEAT:
        return f"{number(row.lower, 2)} to {number(row.upper, 2)}"
    return interval(row.lower, row.upper, measure, signed=True)


def moved(row, measure: Measure) -> str:
    """One change over the sessions, with its interval."""
    over = f"over {counted(int(row.sessions), 'session')} ({change_ends(row, measure)})"
    if row.what == REPEAT:
        return f"the repeat error went to {number(row.change, 2)} times what it was {over}"
    if row.what == REFERENCE:
        return f"{change(row, measure)} against all staff together {over}"
    return f"the difference moved by {change(row, measure)} beside the other staff {over}"


def differs(row, measure: Measure) -> str:
    """One person's larger repeat error beside that of everybody."""
    return (
        f"repeat error {amount(row.estimate, measure)} {row.unit} over all sessions, above the "
        f"{amount(row.centre, measure)} {row.unit} of everybody together"
    )


def when(date: dt.date | None) -> str:
    """A date kept on one line, or a dash where there is none."""
    return "\u2013" if pd.isna(date) else unbroken(f"{date.day} {date:%b %Y}")


def heads(rows: pd.DataFrame) -> dict[str, str]:
    """Sessions of some rows in their order, each with its date, or its name if two share it."""
    sessions = rows.drop_duplicates("session").sort_values(["date", "session"])
    alike = sessions["date"].duplicated(keep=False)
    return {
        name: name if twice else when(date)
        for name, date, twice in zip(sessions["session"], sessions["date"], alike, strict=True)
    }


def reasons(rows: pd.DataFrame, everybody: int = 0) -> list[str]:
    """Reasons of a table as paragraphs, each once, with whom it holds for where not for all.

    `everybody` is how many people there are, if more than in these rows.
    """
    noted, out = rows[rows["note"].astype(bool)], []
    everybody = everybody or rows["measurer"].nunique()
    for note, some in noted.groupby("note", sort=False):
        people = list(dict.fromkeys(some["measurer"]))
        who = "" if len(people) == everybody else f"{crowd(people)}: "
        out.append(paragraph(sentence(f"{who}{note}.")))
    return out


def follows_reference(review: Review, measure: Measure) -> list[str]:
    """That differences hold what the reference moved by, where it is seen to have moved."""
    if not named_in(review, measure.name, what=REFERENCE):
        return []
    return [paragraph(
        f"{review.program.reference} is seen to have moved in {label(measure.name)}, or all the "
        "staff: differences from it go along with that, and are no finding about one person."
    )]  # fmt: skip
