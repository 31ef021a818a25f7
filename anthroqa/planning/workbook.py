"""What does the workbook look like into which the readings are typed?

One row a planned reading, in the order of the sheets; whatever is typed is text, so that no
program makes a date of `3/8` or a number of `7.30`. Drop-downs and ranges warn and never stop:
what is on the paper must go in as it is.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from pathlib import Path

import pandas as pd
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from anthroqa.intake import Measure
from anthroqa.intake.written.grammar import as_written, nearest_mark
from anthroqa.planning.plan import Plan

READINGS, SECOND, ENTERED, LISTS = "readings", "second_entry", "entered", "lists"
_MADE = dt.datetime(2000, 1, 1)  # the same bytes whenever it is made
_RANGES = 50  # ranges of one rule: some programs refuse a rule with very many (from memory)
_SPARE = 200  # further rows that take retakes as text, with the lists
_PAPER = {"A4": 9, "Letter": 1}  # as numbered in ECMA-376, part 1, 18.3.1.63 (from memory)
_WIDTHS = {
    "sheet": 20, "line": 5, "group": 7, "measurer": 11, "subject": 11, "measure": 18, "round": 7,
    "reading": 16, "tare": 16, "instrument": 12, "condition": 11, "taken_at": 17, "retake": 7,
    "note": 28,
}  # fmt: skip
_SAID = {
    "tare": "What the display showed for the caregiver alone, where the measure has a tare.",
    "taken_at": "If it was noted, as in 2026-10-06T09:30.",
}
_HOW_TO = (
    "Type what is on the paper, as it stands there, into the white columns of 'readings'.",
    "Leave a reading empty where there is none. A stop code goes into 'condition'.",
    "A reading that is taken again is a new row below with the same codes, and 1 in 'retake'.",
    "Type everything once more into 'second_entry', best by another person, without looking.",
    "Rows may be sorted and added. Names of sheets and columns must stay.",
    "Save, and let 'anthroqa check' read the folder after each round.",
)


def write_workbook(plan: Plan, planned: pd.DataFrame, path: str | Path) -> None:
    """Write the workbook for the planned readings.

    Parameters
    ----------
    plan : Plan
    planned : pandas.DataFrame
        What `planned(plan)` gave.
    path : str or pathlib.Path
        The file to write.
    """
    typed = _typed_columns(plan)
    options = {
        "strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False,
        "in_memory": True,
    }  # fmt: skip
    with xlsxwriter.Workbook(str(path), options) as book:
        book.set_properties({"title": plan.title, "created": _MADE})
        _Writer(plan, planned, book).write(typed)


def _typed_columns(plan: Plan) -> list[str]:
    return [
        "reading", *(["tare"] if plan.tared else []),
        *(["instrument"] if plan.instruments else []), "condition", "taken_at", "retake", "note",
    ]  # fmt: skip


class _Writer:
    """The sheets of one workbook."""

    def __init__(self, plan: Plan, planned: pd.DataFrame, book: xlsxwriter.Workbook) -> None:
        self.plan, self.planned, self.book = plan, planned, book
        text = {"num_format": "@", "font_size": 12}
        given = {**text, "bg_color": "#eeeeee"}
        begun = {"top": 2}  # where the next sheet of paper begins
        self.head = book.add_format({"bold": True, "bottom": 2, "font_size": 12})
        self.number = book.add_format(
            {"bold": True, "bottom": 2, "font_size": 12, "align": "right"}
        )
        self.plain = book.add_format({"font_size": 12})
        self.typed = book.add_format({**text, "border": 1, "border_color": "#bbbbbb"})
        self.given = book.add_format(given)
        self.first_typed = book.add_format({
            **text, "border": 1, "border_color": "#bbbbbb", **begun, "top_color": "#000000"
        })  # fmt: skip
        self.first_given = book.add_format({**given, **begun})
        self.keys = [
            "sheet", "line", *(["group"] if len(plan.groups) > 1 else []),
            "measurer", "subject", "measure", "round",
        ]  # fmt: skip

    def write(self, typed: Sequence[str]) -> None:
        again = ["reading", *(["tare"] if "tare" in typed else []), "retake"]
        first = self._rows(READINGS, typed)
        second = self._rows(SECOND, again)
        self._entered(typed, again)
        lists = self._lists()
        for sheet, columns in ((first, typed), (second, again)):
            self._helps(sheet, [*self.keys, *columns], lists)

    def _rows(self, name: str, typed: Sequence[str]) -> Worksheet:
        """A sheet with the planned rows and empty cells to type into."""
        sheet = self.book.add_worksheet(name)
        columns = [*self.keys, *typed]
        sheet.write_row(0, 0, columns, self.head)
        for c, column in enumerate(columns):
            sheet.set_column(c, c, _WIDTHS[column], self.typed if column in typed else None)
        cells = [self.planned[key].astype(str).tolist() for key in self.keys]
        before = ""
        for r in range(len(self.planned)):
            begins, before = cells[0][r] != before, cells[0][r]
            given, blank = (
                (self.first_given, self.first_typed) if begins else (self.given, self.typed)
            )
            for c, column in enumerate(cells):
                sheet.write_string(r + 1, c, column[r], given)
            for c in range(len(cells), len(columns)):
                sheet.write_blank(r + 1, c, None, blank)
        last = len(self.planned)
        for r in range(last + 1, last + 1 + _SPARE):
            for c in range(len(cells)):
                sheet.write_blank(r, c, None, self.typed)
        sheet.freeze_panes(1, len(self.keys))
        sheet.autofilter(0, 0, last, len(columns) - 1)
        sheet.set_landscape()
        sheet.set_paper(_PAPER[self.plan.paper])
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)
        sheet.print_area(0, 0, last, len(columns) - 1)
        sheet.set_footer("&L&A&Rpage &P of &N")
        sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
        sheet.ignore_errors({"number_stored_as_text": f"A1:Z{last + 1 + _SPARE}"})
        return sheet

    def _entered(self, typed: Sequence[str], again: Sequence[str]) -> None:
        """How far the entry is, by sheet of paper, in formulas; above it, how to."""
        sheet = self.book.add_worksheet(ENTERED)
        sheet.set_column(0, 0, 26)
        sheet.set_column(1, 4, 15)
        for r, line in enumerate(_HOW_TO):
            sheet.write_string(r, 0, line, self.plain)
        top = len(_HOW_TO) + 1
        sheet.write_string(top, 0, "sheet", self.head)
        sheet.write_row(top, 1, ["planned", "entered", "entered twice", "not alike"], self.number)
        # rows may have been added or sorted: count by the code of the sheet
        last = len(self.planned) + 1 + _SPARE

        def at(sheet: str, column: str, columns: Sequence[str]) -> str:
            letter = xlsxwriter.utility.xl_col_to_name([*self.keys, *columns].index(column))
            return f"{sheet}!${letter}$2:${letter}${last}"

        one, two = at(READINGS, "reading", typed), at(SECOND, "reading", again)
        sheets, sheets_again = at(READINGS, "sheet", typed), at(SECOND, "sheet", again)
        stopped = at(READINGS, "condition", typed)
        once, once_again = at(READINGS, "retake", typed), at(SECOND, "retake", again)
        first = top + 1
        planned = self.planned["sheet"].value_counts(sort=False)
        for r, (code, n) in enumerate(planned.items(), start=first):
            cell = f"$A${r + 1}"
            sheet.write_string(r, 0, str(code), self.plain)
            sheet.write_number(r, 1, int(n), self.plain)
            formulas = (
                f'=SUMPRODUCT(({sheets}={cell})*({once}="")*(({one}<>"")+({stopped}<>"")>0))',
                f'=SUMPRODUCT(({sheets_again}={cell})*({once_again}="")*({two}<>""))',
                f'=SUMPRODUCT(({sheets}={cell})*({one}<>"")*({two}<>"")*({one}<>{two}))',
            )
            for c, formula in enumerate(formulas, start=2):
                sheet.write_formula(r, c, formula, self.plain, 0)
        end = first + len(planned)
        sheet.write_string(end, 0, "all sheets", self.head)
        for c in range(1, 5):
            letter = "ABCDE"[c]
            total = len(self.planned) if c == 1 else 0
            sheet.write_formula(
                end, c, f"=SUM({letter}{first + 1}:{letter}{end})", self.head, total
            )
        sheet.write_string(
            end + 2, 0, "'not alike' compares rows in the order of the plan: it holds as long as "
            "both sheets are sorted alike. anthroqa check compares them in any order.", self.plain,
        )  # fmt: skip
        sheet.set_paper(_PAPER[self.plan.paper])
        sheet.fit_to_pages(1, 0)

    def _lists(self) -> dict[str, str]:
        """The lists of the drop-downs, on a sheet of their own: in a cell they may be too long."""
        sheet = self.book.add_worksheet(LISTS)
        planned = self.planned
        lists = {
            "measurer": list(dict.fromkeys(planned["measurer"])),
            "subject": list(dict.fromkeys(planned["subject"])),
            "measure": list(self.plan.measures), "condition": list(self.plan.codes),
            "instrument": list(self.plan.instruments), "retake": ["1", "2", "3"],
            "round": [str(r) for r in range(1, self.plan.rounds + 1)],
            "group": [g for g in self.plan.groups if g],
        }  # fmt: skip
        ranges = {}
        for c, (name, items) in enumerate(lists.items()):
            sheet.write_string(0, c, name, self.head)
            for r, item in enumerate(items, start=1):
                sheet.write_string(r, c, item, self.given)
            letter = xlsxwriter.utility.xl_col_to_name(c)
            if items:
                ranges[name] = f"={LISTS}!${letter}$2:${letter}${len(items) + 1}"
        sheet.hide()
        return ranges

    def _helps(self, sheet: Worksheet, columns: Sequence[str], lists: dict[str, str]) -> None:
        """Drop-downs, and what is expected in a reading's cell."""
        last = len(self.planned) + _SPARE
        for c, column in enumerate(columns):
            if column in lists:
                sheet.data_validation(1, c, last, c, {
                    "validate": "list", "source": lists[column], "error_type": "warning",
                    "error_title": "Not in the list", "error_message": "Is it so on the sheet?",
                })  # fmt: skip
        at, of = columns.index("reading"), columns.index("measure")
        for name, spans in _spans(self.planned["measure"].tolist()).items():
            listed = f"INDEX({lists['measure'][1:]},{list(self.plan.measures).index(name) + 1})"
            for i in range(0, len(spans), _RANGES):
                first, *others = [(r + 1, at, end + 1, at) for r, end in spans[i : i + _RANGES]]
                sheet.data_validation(*first, {
                    **_expected(
                        self.plan.measures[name],
                        xlsxwriter.utility.xl_rowcol_to_cell(first[0], at),
                        f"{xlsxwriter.utility.xl_rowcol_to_cell(first[0], of)}<>{listed}",
                        tared=name in self.plan.tared,
                    ),
                    "multi_range": " ".join(
                        xlsxwriter.utility.xl_range(*span) for span in (first, *others)
                    ),
                })  # fmt: skip
        for column, said in _SAID.items():
            if column in columns:
                at = columns.index(column)
                sheet.data_validation(1, at, last, at, {
                    "validate": "any", "input_title": column, "input_message": said,
                })  # fmt: skip


