"""Which readings are odd, what may have happened, and what are the figures without them?

A reading is only ever consistent with a slip; whoever has the paper decides. The first figure
stays the figure: what it would be without some readings is shown beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pandas as pd

from anthroqa.analysis import Analysis
from anthroqa.decisions.with_and_without import (
    AS_WRITTEN,
    WITH_RETAKES,
    WITHOUT_MOVING,
    WITHOUT_SLIPS,
)
from anthroqa.intake import EVERYBODY, Measure, Session
from anthroqa.reporting.page import figures, wording
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, image, paragraph, table
from anthroqa.reporting.page.wording import amount, interval, label, listed, sentence, unbroken

_READING = ["measurer", "subject", "round"]
_FINDING = ["variant", "measure", "measurer", "question"]
_QUESTION = {True: "bias", False: "repeatability"}
_TITLES = {
    WITHOUT_SLIPS: "Without the odd readings",
    WITHOUT_MOVING: "Without readings of a moving subject",
    WITH_RETAKES: "With retakes in place of first readings",
    AS_WRITTEN: "As first written, before corrections",
}


def odd_readings(analysis: Analysis) -> Html:
    """Every reading against its subject's consensus, and what odd ones are consistent with.

    A measure without odd readings is not drawn.
    """
    parts, residuals, slips = [], analysis.residuals, analysis.slips
    for measure in analysis.session.measures.values():
        rows = residuals[(residuals["measure"] == measure.name) & (residuals["retake"] == 0)]
        rows = rows[rows["residual"].notna()]
        parts.append(heading(sentence(label(measure.name)), 3))
        if rows.empty:
            parts.append(paragraph("Nobody else measured these subjects: there is no consensus."))
            continue
        mine = slips[slips["measure"] == measure.name]
        if len(mine):
            parts.append(
                image(figures.distances(rows, measure), alt=figures.alt_distances(rows, measure))
            )
        parts += _explained(mine, measure)
    return Html(*parts, *_too_small(analysis.hidden_slips))


def _explained(slips: pd.DataFrame, measure: Measure) -> Iterator[str]:
    """A row for each odd reading, with everything that would explain it."""
    if slips.empty:
        yield paragraph("No reading lies far from the rest.")
        return
    readings = [some for _, some in slips.groupby(_READING, sort=False)]
    yield table(
        ["Who", "Subject", "Round", "Written", "Expected", "Off by", "Consistent with",
         "By chance as well"],
        [_row(some, measure) for some in readings[:SOME]],
        caption=f"Readings to look at again on paper, {label(measure.name)}",
    )  # fmt: skip
    yield from cut(readings, "readings")


def _row(some: pd.DataFrame, measure: Measure) -> tuple[object, ...]:
    best = some.iloc[0]
    explained = bool(best["consistent_with"])
    return (
        best["measurer"], best["subject"], best["round"], unbroken(best["written"]),
        unbroken(wording.reading(best["expected"], measure)),
        unbroken(f"{amount(best['off_by'], measure, signed=True)} {measure.step.unit}"),
        "; or ".join(explanation(row, measure) for row in some.itertuples())
        if explained else "no slip that is known here",
        f"{100 * best['chance']:.0f} %" if explained else wording.number(float("nan"), 0),
    )  # fmt: skip


def explanation(row, measure: Measure) -> str:
    """What a reading is consistent with, with whom or what, and what it would have been."""
    partner = f" (with {row.partner})" if row.partner else ""
    meant = row.would_have_been
    would = "" if meant != meant else f": {wording.reading(meant, measure)}"
    return f"{row.consistent_with}{partner}{would}"


def in_short(slips: pd.DataFrame, then: pd.DataFrame, row) -> str:
    """Which readings of a person's finding are odd, and what it would be without, or nothing.

    `then` are the findings that would be others.
    """
    mine = slips[(slips["measure"] == row.measure) & (slips["measurer"] == row.measurer)]
    said = []
    for _, some in mine.groupby(_READING, sort=False):
        best = next(some.itertuples())
        like = f", consistent with {best.consistent_with}" if best.consistent_with else ""
        said.append(f"subject {best.subject}, round {best.round}{like}")
    if not said:
        return ""
    lies, it = ("lies", "it") if len(said) == 1 else ("lie", "them")
    key = [WITHOUT_SLIPS, row.measure, row.measurer, row.question]
    then = then[(then[_FINDING] == key).all(axis=1)]
    without = f"; without {it}: {then['other_state'].iloc[0]}" if len(then) else ""
    return (
        f"{len(said)} of these readings {lies} far from the rest ({'; '.join(said)}): "
        f"look at {it} on paper first{without}"
    )


def _too_small(hidden: pd.DataFrame) -> Iterator[str]:
    """Kinds of slips that this session could not show."""
    lines = [
        f"{label(name)}: {listed(map(str, some['kind']))}."
        for name, some in hidden.groupby("measure", sort=False)
    ]
    if lines:
        yield paragraph(
            "slips of these kinds move a reading by too little, or fit too many readings by "
            "chance, to be told here.",
            lead="Too small to tell in this session:",
        )
        yield bullets(lines)


def with_and_without(analysis: Analysis) -> Html:
    """What the figures are under another reading of the data, beside what they are."""
    variants = analysis.variants
    if variants.empty:
        return Html(paragraph(
            "No reading was odd, corrected, taken again, or of a moving subject: there is nothing "
            "to compare."
        ))  # fmt: skip
    parts = []
    for variant, rows in variants.groupby("variant", sort=False):
        body = list(_compared(analysis.session, rows))
        parts.append(table(
            ["Who", "Measure", "Readings", "Figure", "As it stands", _TITLES[variant]],
            body[:SOME], caption=_TITLES[variant],
        ))  # fmt: skip
        parts += cut(body, "figures; all are in variants.csv")
        if variant == WITH_RETAKES:
            parts.append(paragraph(
                "Readings were taken again because they lay far apart, and now lie nearer: the "
                "repeat error with them looks smaller than it is. It is no finding on a person."
            ))  # fmt: skip
    changed = findings(variants)
    if len(changed):
        lines = (_changed(row) for row in changed.itertuples())
        parts += [paragraph("Findings that hang on these readings:"), bullets(lines)]
    return Html(*parts)


_SHOWN = {
    "within_tem": "repeat error",
    "within_tem_less_shift": "repeat error, round shift out",
    "within_tem_resolved": "repeat error behind the rounding",
    "bias": "difference",
    "bias_less_instrument": "difference, less the instruments'",
    "bias_from_others": "difference from the others",
    "between_tem": "between staff",
}


def _compared(session: Session, rows: pd.DataFrame) -> Iterable[tuple[object, ...]]:
    judged = rows[(rows["state"] != "") | (rows["statistic"] == "between_tem")]
    for row in judged.itertuples():
        measure = session.measures[row.measure]
        signed = row.statistic.startswith("bias")
        yield (
            "everybody" if row.measurer == EVERYBODY else row.measurer, label(row.measure),
            row.readings, _SHOWN[row.statistic],
            _figure(row.estimate, row.lower, row.upper, measure, signed=signed),
            _figure(row.other_estimate, row.other_lower, row.other_upper, measure, signed=signed),
        )  # fmt: skip


def _figure(value: float, lower: float, upper: float, measure: Measure, *, signed: bool) -> str:
    if value == 0 and lower != lower and not signed:
        return "hidden by the step"  # every repeat is equal: the error is hidden, and not zero
    size = amount(value, measure, signed=signed)
    return unbroken(f"{size} ({interval(lower, upper, measure, signed=signed)})")


def findings(variants: pd.DataFrame) -> pd.DataFrame:
    """Findings under each variant, on whichever statistic they are then made.

    `variant, measure, measurer, question, state, other_state`, those that would be others.
    """
    asked = variants["statistic"].str.startswith("bias").map(_QUESTION)
    found = variants.assign(question=asked.astype(object))
    found = found.groupby(_FINDING, sort=False)[["state", "other_state"]].max().reset_index()
    both = (found["state"] != "") & (found["other_state"] != "")
    return found[both & (found["state"] != found["other_state"])]


def _changed(row) -> str:
    said = "difference" if row.question == "bias" else "repeat error"
    then = _TITLES[row.variant][:1].lower() + _TITLES[row.variant][1:]
    return f"{row.measurer}, {label(row.measure)}, {said}: {row.state}; {then} {row.other_state}."
