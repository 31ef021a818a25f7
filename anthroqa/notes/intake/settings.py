"""What is wrong with the settings of a session?"""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note
from anthroqa.notes.intake.written import Refusal, Step


class OfSettings(Note, Enum):  # of `session.toml` and of its instruments
    NO_MEASURE = auto()
    NO_STEP = auto()
    STEP_OF_ZERO = auto()
    NOT_A_DATE = auto()
    UNKNOWN_EXERCISE = auto()
    NOT_A_CAP = auto()
    NO_TABLE_OF_CONDITIONS = auto()
    NO_TABLE_OF_INSTRUMENTS = auto()
    NOT_TWO_ENDS = auto()
    ENDS_EXCHANGED = auto()
    MASSES_AND_LENGTHS = auto()


class UnreadableToml(Note):  # A line cannot be read, in the words of the reader of the file
    error: str


class UnknownKey(Note):  # A key is misspelt, or is none
    near: str | None
    known: tuple[str, ...]


class NotText(Note):  # A key is no text
    key: str


class NotCodes(Note):  # A key is no list of codes
    key: str


class NoTable(Note):  # A key is no table
    key: str


class MeasureTwice(Note):  # A measure differs from another only in case
    other: str


class InstrumentTwice(Note):  # an instrument's code differs from another only in case
    other: str


class NotAStep(Note):  # what a measure is recorded to cannot be read as an amount
    why: Refusal


class NotWholeSteps(Note):  # A whole mark is no whole number of steps
    step: Step


class UnknownChoice(Note):  # A key is none of a few words
    choices: tuple[str, ...]


class UnknownKind(Note):  # the kind of a measure is none of those known
    known: tuple[str, ...]


class KindOfOtherUnit(Note):  # the kind of a measure is not recorded in its unit
    kind: str
    unit: str


class NotAnAmount(Note, Enum):  # why a key is no amount, where it could be read
    NOT_TEXT = auto()
    ZERO = auto()


class UnitBeside(Note):  # A mass beside the step of a length, or the reverse
    unit: str
    step: Step


class NoAmount(Note):  # A key is no amount with its unit
    why: Refusal | NotAnAmount | UnitBeside
    example: str | Step
