"""Is it the instrument rather than the person?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pandas as pd
from matplotlib.axes import Axes

from anthroqa.analysis import Analysis
from anthroqa.intake import Measure, Session
from anthroqa.notes import said
from anthroqa.reporting.page import figures, wording
from anthroqa.reporting.page.html import SOME, Html, bullets, cut, heading, image, paragraph, table
from anthroqa.reporting.page.wording import amount, exact, interval, label, listed, sentence

_OVER, _OPEN = "over limit", "not settled"
_STATES = (_OVER, _OPEN, "within limit", "not judged")  # the first that any figure has is told
_CROWD = 6  # people in a line before they are only counted
_KNOWN = ("zero", "load", "rod")  # checks whose error is that at a load
_SPREADS = {
    "linearity": "Off a straight line",
    "repeat_range": "Range of repeats",
    "off_centre_spread": "Off centre",
    "drift": "Drift",
    "joint": "Across the joint",
}


def in_short(analysis: Analysis) -> Iterator[str]:
    """Which instruments are over the published tolerance; nothing without a file of known loads."""
    checks = analysis.instrument_checks
    tested = checks[checks["state"].isin(_STATES[:3])]["instrument"].nunique()
    over = checks[checks["state"] == _OVER]
    codes = list(over["instrument"].unique())
    if not tested:
        return
    yield paragraph(
        f"{len(codes) or 'none'} of {tested} tested {'are' if len(codes) > 1 else 'is'} over the "
        "published tolerance.",
        lead="Instruments:",
    )
    yield bullets(_in_words(analysis.session, over[over["instrument"] == code]) for code in codes)


def _in_words(session: Session, over: pd.DataFrame) -> str:
    """One instrument over its tolerance: by how much, and what follows."""
    worst = next(over.loc[[over["estimate"].abs().idxmax()]].itertuples())
    measure = session.measures[worst.measure]
    size = f"{amount(abs(worst.estimate), measure)} {worst.unit}"
    if worst.statistic.startswith("error"):
        what = f"reads {size} {'high' if worst.estimate > 0 else 'low'}"
    else:
        what = f"{_SPREADS.get(worst.statistic, worst.statistic).lower()}: {size}"
    return (
        f"{worst.instrument}, {label(measure.name)}: {what} at {_load(worst)} (tolerance "
        f"{exact(worst.tolerance)} {worst.unit} there). Whoever used it shares this. What is known "
        "of it is taken out of their differences before these are judged, and out of no reading. "
        "Scales are adjusted by those licensed to."
    )


def _load(row) -> str:
    return f"{exact(row.load)} {row.unit}"


def instruments(analysis: Analysis) -> Html:
    """What the instruments did with known loads, and where staff and instruments are entangled."""
    parts, checks = [], analysis.instrument_checks
    for measure in analysis.session.measures.values():
        mine = checks[checks["measure"] == measure.name]
        if mine.empty:
            continue
        parts.append(heading(sentence(label(measure.name)), 3))
        errors = mine[mine["check"].isin(_KNOWN) & (mine["statistic"] == "error")]
        errors = errors[errors["instrument"].isin(mine.loc[mine["state"] == _OVER, "instrument"])]
        if len(errors):
            parts.append(image(at_loads(errors, measure), alt=alt_at_loads(errors, measure)))
        parts += _figures(mine, measure)
    if checks.empty:
        parts.append(paragraph(
            "There is no known_loads.csv: nothing is known of the instruments. Readings of known "
            "masses at three loads, and of rods of known length, would tell the instrument from "
            "the person."
        ))  # fmt: skip
    return Html(*parts, *_entangled(analysis.entangled))


def _figures(mine: pd.DataFrame, measure: Measure) -> Iterator[str]:
    """A row an instrument: its largest figures, and the state of whichever is worst."""
    by_code: dict[str, list] = {}
    for row in mine.itertuples():
        by_code.setdefault(row.instrument, []).append(row)
    shown = [name for name in _SPREADS if (mine["statistic"] == name).any()]
    yield table(
        ["Instrument", "Finding", f"Largest error ({measure.step.unit})", "Tolerance there",
         *(_SPREADS[name] for name in shown)],
        [(code, *_cells(rows, shown, measure)) for code, rows in list(by_code.items())[:SOME]],
        caption=f"Instruments against known loads, {label(measure.name)}",
    )  # fmt: skip
    yield from cut(by_code, "instruments; all are in instrument_figures.csv")
    sources = [f"Tolerance: {source}." for source in sorted(set(mine["tolerance_source"]) - {""})]
    at_loads = mine.loc[mine["statistic"] == "error", "note"]
    notes = dict.fromkeys(said(note) for notes in at_loads for note in notes)
    yield bullets([*sources, *(f"{sentence(note)}." for note in notes)])


def _cells(rows: list, shown: list[str], measure: Measure) -> Iterator[str]:
    """The worst state of an instrument, its largest error, and its other figures."""
    states = {row.state for row in rows}
    worst = next(state for state in _STATES if state in states)
    yield f"{wording.STATE_SIGNS[worst]}\u00a0{worst}"
    blank = wording.number(float("nan"), 0)
    most = _largest(row for row in rows if row.check in _KNOWN and row.statistic == "error")
    if most is None:
        yield from ("no known load", blank)
    else:
        ends = interval(most.lower, most.upper, measure, signed=True)
        yield f"{amount(most.estimate, measure, signed=True)} at {_load(most)} ({ends})"
        yield exact(most.tolerance) or blank
    for name in shown:
        row = _largest(row for row in rows if row.statistic == name)
        signed = name in ("drift", "joint")
        yield blank if row is None else amount(row.estimate, measure, signed=signed)


def _largest(rows: Iterable):
    """The row of the largest figure, those over their tolerance first; None where all are blank."""
    there = [row for row in rows if row.estimate == row.estimate]
    return max(there, key=lambda row: (row.state == _OVER, abs(row.estimate)), default=None)


def _entangled(entangled: pd.DataFrame) -> Iterator[str]:
    """Where this design cannot tell staff and instruments apart."""
    lines = []
    for (why, tested), rows in entangled.groupby(["said", "tested"], sort=False):
        where = [
            f"{label(measure)} ({_people(list(dict.fromkeys(some['measurer'])))})"
            for measure, some in rows.groupby("measure", sort=False)
        ]
        known = ": what is known of it is in the table above" if tested == "yes" else ""
        lines.append(f"{listed(where)}: {why}{known}.")
    if lines:
        yield paragraph("What the readings alone cannot tell apart:")
        yield bullets(lines)


def _people(codes: list[str]) -> str:
    return listed(codes) if len(codes) <= _CROWD else f"{len(codes)} people"


def at_loads(errors: pd.DataFrame, measure: Measure, ax: Axes | None = None) -> Axes:
    """Error at each load with its interval, a line an instrument and load, tolerance as a gate."""
    codes = list(errors["instrument"])
    reach = errors[["lower", "upper", "estimate", "tolerance"]].abs().max().max()
    high = 1.1 * max(float(reach), float(measure.step.size))
    ax = figures.axes(codes) if ax is None else ax
    unit = measure.step.unit
    figures.lay_out(ax, codes, f"Reading less load ({unit}); ticks: tolerance", -high, high)
    figures.limit_line(ax, 0, "", style="-", color=figures.GREY)
    for y, row in enumerate(errors.itertuples()):
        ax.hlines(y, row.lower, row.upper, color=figures.BLUE, linewidth=1.4, zorder=2)
        over = row.state == _OVER
        ax.plot([row.estimate], [y], marker="s" if over else "o",
                color=figures.INK if over else figures.BLUE, markersize=6, linestyle="none",
                zorder=3)  # fmt: skip
        for end in (-row.tolerance, row.tolerance):
            ax.vlines(end, y - 0.35, y + 0.35, color=figures.INK, linewidth=1, zorder=2)
        figures.beside(ax, 1.03, y, f"{exact(row.load)} {unit}")
    return ax


def alt_at_loads(errors: pd.DataFrame, measure: Measure) -> str:
    """What the plot of errors at loads shows, in one sentence."""
    each = [
        f"{r.instrument} at {exact(r.load)}: {amount(r.estimate, measure, signed=True)}, {r.state}"
        for r in errors.itertuples()
    ]
    return f"Error at each load in {label(measure.name)} ({measure.step.unit}). {'; '.join(each)}."
