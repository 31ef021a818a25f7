"""What is wrong with the folder of a session, what was passed over in it, and what is missing."""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note
from anthroqa.notes.intake.problems import Unopened


class Folder(Note, Enum):  # of the folder of a session and its files
    A_FILE = auto()
    NOT_THERE = auto()
    SETTINGS_NOT_UTF8 = auto()
    READINGS_TWICE = auto()
    NOTHING_ENTERED = auto()


class NoFile(Unopened, Enum):  # A file that every session has is not there
    SETTINGS = auto()
    READINGS = auto()


class CannotBeRead(Unopened):  # the system does not let a file be read
    error: str  # as the system says it


class OldName(Note):  # A file has a name that is not read any more
    new: str


class Missing(Note, Enum):  # why a reading is missing
    EMPTY = auto()


class SetAside(Note):  # A correction sets the reading aside
    reason: str  # as the trainer gives it


class Condition(Note):  # nothing was read, for what this code stands for
    code: str


class StoppedOut(Note):  # the reading is set aside, for a stop code stands beside it
    code: str


class Handled(Note):  # A child was handled more often than the cap allows
    subject: str
    measure: str
    times: int
    cap: int


class NamesForCodes(Note):  # codes of measurers look like names; none is shown
    n: int
