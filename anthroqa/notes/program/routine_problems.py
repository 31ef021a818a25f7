"""What is wrong with routine records, with the place they are held in, or with a counts file."""

from __future__ import annotations

from enum import Enum, auto
from typing import TYPE_CHECKING

from anthroqa.notes import Note

if TYPE_CHECKING:
    from anthroqa.notes.intake.written import Step


class Held(Note, Enum):  # of the files or the engine that hold the records
    NO_FILE = auto()
    NO_FILES = auto()
    NO_FORMAT = auto()
    NO_FIT = auto()
    BOTH_FORMATS = auto()
    HEADER = auto()
    DELIMITERS = auto()
    NO_ROWS = auto()
    NOT_DUCKDB = auto()
    NOT_UTF8 = auto()
    NOT_APART = auto()
    MEMORY = auto()
    NOT_PARQUET = auto()


class ClinicIsSite(Note, Enum):
    """The column `clinic` is called `site` now, and nobody's is passed over in silence."""

    IN_COUNTS = auto()
    IN_SOURCE = auto()
    IN_OPTION = auto()


class NoSuchFile(Note):  # there is no file or folder at the path
    near: str | None


class NoAnswer(Note):  # an engine failed, and said so
    error: str  # the class of it
    said: str  # what may be repeated of its own words


class Unreachable(Note):  # A database cannot be reached
    why: Note


class WhichTable(Note):  # A database has several tables, and none was named
    tables: tuple[str, ...]


class NoTable(Note):  # A database lacks the table that was named
    table: str
    near: str | None
    tables: tuple[str, ...]


class NoColumn(Note):  # the records lack a column that is needed, or was named
    ours: str
    near: str | None
    there: tuple[str, ...]


class NoSuchName(Note):  # an option names a column that records do not have
    ours: str
    near: str | None
    known: tuple[str, ...]


class ColumnKind(Note):  # A column of the records cannot hold readings, or times
    ours: str


class NoStep(Note):  # records have a measure for which no step was given
    measure: str
    rows: int
    near: str | None


class MeasureAbsent(Note):  # A measure that is wanted is not in the records
    measure: str
    near: str | None
    there: tuple[str, ...]


class TooManyForms(Note):  # A measure has more different readings than a display
    measure: str
    forms: int


class NotReadings(Note):  # readings that are text cannot be understood
    measure: str
    readings: int
    step: Step


class NoMeasurer(Note):  # rows have no code of a measurer
    rows: int
    of: int


class Undated(Note):  # rows have no date, or none that can be read
    rows: int
    of: int


class LooksLike(Note, Enum):  # what readings were kept to, where it is no step
    EIGHTHS_IN_TWO_DECIMALS = auto()


class MostlyOff(Note):  # most readings of a measure are off its step
    measure: str
    off: int
    readings: int
    step: Step
    likely: Step | LooksLike | None


class OffInMonths(Note):  # A site wrote something else than the step in some months only
    site: str
    measure: str
    step: Step
    months: tuple[str, ...]
    off: int
    readings: int
    off_else: int  # in the other months
    readings_else: int


class LikeNames(Note):  # codes look like people's names
    codes: int


class InCounts(Note, Enum):  # of a counts file, its columns or a cell
    NOT_CSV = auto()
    NO_COUNTS = auto()
    COLUMN_TWICE = auto()
    OF_A_CHILD = auto()
    LIKE_A_NAME = auto()
    NO_MEASURE = auto()
    NO_STEP = auto()
    NO_PERIOD = auto()
    NO_COUNT = auto()


class StrayColumn(Note):  # A column does not belong in a counts file
    near: str | None


class LacksColumn(Note):  # A counts file lacks a column
    near: str | None


class SeveralSteps(Note):  # A measure is counted in several steps
    measure: str
    steps: int


class UnknownKind(Note):  # what was counted is of no kind that there is
    kinds: tuple[str, ...]


class NoPosition(Note):  # A position does not lie between two whole marks
    position: str  # as it stands there
    step: str
    last: int


class PositionOf(Note):  # A kind that has no position has one
    kind: str


class MoreThan(Note):  # A number is more than another one that holds it
    column: str
    n: str  # as it stands there


class NoSuchSquares(Note):  # no readings on so many days have this sum of squared daily counts
    n: str  # as it stands there
    days: str


class Cell(Note):  # whose counts a row holds
    site: str
    measurer: str
    instrument: str
    measure: str
    period: str


class CellTwice(Note):  # A cell is there twice
    cell: Cell


class PartsDiffer(Note):  # parts do not add up to their total, if there is one
    cell: Cell
    parts: int
    total: int | None


class MoreRows(Note):  # more rows have a problem that was told before
    rows: int
    problem: Note


class CountedInSteps(Note):  # A measure was counted in other steps than those that are asked for
    measure: str
    counted: Step
    asked: Step


class AsRecorded(Note):
    """A problem that the run which made a counts file wrote beside it, in its words."""

    problem: str
    remedy: str
