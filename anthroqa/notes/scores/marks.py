"""What is to be known of marks and terminal digits, and of which mark a person reads."""

from __future__ import annotations

from enum import Enum, auto
from typing import TYPE_CHECKING

from anthroqa.notes import Note

if TYPE_CHECKING:
    from anthroqa.notes.intake.written import Step


class Digits(Note, Enum):  # of what a person's, or the group's, terminal digits say
    NO_WHOLE_MARK = auto()  # the step does not say which marks are whole
    NOBODY_ELSE = auto()  # read these subjects
    TOO_FEW_READINGS = auto()
    WOULD_NOT_SHOW = auto()  # these subjects lie where a share on this mark cannot be told
    SHARES_HAVE_INTERVALS = auto()  # the dissimilarity of digits has none
    LARGEST_CONTRAST = auto()  # the p-value is its, over the marks
    NEEDS_TWO_STAFF = auto()
    MEAN_OF_STAFF = auto()
    GROUP_LEANS = auto()  # which makes anybody's repeats more alike


class FewShared(Note):  # positions that somebody else read too are too few
    positions: int
    least: int


class Conversion(Note):
    """Nearly all readings are what another step gives when it is converted: no preference."""

    on: int
    of: int
    step: Step  # of the other unit


class Remedy(Note, Enum):  # what to do about readings that were converted before they were written
    WRITE_AS_SHOWN = auto()


class ConvertedLeftOut(Note):
    """Readings that intake converted were read on other marks, and are left out."""

    readings: int


class Index(Note, Enum):  # of a published index of terminal digits
    NO_WHOLE_MARK = auto()
    NO_READINGS = auto()
    UNDER_TWO_CYCLES = auto()
    ROOT_BY_CHANCE = auto()  # what chance gives is the root of the mean square
    REPEATS_NEARLY_EQUAL = auto()


class BlendedOver(Note):
    """Whole cycles that a blended index is over, in counts of the step; both ends included."""

    cycle: int
    lowest: int
    highest: int
    step: Step


class LeftOutOfIndex(Note):  # readings that intake converted, and that no index holds
    readings: int


class How(Enum):  # how the marks of a drill are read: the findings of its table
    NEAREST = "to the nearest"
    HALF_LOW = "half a mark low"
    HALF_HIGH = "half a mark high"
    LOW = "displaced low"
    HIGH = "displaced high"
    WRONG_SIDE = "from the wrong side"
    UNDECIDED = "undecided"


class Reads(Note):  # which marks a person reads, and how
    how: How
    mark: str  # as the table calls it
    only: bool  # and no finer ones
    half: bool  # whether half a mark is among the displacements that are likely


class MarkNotSettled(Note):  # two ways of reading are too near to each other in likelihood
    mark: str
    wrong_side: bool
    other: str
    other_wrong_side: bool
    times: float  # as likely as the other


class FewSettings(Note):  # too few settings were read
    settings: int
    least: int


class FewBetweenSteps(Note):  # too few settings lie between two steps
    between: int
    settings: int
    least: int


class Drill(Note, Enum):  # of a drill
    ALL_EQUAL = auto()  # no mark can be told from another
    NO_COARSER_MARK = auto()  # is known
    SHARED_DISPLACEMENT = auto()  # by nearly everybody who read this instrument


class NotReadHere(Note):  # readings of a drill that were converted or tared are left out
    readings: int
