"""What is to be known beside a figure of repeats or of agreement?"""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note


class Repeats(Note, Enum):  # of repeat errors
    NOT_READ_TWICE = auto()
    ALL_EQUAL = auto()
    UNDER_ONE_STEP = auto()
    READINGS_ALL_EQUAL = auto()
    RELIABILITY_HAS_NO_INTERVAL = auto()
    CONVERTED_LEFT_OUT = auto()
    PARTLY_TARED_LEFT_OUT = auto()
    TARED = auto()
    NOBODY_ELSE_TWICE = auto()
    UPPER_BOUND = auto()
    UPPER_BOUND_LESS_SHIFT = auto()
    ALL_EQUAL_LESS_SHIFT = auto()


class FirstReadingsUsed(Note):  # of a subject that was read more often
    most: int


class TooFewRepeats(Note):  # to test how alike they are
    least: int


class NoPValue(Note):  # whether somebody's repeats are too alike is not tested
    why: Note


class Shifts(Note, Enum):  # of what changed between rounds
    NO_FIRST_ROUND = auto()
    TOO_FEW_OTHERS = auto()
    TAKEN_OUT = auto()
    NOT_TAKEN_OUT = auto()


class NotInBothRounds(Note):
    """No subject was read in round 1 and in this one, by a person and by others."""

    round: int


class NobodyInBothRounds(Note):  # none of the staff read a subject in round 1 and in this one
    round: int


class Agreement(Note, Enum):  # of differences from the reference or the others
    ALL_EQUAL = auto()
    ONE_SUBJECT = auto()
    ONE_SUBJECT_NO_LIMITS = auto()
    NO_REFERENCE = auto()
    NOTHING_IN_COMMON = auto()
    INTERVALS_OF_PARTS = auto()
    NEEDS_TWO_OTHERS = auto()
    ONE_SIZE = auto()
    ON_A_LINE = auto()


class TooFewForLine(Note):  # common subjects, for a line of differences by size
    least: int
