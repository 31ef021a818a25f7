"""What is wrong with a plan, what its folder holds, and what stands in the way of a finding."""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note


class PlanProblem(Note, Enum):  # of `plan.toml`
    NO_FILE = auto()
    NOT_UTF8 = auto()
    NOT_A_SESSION = auto()
    NOBODY = auto()
    ONLY_THE_REFERENCE = auto()
    TARED_OR_NOT = auto()
    UNKNOWN_PAPER = auto()
    NO_CODE = auto()
    LOOKS_LIKE_A_NAME = auto()
    GIVEN_TWICE = auto()
    SUBJECT_GIVEN_TWICE = auto()
    NO_SUBJECTS = auto()


class NotWhole(Note):  # A key is no whole number between two
    key: str
    least: int
    most: int
    usual: int


class NotMinutes(Note):  # A key is no number of minutes
    key: str
    usual: float


class NotTexts(Note):  # A key is no list of texts
    key: str


class NotCodes(Note):  # A key is neither a number nor a list of codes, which begin with a letter
    key: str
    letter: str


class TooAlike(Note):  # A code could be taken for another one
    other: str


class OfWhichSubjects(Note):
    """A measure names no kind of subjects; `kinds` is None where the plan has none."""

    kinds: tuple[str, ...] | None


class NothingMeasured(Note):  # no measure is taken of a kind of subjects
    kind: str


class RoundsOverTheCap(Note):
    """A single measurer, with the reference or without, handles a child too often."""

    rounds: int
    referenced: bool


class MoreGroupsThanStaff(Note):  # some groups would be empty
    least: int


class GroupsOverTheCap(Note):  # with so few groups a child is handled too often
    times: int
    cap: int
    least: int


class InTheFolder(Note, Enum):  # of a file that a plan would replace
    FOLDER_IN_ITS_PLACE = auto()
    HOLDS_READINGS = auto()
    CHANGED = auto()


class Prospect(Note, Enum):  # of a question that the planned session would answer
    NOBODY_TO_COMPARE_WITH = auto()  # no reference, and not two other staff


class Few(Note):  # too few of something to make a finding of them
    n: int
    least: int


class FewRepeats(Few):  # too few repeat differences
    __slots__ = ()


class FewSubjects(Few):  # too few common subjects
    __slots__ = ()


class NotGiven(Note):
    """The plan does not give the limit of a question, or the expected error, or both."""

    limit: bool
    expected_error: bool
