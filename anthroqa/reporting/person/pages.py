"""What does a person's own page say after a session: what to keep, what to practise, what is open?

One page a person, who may read it alone and tired: their own readings, their own figures, and how
to question them. Nobody else's code or figure is on it. Everything comes from tables that are
made already; what is over a limit is said beside what must be looked at before it is believed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from anthroqa.analysis import Analysis
from anthroqa.decisions.with_and_without import WITHOUT_SLIPS
from anthroqa.intake import EVERYBODY, Measure, Session
from anthroqa.reporting.page import outputs, wording
from anthroqa.reporting.page.html import Html, bullets, escape, heading, paragraph
from anthroqa.reporting.page.wording import counted, label, listed, sentence
from anthroqa.reporting.person import folder, words
from anthroqa.reporting.person.figures import own_readings
from anthroqa.reporting.person.first_lines import OVER, first
from anthroqa.reporting.person.practice import practise, said
from anthroqa.reporting.session.about_the_data import run_record
from anthroqa.reporting.session.odd import findings as odd_findings

_STATES = (  # state, how it leads in, what follows from it
    ("within limit", "Keep doing:", "within the limit"),
    ("over limit", "Over the limit:", "see below"),
    ("not settled", "Not settled:", "measuring more settles it, not more training"),
    ("not judged", "Not judged:", "see why below"),
)
_ODD_MATTERS = ("over limit", "not settled")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Own:
    """What one person's page is made from: their rows, and what is needed beside these."""

    confidence: float
    decisions: pd.DataFrame
    mark_findings: pd.DataFrame
    slips: pd.DataFrame
    variants: pd.DataFrame
    patterns: pd.DataFrame  # of everybody on an instrument, too
    residuals: pd.DataFrame  # of everybody
    doubts: pd.DataFrame
    checks: pd.DataFrame


def people(session: Session, measurer: str = "") -> list[str]:
    """Whose pages are to be made: the reference first, then the staff by code.

    Raises
    ------
    ValueError
        If the session is a drill, or nobody has the code `measurer`.
    """
    if session.exercise == "drill":
        raise ValueError(
            "this is a drill: it says who reads which marks, and its page is made by "
            "anthroqa drill FOLDER --out DIR"
        )
    codes = sorted(session.readings["measurer"].unique(), key=lambda p: (p != session.reference, p))
    if measurer and measurer not in codes:
        some = listed(codes[:20]) + (f" and {len(codes) - 20} more" if len(codes) > 20 else "")
        raise ValueError(f"nobody in this session has the code {measurer!r}; codes are {some}")
    return [measurer] if measurer else codes


def sheets(analysis: Analysis, measurer: str = "") -> dict[str, Html]:
    """The page of each person, or of one, by code."""
    session = analysis.session
    return {
        code: Html(_page(session, code, _own(analysis, code))) for code in people(session, measurer)
    }


def together(pages: Mapping[str, Html]) -> Html:
    """All pages, one after the other, each on a sheet of its own when printed."""
    sheets = (
        f'<div id="{folder.anchor(n)}">{page.text}</div>' for n, page in enumerate(pages.values())
    )
    return Html(f"<style>{folder.style()}</style>", *sheets)


def saved(
    analysis: Analysis, pages: Mapping[str, Html], tables_folder: str | Path, *, measurer: str,
    paper: str,
) -> Html:  # fmt: skip
    """Write the page of each person and `run.json`; from what they were made."""
    parameters = {
        "confidence": analysis.confidence, "seed": analysis.seed, "measurer": measurer,
        "paper": paper,
    }  # fmt: skip
    record = outputs.run_record(analysis.session, parameters)
    folder.save(tables_folder, analysis.session.title, pages, record)
    return run_record(record)


def _own(analysis: Analysis, code: str) -> Own:
    """One person's rows of each table, and the tables of which more than these are needed."""

    def mine(table: pd.DataFrame, *others: str) -> pd.DataFrame:
        return table[table["measurer"].isin([code, *others])]

    return Own(
        confidence=analysis.confidence, decisions=mine(analysis.decisions),
        mark_findings=mine(analysis.mark_findings), slips=mine(analysis.slips),
        variants=mine(analysis.variants), patterns=mine(analysis.patterns, EVERYBODY),
        residuals=analysis.residuals, doubts=analysis.doubts, checks=analysis.instrument_checks,
    )  # fmt: skip


