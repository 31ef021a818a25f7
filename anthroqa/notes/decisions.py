"""What is to be known beside a finding: why it has its state, and what else is in its figure."""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note, Notes


class Limit(Note, Enum):  # of a limit that the program sets
    NOT_SET = auto()
    WITHOUT_SOURCE = auto()
    TOO_FINE = auto()  # for the step that was read
    NEAR_ROUNDING = auto()  # under three times what rounding alone gives


class SharedShift(Note, Enum):
    """Of a shift between rounds that the other staff share, and that is taken out."""

    TAKEN_OUT = auto()
    DECIDES = auto()  # it is not certain, and the finding would be another without it


class ShiftStays(Note):  # the shift between rounds is not taken out
    why: Notes


class InstrumentErrorsStay(Note):
    """What is known of the instruments is not taken out of a difference."""

    why: Notes


class InstrumentDiffers(Note):
    """A person and the reference measured the same subjects on other instruments."""

    own: tuple[str, ...]
    reference: tuple[str, ...]


class TooNear(Note):
    """A figure is too near its limit: more further subjects than so many would not settle it."""

    most: int


class TooFewDifferences(Note):  # nobody is judged by so few differences between repeats
    differences: float
    least: int


class TooFewSubjects(Note):  # nobody is judged by so few subjects that both measured
    subjects: int
    least: int


class OfReference(Note, Enum):  # of the doubt whether the reference is off
    NOT_READ = auto()  # by the reference, in this measure
    TWO_OTHERS = auto()  # one of two may pull their mean


class Place(Note, Enum):  # where an interval lies about a limit either way of zero
    ABOVE = auto()
    BELOW_MINUS = auto()
    WITHIN = auto()
    ACROSS = auto()


class WithoutOne(Note):
    """Without one person of the staff the interval of the reference lies elsewhere."""

    measurer: str
    place: Place


class OtherInstruments(Note):  # these of the staff measured on other instruments than the reference
    measurers: tuple[str, ...]
    everybody: bool


class OfTolerance(Note, Enum):  # of a published tolerance that an instrument is held against
    NO_CLASS_FOR_LENGTHS = auto()
    RANGE_IS_JUDGED = auto()
    PAST_THE_TABLE = auto()
    STANDARD_UNCERTAIN = auto()  # over a third of the tolerance
    ABOVE_CAPACITY = auto()
    OF_ITS_LOAD = auto()  # none is published for this figure
    CHOSEN_BY_UNIT = auto()
    LICENSED_ADJUST = auto()


class NoAccuracyClass(Note):  # the settings of an instrument have no accuracy class
    instrument: str


class OtherReading(Note, Enum):  # of a figure that is blank with some readings read another way
    NONE_LEFT = auto()


class JudgedOnAnother(Note):  # the finding would be made on another statistic
    statistic: str
    state: str


class LeftUnread(Note):  # readings that cannot be read as first written are left out
    readings: int
