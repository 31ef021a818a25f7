"""What is wrong with a table or with its rows, and what was passed over in it? In words."""

from __future__ import annotations

from anthroqa.intake.written.grammar import nearest_mark
from anthroqa.notes import register
from anthroqa.notes.intake import problems as kinds
from anthroqa.reporting.words.hints import consistent_with, did_you_mean

_SAVE_AGAIN = (
    "If it is just being saved, wait a moment and look again; else open it in a spreadsheet "
    "program and save it again as .xlsx"
)
_DELETE = "Delete the column from the file: the audit needs codes only."
_UNQUOTE = "Look for a single quotation mark in a note or a reading and delete it."
_MOST_ROWS = 10  # empty ones that are listed


def _range(n: kinds.OutOfRange) -> str:
    ends = (("from", n.low), ("to", n.high))
    told = [f"{word} {nearest_mark(end, n.step)}" for word, end in ends if end is not None]
    return f"outside the range of this measure ({' '.join(told)})"


def _empty_rows(n: kinds.EmptyRows) -> str:
    listed = ", ".join(map(str, n.rows[:_MOST_ROWS]))
    return f"empty rows passed over: {listed}{' ...' if len(n.rows) > _MOST_ROWS else ''}"


def _stopped(n: kinds.Stopped) -> str:
    were = "reading with a stop code was" if n.n == 1 else "readings with a stop code were"
    return f"{n.n} {were} set aside, counted against nobody"


register({
    kinds.OfFile.NOT_UTF8: (
        "the file is not UTF-8 text", "Save it again as 'CSV UTF-8', or as a workbook (.xlsx)."),
    kinds.OfFile.NOT_TEXT: ("the file is not a text file", "Save it again as 'CSV UTF-8'."),
    kinds.OfFile.TABS: (
        "the columns are separated by tabs",
        "Save it again with commas or semicolons between the columns."),
    kinds.OfFile.ROWS_IN_A_CELL:
        ("a quotation mark is out of place (rows inside one cell)", _UNQUOTE),
    kinds.OfFile.COLUMN_TWICE: ("this column is there twice", "Keep one of the two."),
    kinds.OfFile.PERSONAL: ("this column looks like personal data", _DELETE),
    kinds.OfFile.PERSONAL_NOT_READ:
        ("this column looks like personal data; it was not read", _DELETE),
    kinds.OfFile.TOO_MANY_CELLS: (
        "the row has more cells than columns",
        "Look for a comma inside a cell (a decimal comma, a comma in a note): write a "
        "decimal point, or put the cell in quotation marks. A column needs a name."),
    kinds.OfFile.FORMULA: (
        "this cell holds a formula that was never worked out",
        "Open the workbook, let it calculate, save it, or type the value."),
    kinds.OfFile.LOCKED: (
        "the workbook has a password, or is of an old kind",
        "Open it in a spreadsheet program and save it again as .xlsx, without a password."),
    kinds.Misquoted: ("a quotation mark is out of place ({n.error})", _UNQUOTE),
    kinds.UnknownColumn: (
        "this column is not known here",
        lambda n: did_you_mean(n.near)
        + "Write it so, or give the column a name that is further from it."),
    kinds.NoColumn: (
        "this column is missing",
        lambda n: (f"Is it {n.near!r}? " if n.near is not None else "")
        + f"The first row must name the columns {', '.join(n.required)}."),
    kinds.EmptyFile: (
        "the file is empty",
        lambda n: f"Give it the columns {', '.join(n.required)} and one reading a row."),
    kinds.NoSheet: (
        "there is no sheet named {n.sheet}",
        lambda n: f"Name the sheet that holds the rows {n.sheet!r}"
        + (f": it seems to be {n.fits!r}." if n.fits is not None else ".")),
    kinds.EmptyWorkbook: ("the workbook is empty", f"{_SAVE_AGAIN}."),
    kinds.BrokenWorkbook: (
        lambda n: f"the workbook {'is not whole' if n.part else 'cannot be opened'} ({n.error})",
        f"{_SAVE_AGAIN}, without a password."),
    kinds.RowsAbove: lambda n:
        f"{'row 1' if n.n == 1 else f'rows 1 to {n.n}'} above the column names passed over",
    kinds.EmptyRows: _empty_rows,
    kinds.Spaced: "outer spaces removed in {n.rows} rows",
    kinds.Stopped: _stopped,
    kinds.OfRow.NO_GROUP: ("the group is missing here and given elsewhere", "Give the group."),
    kinds.OfRow.NOT_A_ROUND: ("a round is a whole number from 1", "Write 1 for the first, 2 ..."),
    kinds.OfRow.NOT_A_RETAKE: ("a retake is a whole number from 1, or empty", "Write 1, 2 ..."),
    kinds.OfRow.RETAKE_OF_NOTHING: (
        "this retake has no first reading",
        "Leave retake empty for the first reading; write 1 for the one after it."),
    kinds.OfRow.FOR_EVERYBODY: (
        "this code stands for everybody in the tables", "Choose another code."),
    kinds.OfRow.NOT_A_TIME: ("this time is not in ISO form", "Write it as 2026-10-06T09:30."),
    kinds.OfRow.MIXED_FORMS: (
        "bare numbers and pounds with ounces are mixed in this measure",
        "Write every reading in one form, best with units, as in 11 lb 10 oz."),
    kinds.OfRow.TOO_FAR_APART: (
        "the readings of this measure lie too far apart to be summed exactly",
        "Look for a figure too many; give the measure a range."),
    kinds.NoCode: ("the {n.column}'s code is missing", "Give the code on the paper."),
    kinds.UnknownMeasure: (
        lambda n: "this measure is not described" if n.given else "the measure is missing",
        lambda n: f"{did_you_mean(n.near)}session.toml describes "
        f"{', '.join(n.known) or 'none'}."),
    kinds.TareIsMore: (
        "the tare is more than the reading",
        lambda n: "Were the two exchanged? The reading is what the display showed for both."
        + consistent_with(n.slips)),
    kinds.OutOfRange: (
        _range, lambda n: f"Look at the paper and type it again.{consistent_with(n.slips)}"),
    kinds.NearlyTheSame: (
        "this code differs from {n.usual!r} only in case, leading zeros or spaces",
        "Write {n.usual!r} wherever this code stands if it is the same; else choose codes that "
        "differ more."),
    kinds.NoReference: (
        "no reading is by this measurer",
        lambda n: did_you_mean(n.near)
        + "Name the measurer whose readings are the comparison."),
    kinds.InTwoGroups: (
        "this subject is in group {n.group!r} here and in {n.other!r} in row {n.row}",
        "Is it one child in two groups? Give the second one a code of its own, or mend the group."),
    kinds.GivenTwice: (
        lambda n: f"this reading is {'given twice' if n.same else 'different'} in row {n.row} for "
        "the same measurer, subject, measure and round",
        lambda n: "Delete one of the rows." if n.same else
        "Which came first? Write 1 in the column retake for the later one, or mend a code."),
})  # fmt: skip
