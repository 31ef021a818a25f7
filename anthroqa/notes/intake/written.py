"""Why is a text no reading?"""

from __future__ import annotations

from dataclasses import replace
from enum import Enum, auto
from fractions import Fraction
from typing import Protocol

from anthroqa.notes import Note


class Step(Protocol):  # the finest mark of a measure, as `intake.written.steps` has it
    size: Fraction
    unit: str


class Refusal(Note):  # why a text is not a reading, and what to do
    __slots__ = ()

    def of(self, thing: str) -> Refusal:
        """The same of a `tare`, a `load` or a `setting`, where the words name the thing."""
        return self


class Unread(Refusal, Enum):  # the text has another form
    APOSTROPHE = auto()
    SCIENTIFIC = auto()
    DECIMAL_COMMA = auto()
    SECOND_UNIT_MISSING = auto()
    DATE = auto()
    NUMBER_OF_A_DATE = auto()
    NO_NUMBER_OF_MARKS = auto()
    UNIT_MISSING = auto()
    NOT_POUNDS_AND_OUNCES = auto()
    POUNDS_NOT_WHOLE = auto()
    SIXTEEN_OUNCES = auto()


class NoReading(Refusal):  # it cannot be one, whatever its form
    thing: str = "reading"

    def of(self, thing: str) -> Refusal:
        """The same of another thing."""
        return replace(self, thing=thing)


class Negative(NoReading):
    """It has a minus sign."""


class Placeholder(NoReading):
    """It is what a program writes where there is nothing."""


class Word(NoReading):
    """It is a word."""


class TooLong(NoReading):
    """It has more characters than any display."""


class TooLarge(NoReading):
    """It is more than any display shows."""


class UnknownUnit(Refusal):  # the unit is none of those known
    unit: str


class ByZero(Refusal):  # A fraction divides by zero; as it was written
    num: str
    den: str


class NotBelowOne(Refusal):  # A fraction is no part of a mark; as it was written
    num: str
    den: str


class OtherKindOfUnit(Refusal):  # A mass where a length is measured, or the reverse
    unit: str
    step: Step


class TwoWays(Refusal):  # A decimal number of pounds where ounces are read
    text: str
    slips: tuple[Note, ...] = ()  # that it is consistent with


class OffMark(Refusal):  # it falls between two marks of the instrument
    unit: str  # that was written, or the step's
    step: Step
    below: int  # the mark below it, in steps
    point: bool = False  # ounces with a decimal point: pounds and ounces perhaps
    pounds: tuple[str, int] | None = None  # and ounces, if it may be that; as they were written
    slips: tuple[Note, ...] = ()  # that it is consistent with
