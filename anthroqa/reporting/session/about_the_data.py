"""What is missing, taken again, corrected or passed over, and from what was the page made?"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from anthroqa.analysis import Analysis
from anthroqa.decisions.retakes import PAIR
from anthroqa.decisions.with_and_without import KEY
from anthroqa.intake import Measure, Session
from anthroqa.reporting.page import wording
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, paragraph, table
from anthroqa.reporting.page.wording import label


def data_notes(analysis: Analysis) -> Html:
    """What is missing, taken again, corrected or passed over?"""
    session = analysis.session
    return Html(
        *_missing(session),
        *_retakes(session, analysis.residuals),
        *_far_apart(session, analysis.retakes),
        *_corrections(session),
        *_conditions(session),
        bullets(f"{file}: {text}." for file, text in session.notices),
        paragraph(f"Columns not used: {wording.listed(session.unused)}.") if session.unused else "",
    )


def _missing(session: Session) -> Iterator[str]:
    missing, absent = session.missing, session.absent
    if missing.empty and absent.empty:
        yield paragraph("No reading is missing.")
        return
    columns = ["measurer", "subject", "measure", "round", "why"]
    both = pd.concat([missing, absent.assign(why="no row")])[columns]
    body = [
        (r.measurer, r.subject, label(r.measure), r.round, r.why)
        for r in both.head(SOME).itertuples()
    ]
    yield table(
        ["Who", "Subject", "Measure", "Round", "Why"], body,
        caption=f"Readings missing: {len(both)}, never counted against anybody",
    )  # fmt: skip
    yield from cut(both, "missing readings")


def _retakes(session: Session, residuals: pd.DataFrame) -> Iterator[str]:
    again = residuals[residuals["retake"] > 0]
    if again.empty:
        return
    first = residuals[residuals["retake"] == 0].set_index(KEY)["value"].rename("first")
    body = [
        (
            r.measurer, r.subject, label(r.measure), r.round, r.retake, r.written,
            _apart(r.value - r.first, session.measures[r.measure]),
            _apart(r.residual, session.measures[r.measure]),
        )
        for r in again.head(SOME).join(first, on=KEY).itertuples()
    ]  # fmt: skip
    yield table(
        ["Who", "Subject", "Measure", "Round", "Retake", "Written", "From the first reading",
         "From the middle of all first readings"], body,
        caption=f"Readings taken again: {len(again)}, kept and in no figure",
    )  # fmt: skip
    yield from cut(again, "retakes")


def _apart(difference: float, measure: Measure) -> str:
    """How far a retake lies, with its unit; blank where there is nothing to hold it against."""
    if difference != difference:
        return ""
    return f"{wording.amount(difference, measure, signed=True)} {measure.step.unit}"


def _far_apart(session: Session, again: pd.DataFrame) -> Iterator[str]:
    limits = {
        name: wording.limit_of(measure, "limit_pair")
        for name, measure in session.measures.items()
        if measure.limit_pair
    }
    pairs = again[(again["kind"] == PAIR) & again["measure"].isin(limits)]
    if pairs.empty:
        return
    body = [
        (r.measurer, r.subject, label(r.measure), r.rounds, limits[r.measure])
        for r in pairs.head(SOME).itertuples()
    ]
    yield table(
        ["Who", "Subject", "Measure", "Rounds", "Further apart than"], body,
        caption=f"Pairs further apart than the program allows: {len(pairs)}",
    )  # fmt: skip
    yield from cut(pairs, "pairs")


def _corrections(session: Session) -> Iterator[str]:
    made = session.corrections
    if made.empty:
        return
    body = [
        (r.measurer, r.subject, label(r.measure), r.round, r.written, r.corrected, r.reason, r.by)
        for r in made.itertuples()
    ]
    yield table(
        ["Who", "Subject", "Measure", "Round", "Written", "Corrected", "Reason", "By"], body,
        caption=f"Corrections applied: {len(made)}; the file of readings is unchanged",
    )  # fmt: skip


def _conditions(session: Session) -> Iterator[str]:
    if "condition" not in session.readings:
        return
    for meaning, codes in session.conditions.items():
        n = int(session.readings["condition"].isin(codes).sum())
        if n:
            yield paragraph(
                f"{n} readings carry a condition that the program calls {meaning}; they are in "
                "every figure."
            )


def run_record(record: dict) -> Html:
    """From which inputs, with which versions and parameters?"""
    rows = [(f"input {name}", digest) for name, digest in record["inputs"].items()]
    rows += [(name, version) for name, version in record["versions"].items()]
    rows += [(f"parameter {name}", value) for name, value in record["parameters"].items()]
    return Html(table(["What", "Value"], rows, caption="Run record; the same is in run.json"))
