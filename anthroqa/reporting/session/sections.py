"""What does each question of the session report say? One function a question."""

from __future__ import annotations

from collections.abc import Collection

import pandas as pd

from anthroqa.analysis import Analysis
from anthroqa.intake import EVERYBODY, Measure
from anthroqa.notes.scores.components import LeftOut
from anthroqa.reporting.page import figures, wording
from anthroqa.reporting.page.html import Html, bullets, heading, image, paragraph, table
from anthroqa.reporting.page.wording import amount, interval, label


def repeatability(analysis: Analysis) -> Html:
    """Does each person agree with themselves?"""
    parts, odd = [], analysis.odd_readers
    scores, decisions = analysis.scores, analysis.decisions
    for measure in analysis.session.measures.values():
        rows = rows_of(decisions, measure, question="repeatability")
        if rows.empty:
            continue
        marked = marked_in(odd, measure)
        subjects = by_person(scores, measure, "within_tem", "subjects")
        percent = by_person(scores, measure, "within_tem_percent")
        reliability = by_person(scores, measure, "reliability")
        body = [
            (
                named(row.measurer, marked), wording.state(row),
                wording.figure_of(row, measure) + _behind(row),
                wording.ends(row, measure), subjects[row.measurer],
                wording.number(_unless_equal(percent[row.measurer], row), 1),
                wording.reliability(_unless_equal(reliability[row.measurer], row)),
            )
            for row in rows.itertuples()
        ]  # fmt: skip
        parts += [
            heading(wording.sentence(label(measure.name)), 3),
            image(
                figures.findings(rows, measure, marked), alt=figures.alt_findings(rows, measure)
            ),
            table(
                ["Who", "Finding", f"Repeat error ({measure.step.unit})", level(scores),
                 "Subjects", "% of mean", "Reliability"],
                body, caption=f"Repeat error (within TEM), {label(measure.name)}",
            ),
            *odd_note(marked),
            *_behind_note(rows, measure),
            *_shifts(scores, measure),
        ]  # fmt: skip
    return Html(*parts)


def marked_in(odd: Collection[tuple[str, str]], measure: Measure) -> set[str]:
    """Who has an odd reading in this measure."""
    return {measurer for name, measurer in odd if name == measure.name}


def named(measurer: str, marked: set[str]) -> str:
    """A person's code, with the mark of an odd reading."""
    return measurer + (wording.ODD if measurer in marked else "")


def odd_note(marked: set[str]) -> list[str]:
    """What the mark means, where somebody has it."""
    text = f"{wording.ODD} holds an odd reading: see the section on odd readings before judging."
    return [paragraph(text)] if marked else []


def _behind(row) -> str:
    return wording.BEHIND if row.statistic == wording.RESOLVED else ""


def _unless_equal(value: float, row) -> float:
    """Blank where every repeat is equal: the error is hidden, and not zero."""
    return value if row.estimate == row.estimate else float("nan")


def _behind_note(rows: pd.DataFrame, measure: Measure) -> list[str]:
    """What it means that a repeat error is the one behind the rounding, where one is."""
    text = (
        f"{wording.BEHIND} behind the rounding: under one step of {measure.step}, so the error is "
        "that of the readings before they were rounded. % of mean and reliability are of the "
        "readings as written."
    )
    return [paragraph(text)] if (rows["statistic"] == wording.RESOLVED).any() else []


def by_person(
    scores: pd.DataFrame, measure: Measure, statistic: str, column: str = "estimate"
) -> dict[str, float]:
    """One column of a statistic by person."""
    rows = rows_of(scores, measure, statistic=statistic)
    return dict(zip(rows["measurer"], rows[column], strict=True))


def level(scores: pd.DataFrame) -> str:
    """The heading of a column of intervals."""
    return f"{100 * wording.confidence_of(scores):.0f} % interval"


def _shifts(scores: pd.DataFrame, measure: Measure) -> list[str]:
    mine = scores[scores["measure"] == measure.name]
    shifts = mine[mine["statistic"].str.startswith("round_shift:")]
    said = [wording.round_shift(row, measure) for row in shifts.itertuples()]
    return [paragraph(wording.sentence(text)) for text in said[:5]]


def rows_of(frame: pd.DataFrame, measure: Measure, **where: str) -> pd.DataFrame:
    """Rows of one measure, and of these those with the given values."""
    frame = frame[frame["measure"] == measure.name]
    for column, value in where.items():
        frame = frame[frame[column] == value]
    return frame


def agreement(analysis: Analysis) -> Html:
    """Between which limits do single readings differ from the reference's?"""
    parts, session, scores = [], analysis.session, analysis.scores
    for measure in session.measures.values():
        rows = rows_of(scores, measure)
        rows = rows[rows["statistic"].isin(["bias", "agreement_lower", "agreement_upper"])]
        ends = [rows[rows["statistic"] == f"agreement_{end}"] for end in ("lower", "upper")]
        rows = rows[rows["measurer"].isin(ends[0].loc[ends[0]["estimate"].notna(), "measurer"])]
        if rows.empty:
            continue
        body = [
            (low.measurer, *(f"{amount(e.estimate, measure, signed=True)} "
             f"({interval(e.lower, e.upper, measure, signed=True)})" for e in (low, high)))
            for low, high in zip(*(e.itertuples() for e in ends), strict=True)
            if low.estimate == low.estimate
        ]  # fmt: skip
        parts += [
            heading(wording.sentence(label(measure.name)), 3),
            image(figures.agreement(rows, measure), alt=figures.alt_agreement(rows, measure)),
            table(
                ["Who", f"Lower limit ({measure.step.unit})", "Upper limit"], body,
                caption=f"95 % limits of agreement with {session.reference}, "
                f"{label(measure.name)}",
            ),
        ]  # fmt: skip
    if not parts:
        return Html(paragraph("Limits of agreement need a reference measurer; none was read."))
    return Html(*parts)


def together(analysis: Analysis) -> Html:
    """How far do the staff differ from one another?"""
    body, notes, session, scores = [], [], analysis.session, analysis.scores
    for measure in session.measures.values():
        figures_ = rows_of(scores, measure, measurer=EVERYBODY).set_index("statistic")
        if "between_tem" not in figures_.index:
            continue
        between, total = figures_.loc["between_tem"], figures_.loc["total_tem"]
        body.append((
            label(measure.name), f"{amount(between['estimate'], measure)} {between['unit']}",
            interval(between["lower"], between["upper"], measure),
            f"{amount(total['estimate'], measure)} {total['unit']}", between["subjects"],
        ))  # fmt: skip
        left_out = [note for note in between["note"] if isinstance(note, LeftOut)]
        notes += [f"{label(measure.name)}: {note}." for note in left_out]
    caption = "Between TEM and total TEM, the reference left out"
    warning = (
        "Odd readings are inside, and the total, as it is published, counts the repeat error "
        "twice: it is more than a single reading shows, and has no interval."
    )
    return Html(
        table(
            ["Measure", "Between staff", level(scores), "Total", "Subjects"],
            body,
            caption=caption,
        ),
        paragraph(warning),
        bullets(notes),
    )
