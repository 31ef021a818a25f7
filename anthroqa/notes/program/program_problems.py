"""What is wrong with the folders of a program, or with the table of who was retrained."""

from __future__ import annotations

import datetime as dt
from enum import Enum, auto

from anthroqa.notes import Note


class Folders(Note, Enum):  # of the folders of sessions
    NOT_A_FOLDER = auto()
    NO_FOLDER = auto()
    NO_SESSION = auto()
    UNREADABLE = auto()
    DRILL = auto()
    NO_DATE = auto()
    SAME_NAME = auto()
    ONLY_ONE = auto()


class SameReadings(Note):  # A session has the readings of another one
    session: str


class SameDay(Note):  # some of the staff were in other sessions on the day
    sessions: tuple[str, ...]


class OtherStep(Note):  # A measure is recorded to another step than in most sessions
    most: object  # the step


class OtherReferenceThan(Note):  # the reference is not that of the latest session
    latest: str | None


class Retrained(Note, Enum):  # of the table of who was retrained
    NO_DATE = auto()
    NO_SESSION_BEFORE = auto()
    NO_SESSION_AFTER = auto()


class NoTable(Note):  # the table cannot be read
    error: str  # as the system says it


class UnknownMeasurer(Note):  # nobody of this code is in the sessions
    near: str | None


class UnknownMeasure(Note):  # the measure is in no session
    near: str | None
    known: tuple[str, ...]


class UnknownSession(Note):  # no session that can be used has this name
    near: str | None
    known: tuple[str, ...]


class PickedLater(Note):  # the session that is said to have led to the retraining lies after it
    date: dt.date
