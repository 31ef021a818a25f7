"""Why is a text no reading? In words, each with what to do."""

from __future__ import annotations

from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import UNITS
from anthroqa.notes import register
from anthroqa.notes.intake import written as kinds
from anthroqa.reporting.words.hints import consistent_with

_AGAIN = "Look at the paper and type it again"
_WITH_UNITS = "Write pounds and ounces with their units, as in 11 lb 10 oz."
_UNITS = f"one of {', '.join(UNITS)}."


def _marks_nearby(n: kinds.OffMark) -> str:
    between = f"{as_written(n.below, n.step)} and {as_written(n.below + 1, n.step)}"
    if n.point:
        meant = f" ({n.pounds[0]} lb {n.pounds[1]} oz)" if n.pounds else ""
        remedy = (
            f"Marks nearby are {between}. If pounds and ounces were meant{meant}, write them "
            "with their units, as in 11 lb 10 oz."
        )
    elif n.unit == n.step.unit:
        remedy = f"The marks nearby are {between}: was it estimated, converted, or mistyped?"
    else:
        remedy = (
            f"Turned into {n.step.unit} it falls between {between}: write what the instrument "
            "showed, not a converted value."
        )
    return remedy + consistent_with(n.slips)


register({
    kinds.Unread.APOSTROPHE: (
        "a spreadsheet marked this number as text with an apostrophe", "Delete the apostrophe."),
    kinds.Unread.SCIENTIFIC: (
        "a number in scientific notation is not something that is read from a scale",
        f"{_AGAIN} in plain figures."),
    kinds.Unread.DECIMAL_COMMA: (
        "a decimal comma cannot be told from a column separator here",
        "Write a decimal point, or save the file with semicolons between columns."),
    kinds.Unread.SECOND_UNIT_MISSING: ("the unit of the second number is missing", _WITH_UNITS),
    kinds.Unread.DATE: (
        "this is a date or a time: a spreadsheet turns a fraction such as 3/8 into one",
        f"{_AGAIN}, after setting the column's format to Text; write 3/8 as 0 3/8."),
    kinds.Unread.NUMBER_OF_A_DATE: (
        "this is how a spreadsheet keeps a date when its cell is shown as a number",
        f"{_AGAIN}, after setting the column's format to Text."),
    kinds.Unread.NO_NUMBER_OF_MARKS: (
        "this cannot be read as a number of marks",
        f"{_AGAIN}, as in 7.35, 24 3/8 or 11 lb 10 oz."),
    kinds.Unread.UNIT_MISSING: ("there is no unit", f"Add {_UNITS}"),
    kinds.Unread.NOT_POUNDS_AND_OUNCES: (
        "two numbers are written and they are not pounds and ounces", _WITH_UNITS),
    kinds.Unread.POUNDS_NOT_WHOLE: (
        "pounds that are followed by ounces must be whole",
        "Look at the paper and write it as in 11 lb 10 oz."),
    kinds.Unread.SIXTEEN_OUNCES: (
        "ounces run from 0 to 15 beside pounds",
        "Look at the paper: was a pound carried, or a figure slipped?"),
    kinds.Negative: ("a {n.thing} cannot be negative", f"{_AGAIN}, without the minus sign."),
    kinds.Placeholder: (
        "this is not a {n.thing}",
        "Leave the cell empty (or write NA) where nothing was read."),
    kinds.Word: (
        "this is a word and not a {n.thing}",
        "If nothing was read, leave the cell empty and put the word in the column condition "
        f"or note; else {_AGAIN[0].lower()}{_AGAIN[1:]}."),
    kinds.TooLong: ("this is too long to be a {n.thing}", f"{_AGAIN}."),
    kinds.TooLarge: ("the number is too large to be a {n.thing}", "Look at the paper."),
    kinds.UnknownUnit: ("{n.unit!r} is not a unit known here", f"Use {_UNITS}"),
    kinds.ByZero: ("{n.num}/{n.den} divides by zero", "Look at the paper and type the mark again."),
    kinds.NotBelowOne: (
        "{n.num}/{n.den} is not a position between two whole marks",
        "Write the whole number and a fraction under one, as in 24 3/8."),
    kinds.OtherKindOfUnit: (
        "{n.unit} is the wrong kind of unit for a measure recorded to {n.step}",
        "Write it with the unit {n.step.unit}, or move the row to the measure it belongs to."),
    kinds.TwoWays: (
        "{n.text!r} can be read in two ways: ounces after the point, or a decimal part of a pound",
        lambda n: _WITH_UNITS + consistent_with(n.slips)),
    kinds.OffMark: (
        "it is not on a mark of this instrument, which has one every {n.step}", _marks_nearby),
})  # fmt: skip
