"""What does the page say of marks and second readings: who leans to which, who repeats too well?

Everything comes from the table of findings on marks and from counts of terminal positions. A habit
that most of the staff share names nobody, and a conversion is no preference.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

import numpy as np
import pandas as pd

from anthroqa.analysis import Analysis
from anthroqa.intake import EVERYBODY, Measure, Session
from anthroqa.notes import Notes
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, image, paragraph, table
from anthroqa.reporting.page.wording import counted, label, listed, number, sentence
from anthroqa.reporting.session import marks_words as words
from anthroqa.reporting.session.marks_words import DIGITS, MARKS, REPEATS, between, percent
from anthroqa.reporting.session.positions import MOST_POSITIONS, alt_on_ruler, on_ruler
from anthroqa.scores.marks.screening import (
    EXPECTED,
    GROUP_TEST,
    HABIT,
    LEANS,
    NAMED,
    SCREENED,
    UNTESTED,
)

STAFF = "staff"
_CROWD = 20  # people in one line before they are only counted
_AN_IMAGE = 8  # people; a printed page holds so many rows


def in_short(analysis: Analysis) -> list[str]:
    """Who is named, a habit of the group, and how much is worth a look; nothing for nothing."""
    session, scores, mark_findings = analysis.session, analysis.scores, analysis.mark_findings
    named, look, habits = (
        mark_findings[mark_findings["state"] == NAMED],
        _worth_a_look(mark_findings),
        _habits(mark_findings),
    )
    if named.empty and look.empty and habits.empty:
        return []
    lines = []
    for row in pd.concat([named, habits]).sort_index().itertuples():
        measure = session.measures[row.measure]
        if row.test == REPEATS:
            said = words.alike(row, measure, _repeats(scores, row))
            said += "; coarse marks alone may explain it" * (
                row.measurer in _leaning(mark_findings, row)
            )
        else:
            said = (words.leaning if row.test == MARKS else words.habit)(row, measure)
        lines.append(f"{said}.")
    text = (
        f"{len(named) or 'none'} of {counted(words.tests(mark_findings), 'test')} "
        f"{'stand' if len(named) > 1 else 'stands'} out"
    )
    more = f"; {len(look)} more may be worth a look, see below" if len(look) else ""
    return [
        paragraph(f"{text}{more}.", lead="Marks and second readings:"),
        bullets(lines[:SOME]),
        *cut(lines, "findings"),
        *[paragraph(words.REASONS)] * bool((named["test"] == REPEATS).any()),
    ]


def every_mark(analysis: Analysis) -> Html:
    """Who leans to which marks, drawn on the instrument's ruler; a sentence where nobody does."""
    session, scores, mark_findings = analysis.session, analysis.scores, analysis.mark_findings
    parts, quiet = [], []
    for measure in session.measures.values():
        mine = mark_findings[mark_findings["measure"] == measure.name]
        shown, group = _shown(mine), _habits(mine)
        if shown.empty and group.empty:
            quiet += [label(measure.name)] * bool(_tested(mine, MARKS).any())
            continue
        at = analysis.positions
        at = at[at["measure"] == measure.name]
        parts.append(heading(sentence(label(measure.name)), 3))
        for row in group.itertuples():
            parts += _group(row, measure, session, scores, mark_findings, at)
        if len(shown):
            parts += _people(shown, measure, at, analysis.confidence)
        if group.empty:
            parts += _as_expected(mine[mine["test"] == MARKS], set(shown["measurer"]))
    if quiet:
        parts.append(paragraph(
            f"Nobody leans to any mark in {listed(quiet)}, beyond what chance gives so many tests."
        ))  # fmt: skip
    return Html(*parts, *_untested(session, mark_findings, DIGITS), *_left_out(mark_findings))


def second_readings(analysis: Analysis) -> Html:
    """Whose second readings are more alike than expected; a sentence where nobody's are."""
    scores, mark_findings = analysis.scores, analysis.mark_findings
    rows = mark_findings[_tested(mark_findings, REPEATS)]
    shown = rows[rows["state"].isin([NAMED, SCREENED])]
    parts, body = [], []
    for row in shown.itertuples():
        n = _repeats(scores, row)
        body.append((
            row.measurer, label(row.measure), f"{row.estimate * n:.0f} of {n}",
            percent(row.estimate), between(row),
            words.ALIKE if row.state == NAMED else f"{SCREENED}: {words.ALIKE}",
        ))  # fmt: skip
    if body:
        level = _level(analysis.confidence)
        parts += [
            table(
                ["Who", "Measure", "Equal to the first", "Share", level, "Finding"], body,
                caption="Second readings more alike than expected",
            ),
            *_coarse_too(shown, mark_findings),
        ]  # fmt: skip
    if rest := len(rows) - len(body):
        who = "everybody else who was tested" if body else "everybody who was tested"
        findings = counted(rest, "finding")
        parts.append(paragraph(f"{who} ({findings}).", lead="As expected:"))
    return Html(*parts, *_untested(analysis.session, mark_findings, REPEATS))


