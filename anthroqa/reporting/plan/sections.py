"""What does the page of a plan say: what the session would settle, and what to change?"""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from anthroqa.notes.decisions import Limit
from anthroqa.notes.planning import Few
from anthroqa.planning import (
    Outlook,
    Plan,
    balance,
    day_minutes,
    least_subjects,
    turns,
    workload,
)
from anthroqa.planning.prospects import WANTED
from anthroqa.reporting.page import wording
from anthroqa.reporting.page.figures import GREY, INK
from anthroqa.reporting.page.html import Html, bullets, heading, image, paragraph, table
from anthroqa.reporting.page.wording import amount, counted, label, listed, number, unbroken

_LIMITS = {"repeatability": "limit_tem", "bias": "limit_bias"}
_ASKED = {"repeatability": "repeat error", "bias": "difference"}
_DASHES = ("-", "--", ":", "-.")
_SURE, _NEVER = 0.995, 0.005


def opening(outlook: Outlook) -> Html:
    """What is planned, what it would settle, and what stands in its way."""
    plan, chances, changes = outlook.plan, outlook.chances, outlook.changes
    return Html(
        heading(plan.title, 1),
        _facts(plan),
        heading("In short", 2),
        bullets(wording.sentence(_said(plan, row, changes)) for row in chances.itertuples()),
        _named(outlook.naming),
        *_besides(plan, chances),
    )


def _facts(plan: Plan) -> str:
    date = f"{wording.day(plan.date)}. " if plan.date else ""
    who = counted(len(plan.staff), "measurer")
    reference = f" and the reference {plan.reference}" if plan.reference else ", no reference"
    groups = f" in {len(plan.groups)} groups" if len(plan.groups) > 1 else ""
    sizes = {b.of: len(b.subjects) for b in reversed(plan.blocks)}
    kinds = listed(f"{n} {of or 'subjects'}" for of, n in reversed(sizes.items()))
    each = " in each group" if groups else ""
    return paragraph(
        f"{date}A session to come: {who}{reference}{groups}, {kinds}{each}, "
        f"{counted(plan.rounds, 'round')}. {_hours(day_minutes(plan))}."
    )


