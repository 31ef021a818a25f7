"""What is to be said of corrections, a second entry, true values and known loads?"""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note
from anthroqa.notes.intake.written import Step


class Correcting(Note, Enum):  # of a row of `corrections.csv`
    TWICE = auto()


class NotOneReading(Note):  # A correction names no reading, or several
    n: int
    near: str | None  # the reading that it may mean


class CorrectionLacks(Note):  # A cell of a correction is empty
    column: str


class SecondEntry(Note, Enum):  # of a row that a second person typed
    NOT_IN_FIRST = auto()


class TypedTwiceThere(Note):  # A row of the second entry is there already
    row: int


class FirstEmpty(Note):  # the cell of the first entry is empty
    cell: str  # its address in a workbook
    row: int
    column: str


class EntriesDiffer(Note):  # the cell of the first entry holds another reading
    cell: str  # its address in a workbook
    row: int
    other: str


class TrueValues(Note, Enum):  # of `true_values.csv`
    NOT_USED = auto()  # the session is no drill
    NO_SUBJECT = auto()
    NOT_SET = auto()
    MEASURE_NOT_SET = auto()


class NoTrueValues(Note):  # A drill has no file of what was set, which has these columns
    columns: tuple[str, ...]


class SetAlready(Note):  # A subject's true value stands in an earlier row
    row: int


class SubjectNotSet(Note):  # A subject was read, and nothing was set
    measure: str
    near: str | None  # the subject that may be meant


class NobodyRead(Note):  # what was set and not read
    settings: tuple[tuple[str, str], ...]  # subject, measure


class KnownLoads(Note, Enum):  # of `known_loads.csv`
    NO_INSTRUMENT = auto()
    NO_POSITION = auto()
    NO_LOAD = auto()
    LOAD_OF_ZERO_CHECK = auto()
    LOAD_IS_ZERO = auto()
    NO_READING = auto()
    NO_ROW = auto()
    NOBODYS_INSTRUMENT = auto()  # no reading of the session names one


class UnknownInstrument(Note):  # no reading was taken on an instrument, nor is it described
    instrument: str
    near: str | None


class UnknownCheck(Note):  # A check is none of those known; "" where none is given
    check: str
    near: str | None
    known: tuple[str, ...]


class CheckOfOtherKind(Note):  # A check of masses where a length is measured, or the reverse
    kind: str  # "mass" or "length"
    fitting: str


class AmountOfOtherKind(Note):
    """What is said of an instrument has the wrong kind of unit for a measure."""

    key: str
    unit: str
    step: Step


class OffInstrumentMark(Note):  # A reading falls between two marks of the instrument
    division: Step
    below: int  # divisions up to the mark below it


class OfInstrument(Note):  # what the known loads leave open of an instrument and a measure
    instrument: str
    measure: str


class TestedUnused(OfInstrument):
    """It was tested, and nobody used it."""


class OneLoad(OfInstrument):
    """At most one load was tested."""


class NoRepeat(OfInstrument):
    """No load was put on twice."""


class UsedUntested(Note):  # instruments that were used and not tested
    instruments: tuple[tuple[str, str], ...]  # instrument, measure


class DescribedOnly(Note):
    """An instrument is described, and neither readings nor known loads name it."""

    instrument: str
    near: str | None