def indices(analysis: Analysis) -> Html:
    """Published indices of terminal digits, each with what chance alone gives."""
    there = analysis.indices
    there = there[there["value"].notna()]
    names = list(dict.fromkeys(there["index"]))
    head, caption = ["Readings", *map(sentence, names)], "Published indices (by chance alone)"
    group, each = [], []
    for measure in analysis.session.measures.values():
        rows = [
            (who, some["readings"].iloc[0], *_beside_chance(some, names))
            for who, some in there[there["measure"] == measure.name].groupby("measurer", sort=False)
        ]
        people = [row for row in rows if row[0] != EVERYBODY]
        group += [(label(measure.name), *cells) for who, *cells in rows if who == EVERYBODY]
        if people:
            each += [
                table(["Who", *head], people[:SOME], caption=f"{caption}, {label(measure.name)}"),
                *cut(people, "people"),
            ]
    if not each:
        return Html()
    return Html(
        table(["Measure", *head], group, caption=f"{caption}, all staff together") if group else "",
        "<details><summary>Each person</summary>", *each, "</details>",
    )  # fmt: skip


def _beside_chance(rows: pd.DataFrame, names: list[str]) -> Iterator[str]:
    """The value of each index, in brackets what chance alone gives."""
    found = rows.set_index("index")
    for name in names:
        if name in found.index:
            row = found.loc[name]
            yield f"{row['value']:.1f} ({number(row['expected_by_chance'], 1)})"
        else:
            yield number(float("nan"), 0)


def _shown(mine: pd.DataFrame) -> pd.DataFrame:
    """One row a person with a finding on marks: of the mark, else of the digits altogether."""
    marks = mine[(mine["test"] == MARKS) & mine["state"].isin([NAMED, SCREENED])]
    look = _worth_a_look(mine)
    return pd.concat([marks, look[look["test"] == DIGITS]]).sort_index()


def _leaning(mark_findings: pd.DataFrame, row) -> set[str]:
    """Who leans to a mark in the measure of a row."""
    mine = mark_findings[
        (mark_findings["measure"] == row.measure) & (mark_findings["test"] == MARKS)
    ]
    return set(mine.loc[mine["state"].isin([NAMED, SCREENED]), "measurer"])


def _worth_a_look(mark_findings: pd.DataFrame) -> pd.DataFrame:
    """What is screened; digits only where nothing else is said of this person and measure."""
    said = mark_findings[
        (mark_findings["test"] != DIGITS) & mark_findings["state"].isin([NAMED, SCREENED, HABIT])
    ]
    keys = set(zip(said["measure"], said["measurer"], strict=True))
    again = [
        test == DIGITS and tuple(key) in keys
        for test, *key in mark_findings[["test", "measure", "measurer"]].itertuples(index=False)
    ]
    return mark_findings[(mark_findings["state"] == SCREENED) & ~np.array(again, dtype=bool)]


def _habits(mark_findings: pd.DataFrame) -> pd.DataFrame:
    return mark_findings[(mark_findings["test"] == GROUP_TEST) & (mark_findings["state"] == HABIT)]


def _tested(rows: pd.DataFrame, test: str) -> pd.Series:
    return (rows["test"] == test) & (rows["state"] != UNTESTED)


def _level(confidence: float) -> str:
    return f"{100 * confidence:.0f} % interval"


def _people(
    shown: pd.DataFrame, measure: Measure, at: pd.DataFrame, confidence: float
) -> Iterator[str]:
    """Figure and table of those with a finding; a sentence on whom no single mark is said of."""
    said, body, look = {}, [], []
    for row in shown.itertuples():
        on, expected, n = _on_mark(at[at["measurer"] == row.measurer], row.statistic, measure)
        if row.test == DIGITS:
            said[row.measurer] = f"{n} readings, no single mark"
            look.append(f"{row.measurer} ({percent(row.estimate)})")
            continue
        mark, usual = words.mark(row.statistic), number(expected, 0)
        said[row.measurer] = f"on {mark} marks {on} of {n}, expected {usual}"
        body.append((
            row.measurer, "leans" if row.state == NAMED else row.state, mark,
            percent(row.estimate), between(row), f"{on} of {n}", usual,
        ))  # fmt: skip
    yield from _images(said, at, measure)
    head = ["Who", "Finding", "Mark", "Put on it", _level(confidence), "Readings on it", "Expected"]
    if body:
        yield table(head, body, caption=f"Marks, {label(measure.name)}")
    if look:
        yield paragraph(
            f"{listed(look)}. No single mark: in brackets the share of readings that would have to "
            "move to give what was expected.", lead=f"{sentence(SCREENED)}:",
        )  # fmt: skip


def _images(said: dict[str, str], at: pd.DataFrame, measure: Measure) -> Iterator[str]:
    """The ruler of each person, some in an image; none where its marks are too many to draw."""
    codes = list(said)
    if (measure.cycle or 0) > MOST_POSITIONS:
        return
    for start in range(0, min(len(codes), SOME), _AN_IMAGE):
        some = codes[start : start + _AN_IMAGE]
        rows = pd.concat([at[at["measurer"] == code] for code in some])
        lines = [said[code] for code in some]
        yield image(on_ruler(rows, lines, measure), alt=alt_on_ruler(some, lines, measure))
    yield from cut(codes, "people, in the table below")


