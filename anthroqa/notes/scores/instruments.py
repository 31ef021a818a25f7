"""What is to be known of instruments, their known loads, and figures without their error?"""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note


class KnownLoads(Note, Enum):  # of what an instrument showed for known loads
    EXACT = auto()
    UNREPEATED = auto()
    NONE_REPEATED = auto()
    HIDDEN = auto()
    ONE_POSITION = auto()
    NO_ROD_ON_BOTH_SIDES = auto()


class TooFewLoads(Note):  # for a straight line
    tested: int
    least: int


class NotTwoSides(Note):  # of a joint, so many are named
    named: int


class SideLessSide(Note):  # which way the error across a joint is counted
    side: str
    less: str


class Entangled(Note, Enum):  # why a bias cannot be told from an error of an instrument
    SHARED = auto()
    APART = auto()
    UNNAMED = auto()


class LessInstrument(Note, Enum):  # of a bias once the known error of the instruments is out
    NONE_NAMED = auto()
    SOME_UNNAMED = auto()
    CARRIED_ON = auto()


class Untested(Note):  # instruments whose error the known loads do not tell
    instruments: tuple[str, ...]


class AllPastLoads(Note):  # every common subject is out of reach of the loads tested
    reach: float  # share of the last load


class PastLoadsLeftOut(Note):  # some subjects are out of reach of the loads tested
    subjects: int
    reach: float  # share of the last load


class BothReadOn(Note):  # instruments that person and reference share
    instruments: tuple[str, ...]


class MeanError(Note):  # what instruments add to the readings of one person, on average
    instruments: tuple[str, ...]
    error: float
    unit: str


class ErrorsTakenOut(Note):  # of the instruments of both sides
    own: MeanError
    reference: MeanError


class OneLoad(Note):  # instruments of which one load was tested
    instruments: tuple[str, ...]
