"""The words of what stands beside a variance component or a spread of the staff."""

from anthroqa.notes import Notes, register
from anthroqa.notes.scores import components as kinds

register({
    kinds.Components.NOBODY: "nobody but the reference read this",
    kinds.Components.ONE_PERSON: "one person only: let two or more measure the same subjects",
    kinds.Components.ONE_SUBJECT: "one subject only: let everybody measure two or more",
    kinds.Components.NO_SHARED_SUBJECT:
        "no two staff measured the same subject: let them share subjects",
    kinds.Components.TOO_FEW_SHARED:
        "too few subjects in common to tell staff, subjects and error apart: let the staff share "
        "more",
    kinds.Components.UNSETTLED:
        "the model did not settle on these readings: add those that are missing",
    kinds.Components.NO_SECOND_READING:
        "nobody read a subject twice: repeat error and measurer with subject are one; add a round",
    kinds.Components.TOO_FEW_SECOND_READINGS:
        "too few second readings to tell repeat error from a shift between rounds: add some",
    kinds.Components.NO_ERROR_SEEN: "no error is seen at this step: no interval",
    kinds.Components.NOTHING_TO_DIVIDE: "no error is seen at this step: there is nothing to divide",
    kinds.Components.ALL_ALIKE: "neither subjects nor readings differ",
    kinds.Components.ONE_ROUND: "one round only",
    kinds.Components.REPEAT_AND_INTERACTION: "repeat error and measurer with subject as one",
    kinds.Components.INTERACTION_INSIDE: "measurer with subject is in it",
    kinds.Components.INSTRUMENTS_INSIDE: "holds what the instruments of these staff differ by",
    kinds.Components.ICC_AGREEMENT: "ICC(A,1): one reading, by whoever it may be",
    kinds.Components.ICC_CONSISTENCY: "ICC(C,1): one reading, each person's own mean taken out",
    kinds.NoInstruments.UNNAMED:
        "the readings do not say which instrument was used: fill in the column instrument",
    kinds.NoInstruments.ONE_ONLY:
        "one instrument only: let the staff measure some subjects on a second one as well",
    kinds.NoInstruments.ONE_EACH:
        "each person used one instrument: staff and instruments cannot be told apart; let them "
        "change instruments between subjects",
    kinds.NoInstruments.CONFOUNDED:
        "instruments changed only together with subjects, rounds or staff: let everybody measure "
        "some subjects on each",
    kinds.BelowZero: "estimated variance {n.variance:.3g} {n.unit}²: taken as zero",
    kinds.Between.NONE_COMPLETE: "no subject was measured by all staff of its group in one round",
    kinds.Between.GROUPS_CAN_BE_TOLD: "the column group in the readings says who belongs together",
    kinds.Between.NOT_SEPARABLE:
        "no interval: staff and subjects cannot be told apart on so few readings",
    kinds.Between.NO_DIFFERENCE: "no interval: the readings of the staff do not differ enough",
    kinds.Between.REPEATS_COUNTED_TWICE:
        "as published, counts the repeat error twice; the variance components do not",
    kinds.LeftOut: "left out: {n.measurer} (under half of the group's subjects)",
})  # fmt: skip


def typeset(notes: Notes) -> str:
    """The words for a page, where a number below zero has a true minus."""
    return str(notes).replace(" -", " \u2212")