def _hours(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"About {hours} h {rest:02d} min" if hours else f"About {rest} min"


def in_ten(chance: float) -> str:
    """A chance as so many of ten people; never rounded to nobody or everybody."""
    if chance > _SURE:
        return "nearly all"
    if chance < _NEVER:
        return "hardly any"
    tenths = round(10 * chance)
    return {0: "fewer than 1 in 10", 10: "more than 9 in 10"}.get(tenths, f"{tenths} in 10")


def _said(plan: Plan, row, changes: pd.DataFrame) -> str:
    """One measure and question: limit, expected error, what would be settled, what would help."""
    measure = plan.measures[row.measure]
    what = f"{label(row.measure)}, {_ASKED[row.question]}"
    n = counted(row.subjects, "subject")
    if math.isnan(row.limit) or math.isnan(row.expected) or Few in row.note:
        return f"{what}, {n}: no finding ({row.note}). {_width(row, measure)}"
    if math.isnan(row.within):
        return f"{what}: no finding ({row.note})."
    limit = wording.limit_of(measure, _LIMITS[row.question])
    expected = wording.limit_of(measure, "expected_tem")
    who = "with that error" if row.question == "repeatability" else "without bias"
    text = (
        f"{what}: limit {limit}, expected error {expected}, {n}: {in_ten(row.within)} staff {who} "
        "would be settled within the limit"
    )
    if Limit.TOO_FINE in row.note:
        return f"{text}; the limit is too fine for readings to {measure.step}."
    return f"{text}." if row.within >= WANTED else f"{text}; {_help(plan, row, changes)}."


def _help(plan: Plan, row, changes: pd.DataFrame) -> str:
    """What would bring the chance to what is wanted."""
    mine = _of_row(changes, row)
    helps = []
    for rounds, curve in mine.groupby("rounds"):
        n = least_subjects(curve)
        if n is not None and rounds == row.rounds:
            helps.append(f"with {n} subjects 8 in 10")
        elif n is not None:
            groups = int(curve["groups"].iloc[0])
            more = f" in {groups} groups" if groups > len(plan.groups) else ""
            helps.append(f"with {rounds} rounds{more} and {n} subjects too")
    if not helps:
        most = int(mine["subjects"].max())
        return (
            f"{most} subjects would not be enough either: the limit is too near to what competent "
            "staff do"
        )
    return ", ".join(helps)


def _of_row(changes: pd.DataFrame, row) -> pd.DataFrame:
    """The curves of one measure and question."""
    keys = ["of", "measure", "question"]
    return changes[(changes[keys] == [row.of, row.measure, row.question]).all(axis=1)]


def _width(row, measure) -> str:
    if row.question == "repeatability" and not math.isnan(row.low_factor):
        return (
            f"Its interval would reach from {number(row.low_factor, 2)} to "
            f"{number(row.high_factor, 2)} times the figure."
        )
    if not math.isnan(row.half_width):
        half = amount(row.half_width, measure)
        return f"Its interval would reach {half} {row.unit} to each side."
    return ""


def _named(naming: pd.DataFrame) -> str:
    """How likely somebody is wrongly found over a limit."""
    usual, worst = (naming.iloc[i] for i in (0, 1))
    if worst["findings"] == 0:
        return ""
    said = [f"{counted(int(worst['findings']), 'finding')} could be made."]
    if usual["findings"]:
        chance = f"{100 * usual['chance']:.1f} %" if usual["chance"] >= 0.001 else "under 0.1 %"
        said.append(
            "If everybody has the expected error, the chance that anybody is wrongly found over a "
            f"limit is {unbroken(chance)}."
        )
    said.append(
        f"At worst, with everybody exactly on the limit, it would be {worst['expected']:.1f} of "
        "them. Who prefers certain marks is named wrongly in at most one session in twenty."
    )
    return paragraph(" ".join(said), lead="Somebody wrongly named?")


def _besides(plan: Plan, chances: pd.DataFrame) -> Iterator[str]:
    """What else is to be thought of before the day."""
    notes = []
    if len(plan.groups) > 1:
        together = plan.rounds * (len(plan.staff) + (plan.reference is not None))
        why = (
            f"One group would handle each child {together} times for a measure, and the cap is "
            f"{plan.handling_cap}: staff"
            if together > plan.handling_cap else "Staff"
        )  # fmt: skip
        notes.append(f"{why} are in {len(plan.groups)} groups, each with children of its own.")
    if int(workload(plan)["handlings"].max()) == plan.handling_cap:
        notes.append(
            f"With {plan.handling_cap} handlings of a child for a measure nothing is left for "
            "readings to be taken again. Fewer staff in a group would leave some."
        )
    if any(len(block.people) > len(block.subjects) for block in plan.blocks):
        notes.append(
            "There are more people than subjects: they work in waves, some wait, and a round "
            "takes twice as long or more. More subjects, or more groups, would help."
        )
    if any(Few in note for note in chances["note"]):
        notes.append("Results of so few readings will be shown, and no finding is made of them.")
    if plan.reference is None:
        notes.append("Without a reference people are compared with one another only.")
    elif len(plan.groups) > 1:
        notes.append(f"{plan.reference} measures in every group: groups follow one another.")
    unsourced = [n for n, m in plan.measures.items()
                 if (m.limit_tem or m.limit_bias) and not m.limit_source]  # fmt: skip
    if unsourced:
        names = listed(map(label, unsourced))
        notes.append(f"The limits of {names} have no source: write limit_source.")
    if not plan.stop_codes:
        notes.append("There is no stop code: add one for children who must be left in peace.")
    if notes:
        yield paragraph("", lead="To note.")
        yield bullets(notes)


def settled(outlook: Outlook) -> Html:
    """The table of chances and widths."""
    body = []
    for row in outlook.chances.itertuples():
        measure, blank = outlook.plan.measures[row.measure], number(math.nan, 0)
        if row.question == "repeatability":
            width = (
                blank if math.isnan(row.low_factor)
                else f"{number(row.low_factor, 2)} to {number(row.high_factor, 2)} \u00d7"
            )  # fmt: skip
        elif math.isnan(row.half_width):
            width = blank
        else:
            width = f"\u00b1 {amount(row.half_width, measure)} {row.unit}"
        body.append((
            label(row.measure), _ASKED[row.question], row.subjects,
            _typed(measure, _LIMITS[row.question]), _percent(row.within), _percent(row.over),
            unbroken(width), _of(row.seen_at, measure),
        ))  # fmt: skip
    return Html(table(
        ["Measure", "Of the", "Subjects", "Limit", "Within", "Over", "Width", "Seen over"], body,
        caption=f"What intervals of {100 * outlook.confidence:.0f} % would settle",
    ))  # fmt: skip


def _typed(measure, key: str) -> str:
    return unbroken(measure.typed.get(key, number(math.nan, 0)))


def _of(value: float, measure) -> str:
    if math.isnan(value):
        return number(value, 0)
    return unbroken(f"{wording.exact(value)} {measure.step.unit}")


def _percent(chance: float) -> str:
    if math.isnan(chance):
        return number(chance, 0)
    shown = f"{100 * chance:.0f} %"
    if chance > 0 and shown == "0 %":
        return unbroken("under 1 %")
    return unbroken("over 99 %" if chance < 1 and shown == "100 %" else shown)


def changed(outlook: Outlook) -> Html:
    """The chances along the number of subjects, a figure where fewer would not do."""
    chances, changes = outlook.chances, outlook.changes
    parts, easy = [], []
    for row in chances[chances["within"].notna()].itertuples():
        mine, name = _of_row(changes, row), f"{label(row.measure)}, {_ASKED[row.question]}"
        if mine.loc[mine["rounds"] == row.rounds, "within"].min() >= WANTED:
            easy.append(name)
            continue
        alt = "; ".join(
            f"{rounds} rounds: "
            + ", ".join(f"{r.subjects} subjects {_percent(r.within)}" for r in curve.itertuples())
            for rounds, curve in mine.groupby("rounds")
        )
        name = wording.sentence(name)
        parts += [heading(name, 3), image(curve_of(mine, row), alt=f"{name}. {alt}")]
    if easy:
        parts.append(paragraph(f"{'; '.join(easy)}.", lead="8 in 10 with six subjects already:"))
    if not parts:
        parts = [paragraph("Without a limit and an expected error there are no chances.")]
    return Html(*parts)


def curve_of(changes: pd.DataFrame, row) -> Axes:
    """Chance within the limit along subjects, a line a number of rounds, labelled at its end."""
    figure = Figure(figsize=(4.8, 2.1))
    ax = figure.add_axes((0.11, 0.22, 0.72, 0.72))
    right = max(float(changes["subjects"].max()), row.subjects + 2.0)
    for (rounds, curve), dash in zip(changes.groupby("rounds"), _DASHES, strict=False):
        x, y = curve["subjects"], 100 * curve["within"]
        ax.plot(x, y, color=INK, linestyle=dash, linewidth=1.2)
        ax.annotate(
            counted(int(rounds), "round"), (x.iloc[-1], y.iloc[-1]), xytext=(4, 0),
            textcoords="offset points", va="center", fontsize=8,
        )  # fmt: skip
    ax.axhline(100 * WANTED, color=GREY, linewidth=0.8)
    ax.plot([row.subjects], [100 * row.within], "o", color=INK, markersize=5, zorder=3)
    ax.annotate(
        "planned", (row.subjects, 100 * row.within), xytext=(5, -10), textcoords="offset points",
        fontsize=8,
    )  # fmt: skip
    ax.set_xlim(5, right)
    ax.set_ylim(0, 104)
    ax.set_yticks([0, 20, 40, 60, 80, 100])
    ax.tick_params(labelsize=8)
    ax.set_xlabel("Subjects that a person measures", fontsize=9)
    ax.set_ylabel("Settled within (%)", fontsize=9)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    return ax


def day(outlook: Outlook) -> Html:
    """Handlings, minutes, and how even the order is."""
    plan = outlook.plan
    body, orders = [], []
    for block, work in zip(plan.blocks, workload(plan).itertuples(), strict=True):
        name = " ".join(filter(None, (block.group, block.of))) or "all"
        body.append((
            unbroken(name), work.people, work.subjects, f"{work.handlings} of {work.cap}",
            f"{work.turn_minutes:g} min", _hours(work.minutes).removeprefix("About "),
        ))  # fmt: skip
        met = turns(plan, block)
        even = balance(met)
        first = [sum(who[-1] for who in even.first_met), plan.rounds * len(block.subjects)]
        orders.append((
            unbroken(name), _times(even.places), _times(even.follows),
            number(math.nan, 0) if even.between is None else even.between,
            unbroken(f"{first[0]} of {first[1]}") if plan.reference else number(math.nan, 0),
        ))  # fmt: skip
    return Html(
        table(
            ["Block", "People", "Subjects", "Handled", "A turn", "In all"], body,
            caption="Handled: how often each child is, for one measure, and the cap",
        ),
        table(
            ["Block", "Places", "Neighbours", "Others between", "Reference first"], orders,
            caption="Order: each round has one of its own",
        ),
    )  # fmt: skip


def _times(spread: int) -> str:
    return "equal" if spread == 0 else f"within {spread}"
