"""Which slip of the pen or the eye is a reading consistent with?"""

from __future__ import annotations

from enum import Enum, auto
from fractions import Fraction

from anthroqa.notes import Note


class Slip(Note):  # A kind of slip; a reading is only ever consistent with it
    __slots__ = ()


class Slipped(Slip, Enum):  # A slip without parts
    POINT_LEFT_OUT = auto()
    POINT_MOVED = auto()
    DIGITS_EXCHANGED = auto()  # two that are adjacent
    OUNCES_AS_TENTHS = auto()  # of a pound
    TENTHS_AS_OUNCES = auto()
    SUBJECTS_EXCHANGED = auto()
    MEASURES_EXCHANGED = auto()
    TARE_FORGOTTEN = auto()
    TARE_TWICE = auto()
    ANOTHER_TARE = auto()  # that of another caregiver
    CARRIED_FORWARD = auto()
    SHEET_SHIFTED = auto()  # by a row


class OtherUnit(Slip):  # the number of one unit's display written for that of another
    written: str
    meant: str


class Notch(Slip):  # A poise in the notch beside its own
    amount: Fraction  # from one notch to the next
    unit: str


class Misread(Slip):  # another mark read
    amount: Fraction  # from that which was meant
    unit: str


class WouldBe(Note):  # A slip, and what would have been meant, on marks of so many units
    slip: Slip
    meant: Fraction  # in `unit`
    size: Fraction  # of the step
    unit: str