def _spans(names: Sequence[str]) -> dict[str, list[tuple[int, int]]]:
    """For each measure the runs of rows that hold it."""
    spans: dict[str, list[tuple[int, int]]] = {}
    for r, name in enumerate(names):
        runs = spans.setdefault(name, [])
        if runs and runs[-1][1] == r - 1:
            runs[-1] = (runs[-1][0], r)
        else:
            runs.append((r, r))
    return spans


def _expected(measure: Measure, cell: str, other: str, *, tared: bool) -> dict[str, object]:
    """What a cell says when it is chosen, and a warning out of range where numbers are typed.

    `3/8` is a date to some programs, so fractions and ounces are only told about. Rules stay
    where they are when rows are sorted: where `other` holds, the row is of another measure.
    """
    said = " ".join(_said(measure, tared=tared))
    rule: dict[str, object] = {
        "validate": "any", "input_title": measure.name[:32], "input_message": said[:255],
    }  # fmt: skip
    decimal = measure.step.unit != "oz" and not measure.step.by_halves
    if tared or not decimal or measure.low is None or measure.high is None:
        return rule
    number = f'_xlfn.NUMBERVALUE(SUBSTITUTE({cell},",","."),".")'
    return rule | {
        "validate": "custom", "error_type": "warning", "error_title": "Out of the range",
        "error_message": "This is no number in the range of the measure. Is it so on the paper?",
        "value": f'=OR({other},{cell}="NA",IFERROR(AND({number}>={float(measure.low)},'
        f"{number}<={float(measure.high)}),FALSE))",
    }  # fmt: skip


def _said(measure: Measure, *, tared: bool) -> Iterator[str]:
    step = measure.step
    yield f"To {step}."
    if measure.low is not None and measure.high is not None:
        yield f"From {nearest_mark(measure.low, step)} to {nearest_mark(measure.high, step)}."
        middle = round((measure.low + measure.high) / 2 / step.size)
        yield f"As in {as_written(middle, step)}."
    if tared:
        yield "What the display showed for both together."
