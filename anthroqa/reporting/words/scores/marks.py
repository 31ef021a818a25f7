"""The words of marks and terminal digits, and of which mark a person reads."""

from anthroqa.notes import register
from anthroqa.notes.scores import marks as kinds

_NO_WHOLE_MARK = "the step does not say which marks are whole: give whole_mark in session.toml"
_SIDE = " (rounding {}, or an offset of that size: one instrument cannot tell which)"
_HOW = {
    kinds.How.NEAREST: "reads the {} to the nearest",
    kinds.How.HALF_LOW: "reads the {} half a mark low" + _SIDE.format("down"),
    kinds.How.HALF_HIGH: "reads the {} half a mark high" + _SIDE.format("up"),
    kinds.How.LOW: "reads the {} displaced low",
    kinds.How.HIGH: "reads the {} displaced high",
    kinds.How.WRONG_SIDE: "counts the {} from the wrong side of the whole mark",
    kinds.How.UNDECIDED: "reads the {} in a way that is not settled "
    "(the interval holds more than one)",
}


def _reads(n: kinds.Reads) -> str:
    words = _HOW[n.how].format(f"{n.mark} marks{' only,' if n.only else ''}")
    if n.how not in (kinds.How.LOW, kinds.How.HIGH):
        return words
    if n.half:  # rounding is one of the reasons
        return f"{words} (by half a mark, or by more or less: the interval holds both)"
    return f"{words} (the place of the eye, or the zero of the instrument)"


def _not_settled(n: kinds.MarkNotSettled) -> str:
    one, other = (
        f"{mark}{f' {kinds.How.WRONG_SIDE.value}' if side else ''}"
        for mark, side in ((n.mark, n.wrong_side), (n.other, n.other_wrong_side))
    )
    return f"the mark is not settled: {one} is {n.times:.1f} times as likely as {other}"


def _blended_over(n: kinds.BlendedOver) -> str:
    from anthroqa.intake.written.grammar import as_written

    ends = " to ".join(as_written(end, n.step) for end in (n.lowest, n.highest))
    unit = "" if n.step.unit == "oz" else f" {n.step.unit}"
    return f"equal cycles of {n.cycle} steps, {ends}{unit}, half of the sum; by chance: about"


register({
    kinds.Digits.NO_WHOLE_MARK: f"{_NO_WHOLE_MARK} for digit figures",
    kinds.Digits.NOBODY_ELSE:
        "nobody else read these subjects: what they would give a careful reader is not known",
    kinds.Digits.TOO_FEW_READINGS: "too few readings",
    kinds.Digits.WOULD_NOT_SHOW: "these subjects lie where a share on this mark would not show",
    kinds.Digits.SHARES_HAVE_INTERVALS: "no interval: the shares of marks have one",
    kinds.Digits.LARGEST_CONTRAST: "p is that of the largest contrast over the marks",
    kinds.Digits.NEEDS_TWO_STAFF: "needs two staff who read the same subjects",
    kinds.Digits.MEAN_OF_STAFF:
        "mean share of the staff; p against positions spread evenly; no interval",
    kinds.Digits.GROUP_LEANS:
        "most of the staff lean to coarse marks, which alone makes readings more alike",
    kinds.FewShared: "{n.positions} positions that somebody else read too; {n.least} are the least",
    kinds.Conversion:
        "{n.on} of {n.of} readings are what a reading to {n.step} gives when it is converted: "
        "a conversion, not a preference for marks",
    kinds.Remedy.WRITE_AS_SHOWN: "write what the instrument showed",
    kinds.ConvertedLeftOut:
        "{n.readings} readings were converted from the other system of units: left out",
    kinds.Index.NO_WHOLE_MARK: _NO_WHOLE_MARK,
    kinds.Index.NO_READINGS: "no readings",
    kinds.Index.UNDER_TWO_CYCLES: "the readings cover less than two whole cycles",
    kinds.Index.ROOT_BY_CHANCE: "by chance: the root of its mean square",
    kinds.Index.REPEATS_NEARLY_EQUAL:
        "readings of one subject are nearly equal: chance alone gives more",
    kinds.BlendedOver: _blended_over,
    kinds.LeftOutOfIndex: "converted from the other system of units and left out: {n.readings}",
    kinds.Reads: _reads,
    kinds.MarkNotSettled: _not_settled,
    kinds.FewSettings: "settings read: {n.settings}, and {n.least} are the least to judge by",
    kinds.FewBetweenSteps:
        "settings between two steps: {n.between} of {n.settings}, and {n.least} are the least: "
        "on a step no displacement of under a step shows",
    kinds.Drill.ALL_EQUAL: "all readings are equal: no mark can be told from another",
    kinds.Drill.NO_COARSER_MARK: "no coarser mark is known: give whole_mark to compare",
    kinds.Drill.SHARED_DISPLACEMENT:
        "nearly everybody here is displaced the same way: it may be the instrument or what was set",
    kinds.NotReadHere: "readings left out (converted or tared): {n.readings}",
})  # fmt: skip
