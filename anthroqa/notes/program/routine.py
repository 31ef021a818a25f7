"""What is to be known beside figures of routine records."""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note


class Shares(Note, Enum):  # of the shares of readings put on coarse marks
    NO_WHOLE_MARK = auto()  # the step has no cycle
    NO_READING = auto()
    SMALL = auto()  # beyond chance, under the excess from which somebody is named
    OTHER_MARK = auto()  # the person's strongest mark explains it
    TYPICAL = auto()  # held against the median person
    NOT_OF_ALL = auto()  # the median person does not lean
    BY_MONTH = auto()  # the interval allows for months that differ
    UNCLUSTERED = auto()  # it allows for no clustering
    CONVERTED_SEE_ABOVE = auto()  # on a page that told of the conversion before


class FewReadings(Note):  # too few readings to judge by
    least: int


class ReadingsConverted(Note):
    """So many readings were converted before they were written, and say nothing of marks."""

    readings: int


class AsEverybodyAt(Note):  # an instrument or a site explains what a person does there
    place: str


class OnlyWith(Note):  # A place does not lean without these people, who are named for it
    people: tuple[str, ...]


class Months(Note, Enum):  # of a share by month
    OUTSIDE = auto()  # the limits


class Comb(Note, Enum):  # of readings that were converted
    SWITCHED = auto()  # the unit, at some time


class Behind(Note, Enum):  # what to look for behind a change of a share
    UNIT_SWITCHED = auto()
    OTHER_STEP = auto()
    NO_READINGS = auto()
    OTHER_INSTRUMENT = auto()


class FirstUsed(Note):  # instruments that were read from a change on, and not before
    instruments: tuple[str, ...]


class LastUsed(Note):  # instruments that were read until a change, and not after
    instruments: tuple[str, ...]


class AsSites(Note):  # sites that changed in the same month
    sites: tuple[str, ...]


class Repeated(Note, Enum):  # of readings that equal the child's last one
    FEW_OTHERS = auto()
    MANY_REASONS = auto()


class FewFollow(Note):  # too few readings follow another one of the same child
    least: int


class Unread(Note, Enum):  # of records that hold no reading on a mark, where they are many
    OFF_STEP = auto()
    MISSING = auto()
    OUT_OF_RANGE = auto()
    UNREADABLE = auto()
