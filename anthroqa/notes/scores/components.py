"""What is to be known beside a variance component or a spread of the staff?"""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note


class Components(Note, Enum):  # why a component or its interval cannot be had, and what it holds
    NOBODY = auto()
    ONE_PERSON = auto()
    ONE_SUBJECT = auto()
    NO_SHARED_SUBJECT = auto()
    TOO_FEW_SHARED = auto()
    UNSETTLED = auto()
    NO_SECOND_READING = auto()
    TOO_FEW_SECOND_READINGS = auto()
    NO_ERROR_SEEN = auto()
    NOTHING_TO_DIVIDE = auto()
    ALL_ALIKE = auto()
    ONE_ROUND = auto()
    REPEAT_AND_INTERACTION = auto()
    INTERACTION_INSIDE = auto()
    INSTRUMENTS_INSIDE = auto()
    ICC_AGREEMENT = auto()
    ICC_CONSISTENCY = auto()


class NoInstruments(Note, Enum):  # why the spread between instruments cannot be had
    UNNAMED = auto()
    ONE_ONLY = auto()
    ONE_EACH = auto()
    CONFOUNDED = auto()


class BelowZero(Note):  # the variance by mean squares, taken as zero
    variance: float
    unit: str  # of its root


class Between(Note, Enum):  # of the between TEM
    NONE_COMPLETE = auto()
    GROUPS_CAN_BE_TOLD = auto()
    NOT_SEPARABLE = auto()
    NO_DIFFERENCE = auto()
    REPEATS_COUNTED_TWICE = auto()


class LeftOut(Note):  # who measured under half of the group's subjects
    measurer: str
