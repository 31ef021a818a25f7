"""What is wrong with a table or with its rows, and what was passed over in it?"""

from __future__ import annotations

from enum import Enum, auto
from fractions import Fraction

from anthroqa.notes import Note
from anthroqa.notes.intake.written import Step


class Unopened(Note):  # A file is not there as a whole: it may just be being saved
    __slots__ = ()


class OfFile(Note, Enum):  # of a file and its cells
    NOT_UTF8 = auto()
    NOT_TEXT = auto()
    TABS = auto()
    ROWS_IN_A_CELL = auto()
    COLUMN_TWICE = auto()
    PERSONAL = auto()
    PERSONAL_NOT_READ = auto()
    TOO_MANY_CELLS = auto()
    FORMULA = auto()
    LOCKED = auto()  # with a password, or of an old kind


class Misquoted(Note):  # A quotation mark is out of place, in the words of the reader of the file
    error: str


class UnknownColumn(Note):  # A column's name is near a known one
    near: str


class NoColumn(Note):  # A column is missing; one that is near perhaps is there
    near: str | None
    required: tuple[str, ...]


class EmptyFile(Note):  # there is not even a header
    required: tuple[str, ...]


class NoSheet(Note):  # A workbook has no sheet of this name; another one fits perhaps
    sheet: str
    fits: str | None


class EmptyWorkbook(Unopened):
    """A workbook has no bytes."""


class BrokenWorkbook(Unopened):  # A workbook cannot be opened, or only a part of it is there
    error: str  # the name of its kind
    part: bool


class RowsAbove(Note):  # rows above the names of the columns were passed over
    n: int


class EmptyRows(Note):  # empty rows between others were passed over
    rows: tuple[int, ...]


class Spaced(Note):  # outer spaces were removed in so many rows
    rows: int


class Stopped(Note):  # so many readings have a stop code and were set aside
    n: int


class OfRow(Note, Enum):  # of a row of readings
    NO_GROUP = auto()
    NOT_A_ROUND = auto()
    NOT_A_RETAKE = auto()
    RETAKE_OF_NOTHING = auto()
    FOR_EVERYBODY = auto()
    NOT_A_TIME = auto()
    MIXED_FORMS = auto()
    TOO_FAR_APART = auto()


class NoCode(Note):  # A measurer or a subject has no code
    column: str


class UnknownMeasure(Note):  # A row has no measure, or one that is not described
    given: bool
    near: str | None
    known: tuple[str, ...]


class TareIsMore(Note):  # the tare is more than the reading
    slips: tuple[Note, ...]  # that it is consistent with


class OutOfRange(Note):  # A reading is outside the range of its measure
    low: Fraction | None
    high: Fraction | None
    step: Step
    slips: tuple[Note, ...]  # that it is consistent with


class NearlyTheSame(Note):  # A code may be another one, typed in another way
    usual: str


class NoReference(Note):  # nothing was read by the measurer whose readings are the comparison
    near: str | None


class InTwoGroups(Note):  # A subject is in another group in an earlier row
    group: str
    other: str
    row: int


class GivenTwice(Note):  # A reading stands in an earlier row already
    row: int
    same: bool
