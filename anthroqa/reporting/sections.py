"""What does each question of the session report say? One function a question."""

from __future__ import annotations

import pandas as pd

from anthroqa.intake import Measure, Session
from anthroqa.reporting import figures, wording
from anthroqa.reporting.html import SOME, Html, bullets, cut, heading, image, paragraph, table
from anthroqa.reporting.wording import amount, interval, label


def repeatability(
    session: Session, scores: pd.DataFrame, decisions: pd.DataFrame, residuals: pd.DataFrame
) -> Html:
    """Does each person agree with themselves?"""
    parts, odd = [], wording.odd_readers(residuals)
    for measure in session.measures.values():
        rows = _rows(decisions, measure, question="repeatability")
        if rows.empty:
            continue
        marked = _marked(odd, measure)
        subjects = _by_person(scores, measure, "within_tem", "subjects")
        percent = _by_person(scores, measure, "within_tem_percent")
        reliability = _by_person(scores, measure, "reliability")
        body = [
            (
                _named(row.measurer, marked), wording.state(row),
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
                ["Who", "Finding", f"Repeat error ({measure.step.unit})", _level(scores),
                 "Subjects", "% of mean", "Reliability"],
                body, caption=f"Repeat error (within TEM), {label(measure.name)}",
            ),
            *_odd_note(marked),
            *_behind_note(rows, measure),
            *_shifts(scores, measure),
        ]  # fmt: skip
    return Html(*parts)


def _marked(odd: set[tuple[str, str]], measure: Measure) -> set[str]:
    """Who has an odd reading in this measure."""
    return {measurer for name, measurer in odd if name == measure.name}


def _named(measurer: str, marked: set[str]) -> str:
    return measurer + (wording.ODD if measurer in marked else "")


def _odd_note(marked: set[str]) -> list[str]:
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


def _by_person(
    scores: pd.DataFrame, measure: Measure, statistic: str, column: str = "estimate"
) -> dict[str, float]:
    rows = _rows(scores, measure, statistic=statistic)
    return dict(zip(rows["measurer"], rows[column], strict=True))


def _level(scores: pd.DataFrame) -> str:
    return f"{100 * wording.confidence_of(scores):.0f} % interval"


def _shifts(scores: pd.DataFrame, measure: Measure) -> list[str]:
    mine = scores[scores["measure"] == measure.name]
    shifts = mine[mine["statistic"].str.startswith("round_shift:")]
    said = [wording.round_shift(row, measure) for row in shifts.itertuples()]
    return [paragraph(wording.sentence(text)) for text in said[:5]]


def _rows(frame: pd.DataFrame, measure: Measure, **where: str) -> pd.DataFrame:
    frame = frame[frame["measure"] == measure.name]
    for column, value in where.items():
        frame = frame[frame[column] == value]
    return frame


def difference(
    session: Session, scores: pd.DataFrame, decisions: pd.DataFrame, residuals: pd.DataFrame
) -> Html:
    """Does each person agree with the reference, or without one with the other staff?"""
    parts, odd = [], wording.odd_readers(residuals)
    for measure in session.measures.values():
        rows = _rows(decisions, measure, question="bias")
        if rows.empty:
            continue
        if rows["estimate"].isna().all():
            parts += [
                heading(wording.sentence(label(measure.name)), 3),
                paragraph(f"No difference can be had: {rows['note'].iloc[0]}."),
            ]
            continue
        marked = _marked(odd, measure)
        others = _rows(scores, measure, statistic="bias_from_others").set_index("measurer")
        from_others = others["estimate"].to_dict()
        rms = _by_person(scores, measure, "rms_error")
        body = [
            (
                _named(row.measurer, marked), wording.state(row),
                amount(row.estimate, measure, signed=True),
                interval(row.lower, row.upper, measure, signed=True, limit=row.limit),
                amount(from_others[row.measurer], measure, signed=True),
                amount(rms[row.measurer], measure),
            )
            for row in rows.itertuples()
        ]  # fmt: skip
        own = others.loc[others.index == session.reference]
        parts += [
            heading(wording.sentence(label(measure.name)), 3),
            image(
                figures.findings(rows, measure, marked), alt=figures.alt_findings(rows, measure)
            ),
            table(
                ["Who", "Finding", f"Difference ({measure.step.unit})", _level(scores),
                 "From the others", "Both together"],
                body, caption=f"{_against(rows, session)}, {label(measure.name)}",
            ),
            *_odd_note(marked),
            *(_reference_itself(row, measure) for row in own.reset_index().itertuples()),
            *_unlike(rows),
        ]  # fmt: skip
    return Html(*parts)


