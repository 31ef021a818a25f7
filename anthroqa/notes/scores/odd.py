"""What is to be known of odd readings, and of what a person's readings show as a whole?"""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note


class Explanation(Note, Enum):  # of what an odd reading is consistent with
    ON_THE_TARE = auto()  # the slip is in the tare
    TARE_OF_NOBODY = auto()  # nobody else's tare is like it
    LOST = auto()  # what was read is on no row
    EITHER = auto()  # of two readers either may be off


class MovesTooLittle(Note):
    """Why a kind of slip does not show: it moves a reading by no more than what is far."""

    limit: float
    unit: str


class FitsByChance(Note):
    """Why a kind of slip does not show: so many random errors of its size would be explained."""

    share: float


class SeenAgainst(Note):  # what a pattern was seen against
    views: tuple[str, ...]  # statistics


class ReadOnInstrument(Note):
    """Whose readings on an instrument lie off to one side, against whose on others."""

    instrument: str
    users: tuple[str, ...]
    others: tuple[str, ...]


class SameIn(Note):  # other measures that show the same
    measures: tuple[str, ...]


class Fault(Note, Enum):  # A fault that leaves a mark on all of a person's readings
    SHOES_ON = auto()
    CLOTHED = auto()
    BOARD_LOOSE = auto()
    KNEES_BENT = auto()
    KNEES_AT_TIMES = auto()
    HEAD_TILTED = auto()
    TAPE_TIGHT = auto()
    TAPE_LOOSE = auto()
    FROM_ONE_SIDE = auto()
    MOVEMENT = auto()
    ZERO_OFFSET = auto()


class Technique(Note, Enum):  # A step of technique to practise
    SHOES_AND_HAIR_OFF = auto()
    SHOES_OFF = auto()
    SAME_CLOTHING = auto()
    PRESS_FIRMLY = auto()
    KNEES_STRAIGHT = auto()
    KNEES_EVERY_TIME = auto()
    SIGHT_AT_RIGHT_ANGLE = auto()
    TAPE_FLAT = auto()
    TAPE_SNUG = auto()
    NEAREST_MARK = auto()
    FINEST_MARK = auto()
    WAIT_UNTIL_STILL = auto()
    SET_TO_ZERO = auto()
    FRESH_SHEET = auto()
    SEAT_THE_POISE = auto()
    LARGE_FIGURE_FIRST = auto()
    READ_THE_SHEET_BACK = auto()
    WRITE_THE_POINT = auto()
    NOTE_THE_UNIT = auto()
    SAY_THE_CODE = auto()
    WRITE_BOTH_DISPLAYS = auto()
    LOOK_ANEW = auto()
