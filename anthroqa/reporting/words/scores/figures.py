"""The words of what stands beside a figure of repeats or of agreement."""

from anthroqa.notes import register
from anthroqa.notes.scores import figures as kinds

register({
    kinds.Repeats.NOT_READ_TWICE: "no subject was read twice",
    kinds.Repeats.ALL_EQUAL: "every repeat is equal: the step hides the repeat error; no interval",
    kinds.Repeats.UNDER_ONE_STEP: "under one step: rounding hides part of the repeat error",
    kinds.Repeats.READINGS_ALL_EQUAL: "all readings are equal",
    kinds.Repeats.RELIABILITY_HAS_NO_INTERVAL:
        "no interval: it moves with the spread of these subjects",
    kinds.Repeats.CONVERTED_LEFT_OUT:
        "converted readings are left out: they were read on other marks",
    kinds.Repeats.PARTLY_TARED_LEFT_OUT: "subjects with a tare in some rounds only are left out",
    kinds.Repeats.TARED: "tared: both displays are taken to err alike",
    kinds.Repeats.NOBODY_ELSE_TWICE: "nobody else of the staff read a subject twice",
    kinds.Repeats.UPPER_BOUND: "every repeat is equal: an upper bound",
    kinds.Repeats.UPPER_BOUND_LESS_SHIFT:
        "every repeat is equal once the shift is taken out: an upper bound",
    kinds.Repeats.ALL_EQUAL_LESS_SHIFT:
        "every repeat is equal once the shift is taken out: no interval",
    kinds.FirstReadingsUsed: "of a subject the first {n.most} readings are used",
    kinds.TooFewRepeats: "{n.least} repeats are the least to judge by",
    kinds.NoPValue: "no p: {n.why}",
    kinds.Shifts.NO_FIRST_ROUND: "there is no round 1 to compare with",
    kinds.Shifts.TOO_FEW_OTHERS: "too few other staff read the same subjects in these rounds",
    kinds.Shifts.TAKEN_OUT: "a shift between rounds that the other staff share is taken out",
    kinds.Shifts.NOT_TAKEN_OUT:
        "the round shift is not taken out: too few other staff read the same subjects",
    kinds.NotInBothRounds:
        "no subject was read in rounds 1 and {n.round} by this person and by other staff",
    kinds.NobodyInBothRounds: "nobody read a subject in rounds 1 and {n.round}",
    kinds.Agreement.ALL_EQUAL: "every difference is equal: no interval",
    kinds.Agreement.ONE_SUBJECT: "one subject: no interval",
    kinds.Agreement.ONE_SUBJECT_NO_LIMITS: "one subject: no limits",
    kinds.Agreement.NO_REFERENCE: "no reference measurer in this measure",
    kinds.Agreement.NOTHING_IN_COMMON: "no subject in common with the reference",
    kinds.Agreement.INTERVALS_OF_PARTS: "no interval: see those of its two parts",
    kinds.Agreement.NEEDS_TWO_OTHERS: "needs two other staff on the same subjects",
    kinds.Agreement.ONE_SIZE: "all subjects have the same size: no line",
    kinds.Agreement.ON_A_LINE: "every difference lies on the line: no interval",
    kinds.TooFewForLine: "under {n.least} common subjects: no line",
})  # fmt: skip