def _against(rows: pd.DataFrame, session: Session) -> str:
    return wording.sentence(wording.question(rows.iloc[0], session))


def _reference_itself(row, measure: Measure) -> str:
    if row.estimate != row.estimate:
        return paragraph(f"{row.measurer} against the staff: {row.note}.")
    size = amount(row.estimate, measure, signed=True)
    ends = interval(row.lower, row.upper, measure, signed=True)
    return paragraph(
        f"The readings of {row.measurer} lie {size} {row.unit} ({ends}) from the mean of the "
        f"staff. That can be {row.measurer} or the staff: one person far off pulls the mean. "
        f"Whatever error {row.measurer} has is in every difference above."
    )


def _unlike(rows: pd.DataFrame) -> list[str]:
    noted = rows[rows["note"].str.contains("measured on")]
    if noted.empty:
        return []
    reasons = noted["note"].str.extract("(measured on [^;]*)")[0]
    return [
        paragraph("Not only the person differs here:"),
        bullets(
            f"{wording.listed(some['measurer'])}: {reason}."
            for reason, some in noted.groupby(reasons, sort=False)
        ),
    ]


def distances(session: Session, residuals: pd.DataFrame) -> Html:
    """How far is every reading from its subject's consensus?"""
    parts = []
    for measure in session.measures.values():
        rows = _rows(residuals, measure)
        rows = rows[rows["residual"].notna() & (rows["retake"] == 0)]
        if rows.empty:
            parts += [
                heading(wording.sentence(label(measure.name)), 3),
                paragraph("Nobody else measured these subjects: there is no consensus."),
            ]
            continue
        far = rows[rows["far"]]
        parts += [
            heading(wording.sentence(label(measure.name)), 3),
            image(figures.distances(rows, measure), alt=figures.alt_distances(rows, measure)),
        ]
        if far.empty:
            parts.append(paragraph("No reading lies far from the rest."))
            continue
        body = [
            (
                r.measurer, r.subject, r.round, r.written, wording.reading(r.value, measure),
                wording.reading(r.consensus, measure), amount(r.residual, measure, signed=True),
            )
            for r in far.head(SOME).itertuples()
        ]  # fmt: skip
        unit = measure.step.unit
        parts.append(
            table(
                ["Who", "Subject", "Round", "Written", "Worth", "Consensus", f"Distance ({unit})"],
                body, caption=f"Readings to look at again on paper, {label(measure.name)}",
            )
        )  # fmt: skip
        parts += cut(far, "readings")
    return Html(*parts)


def agreement(session: Session, scores: pd.DataFrame) -> Html:
    """Between which limits do single readings differ from the reference's?"""
    parts = []
    for measure in session.measures.values():
        rows = _rows(scores, measure)
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


def together(session: Session, scores: pd.DataFrame) -> Html:
    """How far do the staff differ from one another?"""
    body, notes = [], []
    for measure in session.measures.values():
        figures_ = _rows(scores, measure, measurer="(all)").set_index("statistic")
        if "between_tem" not in figures_.index:
            continue
        between, total = figures_.loc["between_tem"], figures_.loc["total_tem"]
        body.append((
            label(measure.name), f"{amount(between['estimate'], measure)} {between['unit']}",
            f"{amount(total['estimate'], measure)} {total['unit']}", between["subjects"],
        ))  # fmt: skip
        left_out = [n for n in between["note"].split("; ") if n.startswith("left out")]
        notes += [f"{label(measure.name)}: {n}." for n in left_out]
    caption = "Between TEM and total TEM, the reference left out"
    warning = (
        "No interval is given, odd readings are inside, and the total, as it is published, counts "
        "the repeat error twice: it is more than a single reading shows."
    )
    return Html(
        table(["Measure", "Between staff", "Total", "Subjects"], body, caption=caption),
        paragraph(warning),
        bullets(notes),
    )
