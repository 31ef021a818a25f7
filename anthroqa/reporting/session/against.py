"""Does each person agree with the reference and the others, and may it be the reference?"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from anthroqa.analysis import Analysis
from anthroqa.intake import Measure, Session
from anthroqa.notes import said
from anthroqa.notes.decisions import InstrumentDiffers
from anthroqa.reporting.page import figures, wording
from anthroqa.reporting.page.html import Html, bullets, heading, image, paragraph, table
from anthroqa.reporting.page.wording import amount, interval, label, number, unbroken
from anthroqa.reporting.session.sections import (
    by_person,
    level,
    marked_in,
    named,
    odd_note,
    rows_of,
)

_LESS_INSTRUMENT = "bias_less_instrument"


def difference(analysis: Analysis) -> Html:
    """Does each person agree with the reference, or without one with the other staff?"""
    parts, odd, session = [], analysis.odd_readers, analysis.session
    for measure in session.measures.values():
        rows = rows_of(analysis.decisions, measure, question="bias")
        if rows.empty:
            continue
        parts.append(heading(wording.sentence(label(measure.name)), 3))
        if rows["estimate"].isna().all():
            parts.append(paragraph(f"No difference can be had: {rows['note'].iloc[0]}."))
            continue
        marked = marked_in(odd, measure)
        parts += [
            image(
                figures.findings(rows, measure, marked), alt=figures.alt_findings(rows, measure)
            ),
            _table(session, analysis.scores, rows, measure, marked),
            *odd_note(marked),
            *_instruments(rows, by_person(analysis.scores, measure, "bias")),
            *_reference_itself(analysis.doubts, analysis.views, measure),
        ]  # fmt: skip
    return Html(*parts)


def _table(
    session: Session, scores: pd.DataFrame, rows: pd.DataFrame, measure: Measure, marked: set[str]
) -> str:
    """Own difference beside that from the others; as read, too, where instruments were known."""
    others = rows_of(scores, measure, statistic="bias_from_others").set_index("measurer")
    rms, as_read = (by_person(scores, measure, name) for name in ("rms_error", "bias"))
    less = _differs(rows, as_read)
    body = [
        (
            named(row.measurer, marked), wording.state(row),
            amount(row.estimate, measure, signed=True),
            unbroken(interval(row.lower, row.upper, measure, signed=True, limit=row.limit)),
            *[amount(as_read[row.measurer], measure, signed=True)] * less,
            _with_interval(others.loc[row.measurer], measure),
            amount(rms[row.measurer], measure),
        )
        for row in rows.itertuples()
    ]  # fmt: skip
    header = ["Who", "Finding", f"Difference ({measure.step.unit})", level(scores)]
    header += ["As read"] * less + ["From the others", "Both together"]
    against = wording.sentence(wording.question(rows.iloc[0], session))
    return table(header, body, caption=f"{against}, {label(measure.name)}")


def _with_interval(row, measure: Measure) -> str:
    size = amount(row["estimate"], measure, signed=True)
    if row["lower"] != row["lower"]:
        return size
    ends = interval(row["lower"], row["upper"], measure, signed=True)
    return unbroken(f"{size} ({ends})")


def _differs(rows: pd.DataFrame, as_read: dict[str, float]) -> bool:
    """Whether what is known of the instruments changes a difference."""
    less = rows[rows["statistic"] == _LESS_INSTRUMENT]
    plain = less["measurer"].map(as_read).astype(float)  # none at all would be text
    return bool((less["estimate"] - plain).abs().max() > 0)


def _instruments(rows: pd.DataFrame, as_read: dict[str, float]) -> Iterator[str]:
    """Where a difference holds, or is freed of, what the instruments differ by."""
    if _differs(rows, as_read):
        yield paragraph(
            "Differences are less the known error of the instruments (known_loads.csv); as read, "
            "they hold it."
        )
    unlike: dict[InstrumentDiffers, list[str]] = {}
    for row in rows.itertuples():
        if note := row.note.first(InstrumentDiffers):
            unlike.setdefault(note, []).append(row.measurer)
    if unlike:
        yield paragraph("Not only the person differs here:")
        yield bullets(f"{wording.listed(who)}: {note}." for note, who in unlike.items())


def _reference_itself(doubts: pd.DataFrame, views: pd.DataFrame, measure: Measure) -> Iterator[str]:
    """How the reference lies against the staff, and what that says."""
    for row in rows_of(doubts, measure).itertuples():
        if row.estimate != row.estimate:
            yield paragraph(f"{row.reference} against the staff: {row.note}.")
            continue
        ends = interval(row.lower, row.upper, measure, signed=True)
        size = f"{amount(row.estimate, measure, signed=True)} {row.unit} ({ends})"
        without = ""
        if row.without_one:
            other = interval(row.other_lower, row.other_upper, measure, signed=True)
            without = f", without {row.without_one} {other}"
        notes = "".join(f" {wording.sentence(said(note))}." for note in row.note)
        yield paragraph(
            f"the readings of {row.reference} lie {size} from the mean of the staff{without}."
            f"{notes} Whatever error {row.reference} has is in every difference "
            f"above{_own_part(views, measure)}.",
            lead=f"Is it {row.reference}? {wording.sentence(row.state)}:",
        )


def _own_part(views: pd.DataFrame, measure: Measure) -> str:
    """How much of the uncertainty of the differences the reference's own repeat error makes."""
    share = rows_of(views, measure)["reference_part"].median()
    if share != share:
        return ""
    return (
        f"; its own repeat error makes {number(100 * share, 0)} % of their squared error (median)"
    )


def growing(analysis: Analysis) -> Html:
    """Whose difference grows or shrinks with size, and how that stands without moving subjects."""
    by_size, measures = analysis.by_size, analysis.session.measures
    lines = by_size[(by_size["readings_used"] == "all") & by_size["slope"].notna()]
    if lines.empty:
        return Html(paragraph("No line can be drawn: six common subjects are the least."))
    turned = lines[(lines["lower"] > 0) | (lines["upper"] < 0)]
    shown = lines[lines["turns"]]
    calm = by_size[by_size["readings_used"] == "without moving"].set_index(["measure", "measurer"])
    by_chance = f"{len(turned)} of {len(lines)} lines turn by their own interval"
    if shown.empty:
        return Html(paragraph(
            f"Nobody's difference is seen to grow or shrink with the size of the subject, beyond "
            f"what chance gives so many lines ({by_chance})."
        ))  # fmt: skip
    return Html(
        bullets(_slope(row, measures[row.measure], calm) for row in shown.itertuples()),
        paragraph(
            f"{by_chance}; these hold for all lines together (Holm). Such a line points to "
            "the instrument's span, or to technique at one end of the sizes."
        ),
    )


def _slope(row, measure: Measure, calm: pd.DataFrame) -> str:
    low, high = (amount(v, measure, signed=True) for v in (row.at_low, row.at_high))
    text = (
        f"{row.measurer}, {label(measure.name)}: from {low} {row.unit} at "
        f"{amount(row.low, measure)} to {high} {row.unit} at {amount(row.high, measure)} "
        f"({_line(row)})"
    )
    if (row.measure, row.measurer) in calm.index:
        text += f"; without moving subjects {_line(calm.loc[row.measure, row.measurer])}"
    return f"{text}."


def _line(row) -> str:
    slope, lower, upper = (number(v, 2, signed=True) for v in (row.slope, row.lower, row.upper))
    return f"{slope} {row.slope_unit}, {lower} to {upper}"
