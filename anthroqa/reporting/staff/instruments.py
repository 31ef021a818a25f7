"""What is said of instruments that were checked against known loads in several sessions?"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.program.staff.reviewed import Review
from anthroqa.reporting.page.html import SOME, paragraph, table
from anthroqa.reporting.page.wording import amount, interval, listed, reading, unbroken
from anthroqa.reporting.staff import words


def said_of(row, measure: Measure) -> str:
    """One instrument's change since the first session that checked it."""
    way = "higher" if row.change > 0 else "lower"
    ends = interval(row.change_lower, row.change_upper, measure, signed=True)
    return (
        f"{row.instrument} reads {amount(abs(row.change), measure)} {row.unit} {way} than at first "
        f"({ends}, at {_load(row.load, measure)})"
    )


def _load(load: float, measure: Measure) -> str:
    """A known load as people write it."""
    return "zero" if load == 0 else unbroken(reading(float(load), measure))


def by_instrument(review: Review) -> Iterator[str]:
    """Errors against known loads, session by session, of the instruments that moved."""
    checks, moved = review.instrument_drifts, review.moved_instruments
    if checks.empty:
        yield paragraph(
            "No session has a known_loads.csv: whether an instrument moved is not known, and a "
            "drift of one looks like one of everybody who used it.",
            lead="Instruments:",
        )
        return
    yield paragraph(f"{_in_words(checks, moved)}.", lead="Instruments:")
    for row in moved.itertuples():
        measure = review.program.measures[row.measure]
        rows = checks[(checks["measure"] == row.measure) & (checks["instrument"] == row.instrument)]
        yield _table(rows, measure, row.instrument)


def _in_words(checks: pd.DataFrame, moved: pd.DataFrame) -> str:
    """Which instruments moved, which are not seen to have, and which were checked once only."""
    there, known = set(moved["instrument"]), set(checks.loc[checks["change"].notna(), "instrument"])
    parts = [f"{listed(sorted(there))} moved"] if there else []
    if known - there:
        parts.append(f"not seen to have moved: {listed(sorted(known - there))}")
    if once := set(checks["instrument"]) - known:
        parts.append(f"checked in one session only: {listed(sorted(once))}")
    return "; ".join(parts)


def _table(rows: pd.DataFrame, measure: Measure, instrument: str) -> str:
    """The errors of one instrument: a row a load, a column a session."""
    heads, body = words.heads(rows), []
    for (_, load), some in rows.groupby(["check", "load"], sort=False):
        last = some.iloc[-1]
        at = dict(zip(some["session"], some["error"], strict=True))
        errors = (amount(at.get(s, float("nan")), measure, signed=True) for s in heads)
        body.append((_load(load, measure), *errors, _change(last, measure)))
    return table(
        ["Load", *heads.values(), "Change"], body[:SOME],
        caption=f"Error of {instrument} against known loads ({measure.step.unit})",
    )  # fmt: skip


def _change(last: pd.Series, measure: Measure) -> str:
    """The change since the first session, with its interval."""
    if last["change"] != last["change"]:
        return "\u2013"
    ends = interval(last["change_lower"], last["change_upper"], measure, signed=True)
    return unbroken(f"{amount(last['change'], measure, signed=True)} ({ends})")