def _page(session: Session, code: str, own: Own) -> str:
    """Everything about one person."""
    parts = [
        _head(session, code),
        *_in_short(own),
        *_practise(session, code, own),
        *_measures(session, code, own),
        *_look_up(session, own),
        *_notes(session, code, own),
        *_question(session, own),
    ]
    return f'<section class="person">{"".join(parts)}</section>'


def _head(session: Session, code: str) -> str:
    date = f" \u00b7 {wording.day(session.date)}" if session.date else ""
    return (
        f'<div class="head"><h2>{escape(code)}</h2><p>{escape(session.title + date)}<br>'
        "For you, before anybody else. It holds your own results only.</p></div>"
    )


def _in_short(own: Own) -> Iterator[str]:
    """The findings in four lines at most, by state."""
    yield '<div class="short">'
    for state, lead, after in _STATES:
        rows = own.decisions[own.decisions["state"] == state]
        if rows.empty:
            continue
        odd = rows["measure"].isin(own.slips["measure"]) & (state in _ODD_MATTERS)
        names = [label(name) for name in dict.fromkeys(rows.loc[odd, "measure"])]
        look = f"first look up what is odd in {listed(names)}, below" if names else ""
        after = "; ".join(text for text in ("" if odd.all() else after, look) if text)
        yield paragraph(f"{words.by_measure(rows)}: {after}.", lead=lead)
    yield "</div>"


def _practise(session: Session, code: str, own: Own) -> Iterator[str]:
    """What to look at before oneself, then at most three steps."""
    yield '<div class="practise">' + heading("To practise", 3)
    before = first(session, code, own.decisions, own.checks, own.patterns, own.doubts)
    yield from (paragraph(text, lead=lead) for lead, text in before)
    mine = own.patterns[own.patterns["measurer"] == code]
    steps = practise(own.decisions, mine, own.mark_findings, own.slips, session.measures)
    if steps:
        lines = [f"<strong>{escape(do)}</strong> {escape(why)}" for do, why in map(said, steps)]
        yield f"<ol>{''.join(f'<li>{line}</li>' for line in lines)}</ol>"
        which = "It is" if len(steps) == 1 else "Each is"
        yield paragraph(f"{which} one thing that would leave such a mark; others would too.")
    else:
        over = own.decisions.loc[own.decisions["state"] == OVER, "measure"]
        plain = ~over.isin(own.slips["measure"])  # with no odd reading in it
        watched = " Ask somebody to watch you measure." if plain.any() else ""
        yield paragraph(f"Nothing in your readings points to a step to practise.{watched}")
    yield "</div>"


def _measures(session: Session, code: str, own: Own) -> Iterator[str]:
    """Each measure with its drawing, figures and findings."""
    judged = set(own.decisions["measure"])
    cards = [_measure(session, code, own, m) for n, m in session.measures.items() if n in judged]
    level = 100 * own.confidence
    yield (
        '<p class="legend"><b>Your readings.</b> A line a subject: \u25cb your first reading, '
        "\u25b3 the second, \u25a0 one far off, against the middle of everybody's readings of that "
        "subject; grey: other people's, without names. At the foot your figures: the line is the "
        f"interval ({level:.0f} %), | the limit. <b>Repeat error</b>: how far one reading of yours "
        "usually is from your own mean of the same subject.</p>"
    )
    yield f'<div class="measures{" one" if len(cards) == 1 else ""}">{"".join(cards)}</div>'


def _measure(session: Session, code: str, own: Own, measure: Measure) -> str:
    rows = own.decisions[own.decisions["measure"] == measure.name]
    read = own.residuals[own.residuals["measure"] == measure.name]
    read = read[read["retake"] == 0]
    mine = read["measurer"] == code
    drawn = own_readings(read[mine], read[~mine], rows, measure)
    if not drawn:
        drawn = paragraph("Nobody else read these subjects: there is nothing to draw against.")
    title = escape(sentence(label(measure.name)))
    lines = [_result(own, row, measure) for row in rows.itertuples()]
    if code == session.reference:
        lines.append("You are the reference: no difference is judged.")
    return (
        f'<div class="measure"><h4>{title}<span>read to {escape(str(measure.step))}</span></h4>'
        f"{drawn}<ul>{''.join(f'<li>{line}</li>' for line in lines)}</ul></div>"
    )


