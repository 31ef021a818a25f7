"""What does a trainer need in ten seconds: who is within, over, not settled; how sure is that?"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import pandas as pd

from anthroqa.analysis import Analysis
from anthroqa.decisions.reference import MAY_BE_OFF
from anthroqa.intake import Measure, Session
from anthroqa.notes.decisions import InstrumentDiffers
from anthroqa.reporting.page import wording
from anthroqa.reporting.page.html import Html, bullets, heading, paragraph
from anthroqa.reporting.page.wording import label
from anthroqa.reporting.session import instrument_section, marks, marks_words, odd

_CROWD = 20  # people in one line before they are only counted


def opening(analysis: Analysis) -> Html:
    """What a trainer needs in ten seconds, then every finding by measure."""
    session, decisions = analysis.session, analysis.decisions
    reached, confidence = analysis.reach, analysis.confidence
    return Html(
        heading(session.title, 1),
        _facts(session),
        heading("In short", 2),
        *_too_fine(session, analysis.too_fine),
        *_over(session, decisions, analysis.slips, analysis.variants),
        *instrument_section.in_short(analysis),
        *_doubted(analysis.doubts),
        *_the_rest(decisions),
        *marks.in_short(analysis),
        paragraph(
            "This is an audit of technique. No child is reclassified by it, and no person is "
            "judged by one number: look at the readings, the scale and the conditions first. "
            "Local protocol and licensed practice decide.",
            lead="Before you act.",
        ),
        *(part for measure in session.measures.values()
          for part in _by_state(session, decisions, measure, analysis.odd_readers)),
        heading("How far this session reaches", 2),
        paragraph(wording.by_chance(reached, confidence), lead="Chance."),
        *_chance_of_marks(analysis.mark_findings),
        *_cannot_show(session, reached, analysis.marks_reach),
        *_second_look(decisions, confidence),
    )  # fmt: skip


def _facts(session: Session) -> str:
    readings = session.readings
    staff = sorted(set(readings["measurer"]) - {session.reference})
    date = f"{wording.day(session.date)}. " if session.date else ""
    reference = f" beside the reference {session.reference}" if session.reference else ""
    return paragraph(
        f"{date}{len(staff)} staff{reference}, "
        f"{wording.counted(readings['subject'].nunique(), 'subject')}, "
        f"{wording.counted(len(readings), 'reading')} of "
        f"{wording.counted(len(session.measures), 'measure')}."
    )


def _over(
    session: Session, decisions: pd.DataFrame, slips: pd.DataFrame, others: pd.DataFrame
) -> list[str]:
    judged = decisions[decisions["state"] != "not judged"]
    over = decisions[decisions["state"] == "over limit"]
    if over.empty:
        none = f"none of {wording.counted(len(judged), 'finding')}."
        return [paragraph(none, lead="Over a limit:")]
    then = odd.findings(others)
    lines = [
        wording.over_limit(row, session, odd.in_short(slips, then, row))
        for row in over.itertuples()
    ]
    return [
        paragraph(f"{len(over)} of {len(judged)} findings.", lead="Over a limit:"),
        bullets(lines),
    ]


def _too_fine(session: Session, fine: pd.DataFrame) -> Iterator[str]:
    """Limits that rounding alone uses up, told before anybody is judged by them."""
    if fine.empty:
        return
    yield paragraph(
        "the steps that were read are too coarse for them. Look at these limits before at people.",
        lead="Limits that are too fine:",
    )
    yield bullets(wording.too_fine(row, session.measures[row.measure]) for row in fine.itertuples())


def _doubted(doubts: pd.DataFrame) -> Iterator[str]:
    """Measures in which the reference, rather than everybody else, may be off."""
    off = doubts[doubts["state"] == MAY_BE_OFF]
    if len(off):
        yield paragraph(
            f"{off['reference'].iloc[0]} may be off in "
            f"{wording.listed(map(label, off['measure']))}: the staff together lie further from it "
            "than the limit. Settle that first.",
            lead="The reference:",
        )


def _the_rest(decisions: pd.DataFrame) -> Iterator[str]:
    counts = decisions["state"].value_counts()
    others = [
        f"{counts[state]} {words}"
        for state, words in (
            ("within limit", "within the limit"), ("not settled", "not settled"),
            ("not judged", "not judged"),
        )
        if state in counts
    ]  # fmt: skip
    text = f"{wording.listed(others)}, by measure below." if others else "none."
    states = decisions.groupby("measurer", sort=False)["state"].agg(set)
    clear = [who for who, found in states.items() if found == {"within limit"}]
    if clear:
        text += f" Within the limit on everything: {wording.listed(clear)}."
    yield paragraph(text, lead="The other findings:")


def _chance_of_marks(mark_findings: pd.DataFrame) -> Iterator[str]:
    if text := marks_words.by_chance(mark_findings):
        yield paragraph(text, lead="Chance in marks and second readings.")


def _cannot_show(session: Session, reached: pd.DataFrame, marked: pd.DataFrame) -> Iterator[str]:
    yield paragraph(
        "ranks of people, small differences between them, mild habits of reading marks, and "
        "whether they measure like this in the clinic.",
        lead="What this session cannot show:",
    )
    against = session.reference or "the other staff"
    lines = [
        wording.cannot_show(rows, session.measures[name], against)
        for name, rows in reached.groupby("measure", sort=False)
    ]
    yield bullets([*lines, *marks_words.must_take(marked)])


def _second_look(decisions: pd.DataFrame, confidence: float) -> Iterator[str]:
    """The price of adding subjects until it fits, at the confidence it is known for."""
    if (decisions["more_subjects"].fillna(0) > 0).any() and confidence == 0.9:
        yield paragraph(
            "The number of further subjects is the least that would settle a finding if its "
            "figure stayed exactly as it is; it may not. Looking again after adding subjects "
            "raises the risk of a wrong finding from 5 % to between 7 and 9 %.",
            lead="A second look.",
        )


def _by_state(
    session: Session, decisions: pd.DataFrame, measure: Measure, odd: Collection[tuple[str, str]]
) -> Iterator[str]:
    mine = decisions[decisions["measure"] == measure.name]
    if mine.empty:
        return
    yield heading(wording.sentence(label(measure.name)), 3)
    yield paragraph(f"Read to {measure.step}. {_limits(measure)}")
    asked: dict[str, list] = {}
    for row in mine.itertuples():
        asked.setdefault(row.question, []).append(row)
    for rows in asked.values():
        yield paragraph(f"{wording.sentence(wording.question(rows[0], session))}:")
        yield bullets([
            f"{sign} {state}{reason}: {_people(some, measure, odd)}"
            for state, sign in wording.STATE_SIGNS.items()
            for reason, some in _reasons(rows, state, measure, odd).items()
        ], signed=True)  # fmt: skip
    if any(name == measure.name for name, _ in odd):
        yield paragraph(
            f"{wording.ODD} an odd reading is in this figure: look it up on paper before anything "
            "else."
        )
    if (mine["statistic"] == "bias_from_others").any():
        yield paragraph(
            "Without a reference a difference says only that people disagree, not who is right: "
            "one person far off moves everybody else's figure the other way."
        )
    unlike = [row.measurer for row in mine.itertuples() if InstrumentDiffers in row.note]
    if unlike:
        yield paragraph(
            f"{wording.listed(unlike)} did not use the instrument of {session.reference}: part of "
            "their differences may be the instruments'."
        )


def _people(rows: list, measure: Measure, odd: Collection[tuple[str, str]]) -> str:
    """Each person with their figure; of a crowd that is not over a limit only how many they are."""
    if len(rows) > _CROWD and rows[0].state != "over limit":
        return f"{len(rows)} people, each with figure and interval in the sections below"
    return "; ".join(wording.with_help(row, measure, odd) for row in rows)


def _reasons(
    rows: list, state: str, measure: Measure, odd: Collection[tuple[str, str]]
) -> dict[str, list]:
    """People of one state, those with the same reason together."""
    together: dict[str, list] = {}
    for row in rows:
        if row.state == state:
            reason = wording.reason(row, measure, odd)
            together.setdefault(f" ({reason})" if reason else "", []).append(row)
    return together


def _limits(measure: Measure) -> str:
    named = (("repeat error", "limit_tem"), ("difference", "limit_bias"))
    set_ = [
        f"{what} {wording.limit_of(measure, key)}" for what, key in named if getattr(measure, key)
    ]
    if not set_:
        return "The program has set no limit: figures are given, nothing is judged."
    source = measure.limit_source or "no source given"
    return f"The program's limits: {', '.join(set_)} ({source})."
