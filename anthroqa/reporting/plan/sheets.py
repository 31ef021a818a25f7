"""What is printed for the day: pages for the trainer, and a sheet a measurer, round and kind.

One document without script, which browsers and WeasyPrint print alike. A sheet asks for readings
in the order of the plan and shows nothing of any other sheet. Cautions are on every sheet.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from anthroqa.intake import Measure
from anthroqa.planning import Block, Plan, planned
from anthroqa.planning.durations import rests_after
from anthroqa.planning.order import turns_of_round
from anthroqa.reporting.page.html import escape
from anthroqa.reporting.page.printed import laid_out, pdf_of
from anthroqa.reporting.page.wording import counted, day, label, sentence
from anthroqa.reporting.plan.timetable import ledger, trainer_pages

_STYLE = Path(__file__).resolve().parents[1] / "page" / "template" / "sheets.css"
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
_WIDTHS = {"A4": (186, 273), "Letter": (192, 255)}  # millimetres, upright and lying
_LINE, _TIME, _TICK = 9, 17, 13
_LETTER = 3.7  # of a subject's code
_BOX = {"pounds": 44, "fraction": 44, "decimal": 36}
CAUTIONS = (
    "Never leave an infant on a scale or a board. The caregiver stays beside the child. Clean "
    "liner, warm hands, dry surface. Stop when the child is distressed",
    "Local protocol and licensed practice decide.",
)


def sheets_html(plan: Plan) -> str:
    """The pages to print for a plan, as one self-contained document."""
    rows = planned(plan)
    codes = list(dict.fromkeys(rows["sheet"]))
    by_group = {(block.group, block.of): block for block in plan.blocks}
    sheets = [
        _sheet(plan, by_group[of["group"].iloc[0], of["of"].iloc[0]], of, n, len(codes))
        for n, (_, of) in enumerate(rows.groupby("sheet", sort=False), start=1)
    ]
    style = _STYLE.read_text(encoding="utf-8").replace("PAPER", plan.paper)
    title = escape(plan.title)
    return "\n".join([
        "<!DOCTYPE html>", '<html lang="en"><head><meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>Sheets: {title}</title><style>{style}</style></head><body>",
        *trainer_pages(plan, codes), *sheets, ledger(plan), "</body></html>", "",
    ])  # fmt: skip


def sheets_pdf(text: str) -> bytes | None:
    """The same pages as PDF; None without the extra `pdf` or the libraries it needs."""
    laid = laid_out(text)
    return None if laid is None else pdf_of(laid)


def _sheet(plan: Plan, block: Block, rows: pd.DataFrame, number: int, of: int) -> str:
    """One measurer's sheet of one round."""
    first = rows.iloc[0]
    measures = [plan.measures[name] for name in block.measures]
    columns = sum(_width(m, m.name in plan.tared) for m in measures)
    subject = min(max(28, 4 + _LETTER * max(map(len, block.subjects))), 62)
    needed = _LINE + subject + columns + _TIME + _TICK * len(plan.codes)
    upright, lying = _WIDTHS[plan.paper]
    wide = needed > upright
    room = (lying if wide else upright) - needed + columns  # what is left goes to the readings
    names = [_named(m, m.name in plan.tared) for m in measures]
    ticks = "".join(
        f'<th class="tick{" stop" if code in plan.stop_codes else ""}">'
        f"{'stop: ' if code in plan.stop_codes else ''}{escape(code)}</th>"
        for code in plan.codes
    )
    share = room / columns
    widths = [_LINE, subject]
    for m in measures:
        n = 1 + (m.name in plan.tared)
        widths += [_width(m, m.name in plan.tared) * share / n] * n
    widths += [_TIME, *[_TICK] * len(plan.codes)]
    head = (
        f'<tr class="top"><td colspan="{len(widths)}">'
        f'<div class="code">{escape(first["sheet"])}<small>sheet {number} of {of}</small></div>'
        f'<div class="who">{escape(first["measurer"])} <b>round {first["round"]}</b></div>'
        f"<div>{escape(_title(plan, block))}</div></td></tr>"
    )
    cols = "".join(f'<col style="width:{100 * w / sum(widths):.2f}%">' for w in widths)
    body = "".join(_lines(plan, block, rows, measures, len(widths)))
    first_care, last_care = map(escape, CAUTIONS)
    stop = (
        f", and tick {' or '.join(map(escape, plan.stop_codes))}: it never counts against anybody"
        if plan.stop_codes else ""
    )  # fmt: skip
    return (
        f'<section class="sheet{" wide" if wide else ""}"><table><colgroup>{cols}</colgroup>'
        f"<thead>{head}"
        f"<tr><th></th><th>Subject</th>{''.join(names)}<th>Time</th>{ticks}</tr></thead>"
        f'<tfoot><tr><td colspan="{len(widths)}"><p>{first_care}{stop}. {last_care}</p>'
        "<p>Written by (code) <span></span> checked by <span></span></p></td></tr></tfoot>"
        f"<tbody>{body}</tbody></table></section>"
    )