def _on_mark(rows: pd.DataFrame, statistic: str, measure: Measure) -> tuple[int, float, int]:
    """Readings on a mark, how many were expected there, and all."""
    on = rows[rows["position"] % words.steps_of(statistic, measure) == 0]
    return int(on["observed"].sum()), float(on["expected"].sum()), int(rows["observed"].sum())


def _group(
    row, measure: Measure, session: Session, scores: pd.DataFrame, mark_findings: pd.DataFrame,
    at: pd.DataFrame,
) -> Iterator[str]:  # fmt: skip
    """What is still visible where most of the staff lean alike."""
    yield paragraph(
        f"{words.habit(row, measure)}. Where most lean (by {percent(LEANS)} of their readings or "
        "more), the others cannot show where a subject lies: the staff together are held against "
        "positions spread evenly between two whole marks."
    )
    who = at["measurer"].where(at["measurer"] == session.reference, STAFF)
    rows = at.assign(measurer=who).groupby(["measurer", "position"])["observed"].sum().reset_index()
    rows["expected"] = rows.groupby("measurer")["observed"].transform("mean")
    mark, said = words.mark(row.statistic), {}
    for code in (STAFF, *set(who) - {STAFF}):
        on, even, n = _on_mark(rows[rows["measurer"] == code], row.statistic, measure)
        said[code] = f"on {mark} marks {on} of {n}, evenly spread {number(even, 0)}"
    yield from _images(said, rows, measure)
    own = scores[(scores["measure"] == measure.name) & (scores["measurer"] == session.reference)]
    for ref in own[(own["statistic"] == row.statistic) & own["estimate"].notna()].itertuples():
        yield paragraph(
            f"{ref.measurer}, the reference, puts {words.most(ref.estimate)} readings on "
            f"{words.kind(row.statistic, measure)} ({between(ref)})."
        )
    others = mark_findings[
        (mark_findings["test"] == GROUP_TEST) & (mark_findings["measure"] != measure.name)
    ]
    told = [
        f"{how} seen in {listed(map(label, names))}"
        for how, state in (("also", HABIT), ("not", EXPECTED))
        if len(names := others.loc[others["state"] == state, "measure"])
    ]
    if told:
        yield paragraph(f"A habit of the group is {', '.join(told)}.")


def _as_expected(rows: pd.DataFrame, apart: Collection[str]) -> Iterator[str]:
    people = [who for who in rows.loc[rows["state"] == EXPECTED, "measurer"] if who not in apart]
    if people:
        yield paragraph(f"{_crowd(people)}.", lead="As expected:")


def _crowd(people: list[str]) -> str:
    return f"{len(people)} people" if len(people) > _CROWD else listed(people)


def _untested(session: Session, mark_findings: pd.DataFrame, test: str) -> Iterator[str]:
    """Who is not tested and why, measures with the same reason together."""
    told: dict[tuple[str, Notes], list[str]] = {}
    for name in session.measures:
        mine = mark_findings[(mark_findings["measure"] == name) & (mark_findings["test"] == test)]
        some = mine[mine["state"] == UNTESTED]
        for reason, rows in some.groupby(some["note"].map(words.why_untested), sort=False):
            who = f"{_crowd(list(rows['measurer']))} {'is' if len(rows) == 1 else 'are'} not"
            who = "nobody is" if len(rows) == len(mine) else who
            told.setdefault((who, reason), []).append(label(name))
    for (who, reason), names in told.items():
        text = f"{who} tested. {sentence(str(reason))}."
        yield paragraph(text, lead=f"{sentence(listed(names))}:")


def _left_out(mark_findings: pd.DataFrame) -> Iterator[str]:
    """How many readings were converted at intake, and so read on other marks."""
    for name, rows in mark_findings[mark_findings["test"] == DIGITS].groupby("measure", sort=False):
        if n := words.converted(rows["note"]):
            yield paragraph(
                f"{counted(n, 'reading')} converted from the other system of units: read on other "
                "marks, and left out here.", lead=f"{sentence(label(name))}:",
            )  # fmt: skip


def _coarse_too(shown: pd.DataFrame, mark_findings: pd.DataFrame) -> Iterator[str]:
    """Coarse marks alone make repeats more alike: said where both are found."""
    both = [r for r in shown.itertuples() if r.measurer in _leaning(mark_findings, r)]
    if both:
        who = listed(f"{r.measurer} ({label(r.measure)})" for r in both)
        yield paragraph(
            f"Coarse marks alone make readings more alike, and may explain it in {who}."
        )


def _repeats(scores: pd.DataFrame, row) -> int:
    """How many repeats stand behind a share of equal ones."""
    mine = scores[(scores["measure"] == row.measure) & (scores["measurer"] == row.measurer)]
    return int(mine.loc[mine["statistic"] == "identical_repeats", "df"].iloc[0])
