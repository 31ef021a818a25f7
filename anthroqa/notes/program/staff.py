"""What is to be known beside figures of staff over many sessions."""

from __future__ import annotations

from enum import Enum, auto

from anthroqa.notes import Note


class RepeatErrors(Note, Enum):  # of repeat errors over all sessions
    HIDDEN = auto()  # under half a step
    NO_OTHER_STAFF = auto()
    ALL_ALIKE = auto()  # the prior has no spread
    NOT_STAFF = auto()  # the reference


class UnstablePrior(Note):  # the prior is from too few people
    people: int
    least: int


class Drift(Note, Enum):  # of a change from the first session to the last
    ONE_SESSION = auto()
    TOO_FEW_SESSIONS = auto()
    NOBODY_ELSE = auto()
    REFERENCE_OR_ALL = auto()


class Used(Note):  # on which instruments a person measured in a session; none where none is named
    instruments: tuple[str, ...]
    session: str


class MeasuredOn(Note):  # A person did not measure on the same instruments in all sessions
    used: tuple[Used, ...]


class Retraining(Note, Enum):  # of figures before and after somebody was retrained
    NO_SESSION_BEFORE = auto()
    NO_SESSION_AFTER = auto()
    HELD_AGAINST_LUCK = auto()
    OVER_ZERO = auto()


class HeldAgainstOwn(Note):
    """Figures afterwards are held against sessions that did not lead to the retraining."""

    sessions: tuple[str, ...]


class FewRepeats(Note):  # too few repeat differences after a retraining
    repeats: float
    least: int


class FewSubjects(Note):  # too few common subjects after a retraining
    subjects: int
    least: int


class FewStaff(Note):
    """Neither an own session to hold against, nor staff enough to say what luck gives."""

    staff: int
    least: int


class Due(Note, Enum):
    """Why a person should not wait, or no number of subjects is given that would settle it."""

    OVER_LIMIT = auto()
    NO_LIMIT = auto()
    ONE_ROUND = auto()
    SCATTER_UNKNOWN = auto()


class TooManyNeeded(Note):  # more subjects than anybody measures
    most: int


class OtherInstruments(Note):
    """A person measured on other instruments in their last session than in the one before."""

    instruments: tuple[str, ...]


class OtherReference(Note):  # the reference is not the one that a person was held against
    reference: str | None
    since: bool  # since their last session, or in it


class Reasons(Note):  # why a person should not wait, all of it
    of: tuple[Note, ...]


class AtNextSession(Note):  # A person is due at the next session
    why: Reasons


class Followed(Note):  # codes of instruments, or of references, and those that came after
    before: tuple[str, ...]
    after: tuple[str, ...]