def _title(plan: Plan, block: Block) -> str:
    date = day(plan.date) if plan.date else ""
    group = f"group {block.group}" if block.group else ""
    many = counted(len(block.subjects), block.of or "subject", block.of)
    return " \u00b7 ".join(filter(None, (plan.title, date, group, many)))


def _form(measure: Measure) -> str:
    if measure.step.unit == "oz":
        return "pounds"
    return "fraction" if measure.step.by_halves and measure.step.size < 1 else "decimal"


def _width(measure: Measure, tared: bool) -> int:
    return _BOX[_form(measure)] * (1 + tared)


def _named(measure: Measure, tared: bool) -> str:
    """What a column asks for: the measure, the mark to read to, and that mark on a ruler."""
    tools = '<span class="tool">on <span></span></span>'
    name = escape(sentence(label(measure.name)))
    head = f"<b>{name}</b><br>to {escape(str(measure.step))}{ruler(measure)}{tools}"
    if not tared:
        return f'<th class="read">{head}</th>'
    return (
        f'<th class="read">{head}<em>both together</em></th>'
        f'<th class="read"><b>{name}</b><br>the same scale<em>caregiver alone</em></th>'
    )


def ruler(measure: Measure) -> str:
    """One whole mark of the instrument with its steps, drawn; nothing where none is known."""
    cycle = measure.cycle
    if cycle is None or not 2 <= cycle <= 32:
        return ""
    left, wide, heights = 12, 96, []
    for i in range(cycle + 1):
        if i % cycle == 0:
            heights.append(14)
        elif 2 * i == cycle:
            heights.append(10)
        else:
            heights.append(7 if 4 * i % cycle == 0 else 5)
    size, unit = cycle * measure.step.size, measure.step.unit
    whole = "1 lb" if (size, unit) == (16, "oz") else f"{float(size):g} {unit}"
    ticks = "".join(
        f'<line x1="{left + wide * i / cycle:.1f}" x2="{left + wide * i / cycle:.1f}" y1="15" '
        f'y2="{15 - h}"/>'
        for i, h in enumerate(heights)
    )
    return (
        '<svg class="ruler" viewBox="0 0 150 16" stroke="#000" stroke-width="1.2" role="img" '
        f'aria-label="{cycle} marks to {whole}">{ticks}'
        f'<line x1="{left}" x2="{left + wide}" y1="15" y2="15"/>'
        '<g stroke="none" font-size="11"><text x="1" y="15">0</text>'
        f'<text x="{left + wide + 4}" y="15">{whole}</text></g></svg>'
    )


def _lines(
    plan: Plan, block: Block, rows: pd.DataFrame, measures: list[Measure], width: int
) -> Iterator[str]:
    """The lines to write in, with a rest where everybody rests."""
    turns = turns_of_round(len(block.people), len(block.subjects))
    ticks = '<td class="tick"><i></i></td>' * len(plan.codes)
    blanks = "".join(_blank(m) * (1 + (m.name in plan.tared)) for m in measures)
    lines = rows.drop_duplicates("line")
    for i, row in enumerate(lines.itertuples(), start=1):
        yield (
            f'<tr><td class="line">{row.line}</td><td class="subject">{escape(row.subject)}</td>'
            f'{blanks}<td class="time"></td>{ticks}</tr>'
        )
        if i < len(lines) and rests_after(plan, row.turn, turns):
            yield f'<tr class="rest"><td colspan="{width}">rest {plan.rest_minutes:g} min</td></tr>'


def _blank(measure: Measure) -> str:
    """A blank for one reading, with the units where they are to be written."""
    form, unit = _form(measure), escape(measure.step.unit)
    if form == "pounds":
        inside = "<u></u> lb <u></u> oz"
    elif form == "fraction":
        inside = f"<u></u> <u class='part'></u>/{measure.step.size.denominator} {unit}"
    elif measure.step.decimals:
        inside = f"<u></u> . <u class='part'></u> {unit}"
    else:
        inside = f"<u></u> {unit}"
    return f'<td class="blank">{inside}</td>'
