"""What does the trainer print: how the day runs, who is with whom, and what is taken again?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pandas as pd

from anthroqa.planning import Block, Plan, timetable
from anthroqa.planning.durations import REST
from anthroqa.reporting.page.html import escape
from anthroqa.reporting.page.wording import counted, day

_ACROSS = 13  # people beside one another, at most
_LEDGER = 14  # lines for readings taken again
_RUNS = (
    "Each measurer gets the sheets of round 1 only. Collect all of them before round 2 begins: it "
    "is written on fresh sheets, and nobody sees an earlier reading, or anybody else's.",
    "Everybody writes down what the instrument shows, to its mark, at once and alone.",
    "Nobody speaks about a reading until the last one is written. The reference keeps silent too.",
    "A child who is distressed is left in peace: tick the stop code, and go on with the next.",
    "Type the sheets of a round into the workbook before the children leave, and let anthroqa "
    "check say what to take again. Call the child; do not show or say the first reading.",
    "Known loads on each scale and rods on each board before the first child: known_loads.csv.",
)
_CARE = (
    "Consent first. A caregiver is beside every child; never leave an infant on a scale or board.",
    "Adults are weighed in private. Codes on every sheet, never names; the list stays with you.",
    "Local protocol and licensed practice decide. Limits are the program's.",
)


def trainer_pages(plan: Plan, codes: Sequence[str]) -> Iterator[str]:
    """How the day runs, the list of sheets, and the running order of each block."""
    date = day(plan.date) if plan.date else ""
    longest = max(map(len, codes))
    columns = 3 if longest <= 16 else 2 if longest <= 30 else 1
    ticks = "".join(
        f"<tr><td>{escape(code)}</td><td><i></i></td><td><i></i></td><td><i></i></td></tr>"
        for code in codes
    )
    yield (
        f'<section class="trainer"><p class="role">For the trainer</p><h1>{escape(plan.title)}</h1>'
        f"<p>{escape(date)}</p><h2>How the day runs</h2><ol>{_items(_RUNS)}</ol>"
        f"<h2>Cautions</h2><ul>{_items(_CARE)}</ul>"
        f"<h2>{counted(len(codes), 'sheet')}</h2>"
        f'<div class="list" style="columns: {columns}"><table><thead><tr><th>Sheet</th>'
        "<th>out</th><th>back</th><th>typed</th></tr></thead>"
        f"<tbody>{ticks}</tbody></table></div></section>"
    )
    for block in plan.blocks:
        yield from _running_order(plan, block)


def _items(texts: Sequence[str]) -> str:
    return "".join(f"<li>{escape(text)}</li>" for text in texts)


def _running_order(plan: Plan, block: Block) -> Iterator[str]:
    """Who is with which subject in each turn, a table a round and so many people."""
    table = timetable(plan, block)
    parts = -(-len(block.people) // _ACROSS)
    across = -(-len(block.people) // parts)
    name = " \u00b7 ".join(filter(None, (
        f"group {block.group}" if block.group else "", block.of,
    )))  # fmt: skip
    yield (
        '<section class="trainer order"><p class="role">For the trainer: running order. Begins: '
        "hours and minutes from the start of this page's children.</p>"
    )
    for number, one in table.groupby("round"):
        for start in range(0, len(block.people), across):
            people = block.people[start : start + across]
            head = "".join(f"<th>{escape(person)}</th>" for person in people)
            body = "".join(_turn(row, people) for _, row in one.iterrows())
            yield (
                f"<div><h2>{escape(name)} round {number}</h2><table><thead><tr><th>Turn</th>"
                f"<th>Begins</th>{head}</tr></thead><tbody>{body}</tbody></table></div>"
            )
    yield "</section>"


def _turn(row: pd.Series, people: Sequence[str]) -> str:
    hours, minutes = divmod(round(row["minute"]), 60)
    begins = f"{hours}:{minutes:02d}"
    if pd.isna(row["turn"]):
        return (
            f'<tr class="rest"><td></td><td>{begins}</td>'
            f'<td colspan="{len(people)}">{REST}</td></tr>'
        )
    cells = "".join(f"<td>{escape(row[person]) or '&middot;'}</td>" for person in people)
    return f"<tr><td>{row['turn']}</td><td>{begins}</td>{cells}</tr>"


def ledger(plan: Plan) -> str:
    """A blank sheet for readings that are taken again."""
    line = "<tr>" + "<td></td>" * 7 + "</tr>"
    return (
        '<section class="trainer again"><p class="role">For the trainer</p>'
        f"<h2>Readings taken again</h2><p>{escape(plan.title)}. One line a reading; first readings "
        "stay where they are. Each is typed on a new row with 1 (then 2 ...) in the column retake."
        "</p><table><thead><tr><th>Subject</th><th>Measurer</th><th>Measure</th><th>Round</th>"
        "<th>Retake</th><th>Reading</th><th>Tare</th></tr></thead>"
        f"<tbody>{line * _LEDGER}</tbody></table></section>"
    )
