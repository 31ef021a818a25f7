"""The words of what stands beside figures of routine records."""

from anthroqa.notes import register
from anthroqa.notes.program import routine as k

_MOST = 3  # codes in one line before the others are only counted


def _first(codes: tuple[str, ...]) -> str:
    """The first few codes, and how many more there are."""
    more = len(codes) - _MOST
    return ", ".join(codes[:_MOST]) + (f" and {more} more" if more > 0 else "")


register({
    k.Shares.NO_WHOLE_MARK: "the step does not say which marks are whole: no shares on marks",
    k.Shares.NO_READING: "no reading on a mark",
    k.Shares.SMALL: "there, but under five points",
    k.Shares.OTHER_MARK: "as another mark explains",
    k.Shares.TYPICAL: "held against a typical person here",
    k.Shares.NOT_OF_ALL: "not a habit of all: the median person is under five points",
    k.Shares.BY_MONTH: "allows for months that differ, not for days",
    k.Shares.UNCLUSTERED: "allows for no clustering: no days are counted, and too few months",
    k.Shares.CONVERTED_SEE_ABOVE: "converted, see above",
    k.FewReadings: "under {n.least} readings",
    k.ReadingsConverted: "{n.readings} readings were converted: left out",
    k.AsEverybodyAt: "as everybody at {n.place}: look at the scale, board or form first",
    k.OnlyWith: lambda n: f"without {_first(n.people)}, named for it, under five points",
    k.Months.OUTSIDE: "outside the limits",
    k.Comb.SWITCHED: "the unit was likely switched: at other times it is as chance gives",
    k.Behind.UNIT_SWITCHED: "readings may have been converted on one side: a unit was switched",
    k.Behind.OTHER_STEP: "another step, or another unit, on one side",
    k.Behind.NO_READINGS: "missing, out of range or unreadable",
    k.Behind.OTHER_INSTRUMENT: "another scale or board, another habit, or other staff",
    k.FirstUsed: lambda n: f"{_first(n.instruments)} from then on",
    k.LastUsed: lambda n: f"{_first(n.instruments)} until then",
    k.AsSites: lambda n: f"as site {_first(n.sites)} did",
    k.Repeated.FEW_OTHERS: "too few others to be held against",
    k.Repeated.MANY_REASONS:
        "possible reasons: the last value carried over, visits close together, a habit of coarse "
        "marks, a scale or board that sticks",
    k.FewFollow: "under {n.least} that follow another reading of the same child",
    k.Unread.OFF_STEP: "readings off the step: another step or another unit here?",
    k.Unread.MISSING: "many are missing",
    k.Unread.OUT_OF_RANGE:
        "readings out of range: another unit, or the range of another age?",
    k.Unread.UNREADABLE: "many cannot be read",
})  # fmt: skip
