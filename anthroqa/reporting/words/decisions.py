"""The words of what stands beside a finding."""

from anthroqa.notes import decisions as kinds
from anthroqa.notes import register

TOO_NEAR = "too near the limit to settle"


def _instrument_differs(n: kinds.InstrumentDiffers) -> str:
    own, reference = ", ".join(n.own), ", ".join(n.reference)
    return f"measured on {own}, the reference on {reference}: it holds what these differ by"


def _other_instruments(n: kinds.OtherInstruments) -> str:
    who = "the staff" if n.everybody else ", ".join(n.measurers)
    return f"{who} measured on other instruments: these may differ rather than the people"


register({
    kinds.Limit.NOT_SET: "no limit is set",
    kinds.Limit.WITHOUT_SOURCE: "the limit has no source",
    kinds.Limit.TOO_FINE: "the limit is too fine for this step",
    kinds.Limit.NEAR_ROUNDING: "under three times what rounding alone gives",
    kinds.SharedShift.TAKEN_OUT: "a shift between rounds that the other staff share is taken out",
    kinds.SharedShift.DECIDES:
        "the finding hangs on a shift between rounds that is not certain: it is taken out",
    kinds.ShiftStays: "the round shift is not taken out: {n.why}",
    kinds.InstrumentErrorsStay: "the instruments' errors are not taken out: {n.why}",
    kinds.InstrumentDiffers: _instrument_differs,
    kinds.TooNear: f"{TOO_NEAR}: over {{n.most}} more subjects",
    kinds.TooFewDifferences:
        "{n.differences:.0f} repeat differences, and {n.least} are the least to judge by",
    kinds.TooFewSubjects: "{n.subjects} common subjects, and {n.least} are the least to judge by",
    kinds.OfReference.NOT_READ: "no readings of the reference in this measure",
    kinds.OfReference.TWO_OTHERS:
        "two other staff: one of them may pull their mean, and a third would tell",
    kinds.Place.ABOVE: "above",
    kinds.Place.BELOW_MINUS: "below minus",
    kinds.Place.WITHIN: "within",
    kinds.Place.ACROSS: "across",
    kinds.WithoutOne: "without {n.measurer} the interval lies {n.place} the limit",
    kinds.OtherInstruments: _other_instruments,
    kinds.OfTolerance.NO_CLASS_FOR_LENGTHS: "boards, rods and tapes have no legal class",
    kinds.OfTolerance.RANGE_IS_JUDGED: "the range of the repeats is judged",
    kinds.OfTolerance.PAST_THE_TABLE: "the load is past the end of the table",
    kinds.OfTolerance.STANDARD_UNCERTAIN:
        "this standard is too uncertain to judge by: over a third of the tolerance",
    kinds.OfTolerance.ABOVE_CAPACITY: "above the capacity",
    kinds.OfTolerance.OF_ITS_LOAD: "no tolerance is published for it: that of its load is taken",
    kinds.OfTolerance.CHOSEN_BY_UNIT:
        "chosen by the unit of the division (tolerance_table in session.toml takes another)",
    kinds.OfTolerance.LICENSED_ADJUST: "a scale is adjusted by those who are licensed to",
    kinds.NoAccuracyClass: "no accuracy_class in session.toml under [instrument.{n.instrument}]",
    kinds.OtherReading.NONE_LEFT: "no reading is left to have it from",
    kinds.JudgedOnAnother: "would then be judged on {n.statistic}: {n.state}",
    kinds.LeftUnread: "{n.readings} that cannot be read as first written left out",
})  # fmt: skip