def _result(own: Own, row, measure: Measure) -> str:
    """One finding: the state, the figure with its interval, the limit, and what is open."""
    odd = own.slips[own.slips["measure"] == measure.name].drop_duplicates(words.READING)
    if row.question == "repeatability":
        what, figure = "repeat error", words.repeat_error(row, measure)
    else:
        what, figure = f"against {words.compared_with(row)}", words.difference(row, measure)
    limit = (
        wording.limit_of(measure, wording.LIMITS[row.question]) if row.limit == row.limit else ""
    )
    parts = [
        f"{what} {figure}", f"limit {limit}" if limit else "",
        words.why_open(row, odd=len(odd) > 0), *words.held(row),
        _without(own, row, len(odd)) if len(odd) else "",
    ]  # fmt: skip
    text = "; ".join(part for part in parts if part)
    return f"<b>{escape(wording.state(row))}:</b> {escape(text)}."


def _without(own: Own, row, n: int) -> str:
    """What a finding would be without the odd readings that are in it."""
    then = odd_findings(own.variants)
    key = [WITHOUT_SLIPS, row.measure, row.question]
    then = then[(then[["variant", "measure", "question"]] == key).all(axis=1)]
    there = "an odd reading is" if n == 1 else f"{n} odd readings are"
    without = [f": without {'it' if n == 1 else 'them'} {state}" for state in then["other_state"]]
    return f"{there} in it{''.join(without)}"


def _look_up(session: Session, own: Own) -> Iterator[str]:
    """Odd readings of their own."""
    if lines := words.odd_readings(own.slips, session.measures):
        yield heading("Look up on paper", 3)
        yield bullets(words.some_of(lines, "readings"))


def _notes(session: Session, code: str, own: Own) -> Iterator[str]:
    """Marks and second readings, what was corrected, what is missing."""
    lines = list(words.mark_findings(own.mark_findings, session.measures))
    made = session.corrections[session.corrections["measurer"] == code]
    made = [words.correction(row, session.measures[row.measure]) for row in made.itertuples()]
    if made:
        some = "; ".join(words.some_of(made, "corrections"))
        lines.append(f"Corrected after entry: {some}.")
    missing = sum(int((t["measurer"] == code).sum()) for t in (session.missing, session.absent))
    if missing:
        lines.append(f"{counted(missing, 'reading')} missing: never counted against you.")
    if lines:
        yield heading("Marks, second readings, notes", 3)
        yield bullets(lines)


def _question(session: Session, own: Own) -> Iterator[str]:
    """How to question it, and what such a session cannot show."""
    yield heading("If you think that this is wrong", 3)
    yield paragraph(
        "Ask whoever led the session to see your sheets and these figures. A reading that was "
        "written or typed wrongly goes into corrections.csv with its reason, and this page is made "
        "again. You may ask for a second look: new subjects, a checked instrument, another person "
        "to compare with. Nothing follows from this page by itself; local protocol decides."
    )
    notes, confidence = [], own.confidence
    if session.reference is None:
        notes.append("Without a reference, a difference shows that people differ, not who is off.")
    if (own.decisions["state"] == OVER).any():
        notes.append(
            "Somebody exactly on a limit is found over it by chance alone 1 time in "
            f"{2 / (1 - confidence):.0f}."
        )
    if (own.decisions["more_subjects"].fillna(0) > 0).any() and confidence == 0.9:
        notes.append(
            "Looking again after adding subjects raises the risk of a wrong finding from 5 % to "
            "about 8 %."
        )
    yield paragraph(
        "small differences, mild habits, a place among others, or how you measure on a working "
        "day. A tired or moving child is in these readings too. "
        f"{' '.join([*notes, 'No child is judged by this page.'])}",
        lead="What such a session cannot show:",
    )
