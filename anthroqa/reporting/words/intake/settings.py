"""What is wrong with the settings of a session? In words, each with what to do."""

from __future__ import annotations

from anthroqa.intake.written.steps import UNITS
from anthroqa.notes import register, said_apart
from anthroqa.notes.intake import settings as kinds
from anthroqa.reporting.words.hints import did_you_mean

_STEP = f'Write an amount and one of {", ".join(UNITS)}, as in "1/8 in".'
_TABLE = "this must be a table"

register({
    kinds.OfSettings.NO_MEASURE: (
        "no measure is described",
        'Add a table such as [measure.weight] with recorded_to = "0.1 kg".'),
    kinds.OfSettings.NO_STEP: (
        "recorded_to is missing",
        'Say what one mark of the instrument is, as in recorded_to = "1 oz".'),
    kinds.OfSettings.STEP_OF_ZERO: ("a step cannot be zero", _STEP),
    kinds.OfSettings.NOT_A_DATE: ("this is not a date", "Write date = 2026-10-06, without quotes."),
    kinds.OfSettings.UNKNOWN_EXERCISE:
        ("this exercise is not known", 'Write "session" or "drill".'),
    kinds.OfSettings.NOT_A_CAP: ("this is not a whole number above 0", "Write, say, 12."),
    kinds.OfSettings.NO_TABLE_OF_CONDITIONS: (_TABLE, "Write [conditions] above its keys."),
    kinds.OfSettings.NO_TABLE_OF_INSTRUMENTS: (_TABLE, "Write [instrument.CODE]."),
    kinds.OfSettings.NOT_TWO_ENDS: (
        "a range has two ends", 'Write the lowest and the highest, as in ["3 lb", "45 lb"].'),
    kinds.OfSettings.ENDS_EXCHANGED: (
        "the range ends before it begins",
        'Write the lowest and the highest, as in ["3 lb", "45 lb"].'),
    kinds.OfSettings.MASSES_AND_LENGTHS: (
        "its amounts are some of them masses and some lengths",
        "Give an instrument that measures both a code for each."),
    kinds.UnreadableToml: (
        "this line cannot be read",
        'Texts need quotation marks, as in recorded_to = "1 oz"; a key stands once in its table. '
        "(In the words of TOML: {n.error}.)"),
    kinds.UnknownKey: (
        "this key is not known here",
        lambda n: f"{did_you_mean(n.near)}Known keys are {', '.join(n.known)}."),
    kinds.NotText: ("this must be a text", 'Write {n.key} = "...".'),
    kinds.NotCodes: ("this must be a list of codes", 'Write {n.key} = ["code"].'),
    kinds.NoTable: (_TABLE, "Write [{n.key}] on a line of its own."),
    kinds.MeasureTwice: (
        "this measure differs from {n.other!r} only in case", "Keep one of the two."),
    kinds.InstrumentTwice:
        ("this code differs from {n.other!r} only in case", "Keep one of the two."),
    kinds.NotAStep: (lambda n: f"this is not a step: {said_apart(n.why)[0]}", _STEP),
    kinds.NotWholeSteps: (
        "this is not a whole number of {n.step}",
        "Name the mark that people read from, such as 1 lb for ounces."),
    kinds.UnknownChoice: (
        "this is not known here",
        lambda n: "Write one of " + ", ".join(f'"{choice}"' for choice in n.choices) + "."),
    kinds.UnknownKind: ("this kind is not known", lambda n: f"Use one of {', '.join(n.known)}."),
    kinds.KindOfOtherUnit: (
        "a {n.kind} is not recorded in {n.unit}", "Mend the kind or recorded_to."),
    kinds.NotAnAmount.NOT_TEXT: "this must be a text with a unit",
    kinds.NotAnAmount.ZERO: "this cannot be zero",
    kinds.UnitBeside: "{n.unit} is the wrong kind of unit beside {n.step}",
    kinds.NoAmount: (
        lambda n: said_apart(n.why)[0], 'Write an amount with its unit, as in "{n.example}".'),
})  # fmt: skip
