"""The words of corrections, a second entry, true values and known loads."""

from collections.abc import Iterable

from anthroqa.intake.written.grammar import nearest_mark
from anthroqa.notes import register
from anthroqa.notes.intake import beside as kinds
from anthroqa.reporting.words.hints import did_you_mean

_SHOWN = 10  # true values that a notice lists
_KINDS = {"mass": "a weight", "length": "a length"}


def _with_measures(pairs: Iterable[tuple[str, str]]) -> list[str]:
    """Subjects or instruments, each with its measure."""
    return [f"{code} ({measure})" for code, measure in pairs]


def _there(n: kinds.FirstEmpty | kinds.EntriesDiffer) -> str:
    return n.cell or f"row {n.row}"


def _nobody_read(n: kinds.NobodyRead) -> str:
    more = f" and {len(n.settings) - _SHOWN} more" if len(n.settings) > _SHOWN else ""
    listed = ", ".join(_with_measures(n.settings[:_SHOWN]))
    return f"settings that nobody read: {listed}{more}"


def _marks_nearby(n: kinds.OffInstrumentMark) -> str:
    near = [nearest_mark((n.below + more) * n.division.size, n.division) for more in (0, 1)]
    return (
        f"The marks nearby are {near[0]} and {near[1]}: was it estimated or mistyped? An "
        "instrument with other marks needs its division in session.toml."
    )


def _described_only(n: kinds.DescribedOnly) -> str:
    hint = f". {did_you_mean(n.near)}" if n.near is not None else ""
    told = f"session.toml describes {n.instrument}, which neither a reading nor a row here names"
    return f"{told}{hint}".strip()


register({
    kinds.NotOneReading: (
        lambda n: f"this correction names {f'{n.n} readings' if n.n else 'no reading'}",
        lambda n: f"{did_you_mean(n.near)}Mend the codes, the measure or the round so that it "
        "names one first reading.",
    ),
    kinds.Correcting.TWICE: ("this reading is corrected twice", "Keep one of the corrections."),
    kinds.CorrectionLacks: (
        "a correction needs its {n.column!r}",
        "Give the reading (or NA to set it aside), a reason and your initials.",
    ),
    kinds.TypedTwiceThere: (
        "row {n.row} of this sheet has the same measurer, subject, measure and round",
        "Delete one of the two, or mend a code.",
    ),
    kinds.SecondEntry.NOT_IN_FIRST: (
        "no row of the first entry has this measurer, subject, measure and round",
        "Mend a code here or there, or type the reading into both sheets.",
    ),
    kinds.FirstEmpty: (
        lambda n: f"{_there(n)} is empty", "Type the {n.column} into the first entry too."
    ),
    kinds.EntriesDiffer: (
        lambda n: f"it differs from {_there(n)}, {n.other!r}",
        "Look at the paper and mend the one that is wrong.",
    ),
    kinds.TrueValues.NOT_USED:
        "this file is not used: it belongs to a drill, and exercise is not set to that",
    kinds.TrueValues.NO_SUBJECT: ("the subject's code is missing", "Give the code on the sheets."),
    kinds.TrueValues.NOT_SET: ("the setting is missing", "Write what was set, or delete the row."),
    kinds.TrueValues.MEASURE_NOT_SET: (
        "this measure was read and has no setting",
        "Add a row for each of its subjects, or take its readings out of the drill.",
    ),
    kinds.NoTrueValues: (
        "a drill needs this file",
        lambda n: f"Write what was set into it, with the columns {', '.join(n.columns)}; or write "
        'exercise = "session" in session.toml.',
    ),
    kinds.SetAlready: (
        "this subject's setting is given in row {n.row} already",
        "Keep one of the two, or mend a code.",
    ),
    kinds.SubjectNotSet: (
        "this subject has no setting of {n.measure} in true_values.csv",
        lambda n: f"{did_you_mean(n.near)}Add its row to true_values.csv, or mend the code.",
    ),
    kinds.NobodyRead: _nobody_read,
    kinds.KnownLoads.NO_INSTRUMENT:
        ("the instrument's code is missing", "Give the code on its label."),
    kinds.KnownLoads.NO_POSITION:
        ("an off-centre load needs its position", "Say where it stood, as in front."),
    kinds.KnownLoads.NO_LOAD: ("the load is missing", "Write the mass, or the length of the rod."),
    kinds.KnownLoads.LOAD_OF_ZERO_CHECK:
        ("a check of zero has no load", "Empty the cell, or write load as the check."),
    kinds.KnownLoads.LOAD_IS_ZERO:
        ("this load is zero", "Write zero as the check, or mend the load."),
    kinds.KnownLoads.NO_READING:
        ("the reading is missing", "Write what was shown, or delete the row."),
    kinds.KnownLoads.NO_ROW: "there is no reading in it",
    kinds.KnownLoads.NOBODYS_INSTRUMENT:
        "no reading of the session names its instrument, so nothing here can be tied to a person: "
        "add the column instrument to the readings",
    kinds.UnknownInstrument: (
        "no reading was taken on this instrument, nor is it described",
        lambda n: f"{did_you_mean(n.near)}Mend the code, or describe it in session.toml as "
        f"[instrument.{n.instrument}].",
    ),
    kinds.UnknownCheck: (
        lambda n: "this check is not known" if n.check else "the check is missing",
        lambda n: f"{did_you_mean(n.near)}Write one of {', '.join(n.known)}.",
    ),
    kinds.CheckOfOtherKind: (
        lambda n: f"this check does not go with {_KINDS[n.kind]}",
        "Write {n.fitting}, or mend the measure.",
    ),
    kinds.AmountOfOtherKind: (
        "its {n.key} is in {n.unit}, and this measure is recorded to {n.step}",
        "Mend the measure here, or the unit in session.toml.",
    ),
    kinds.OffInstrumentMark: (
        "it is not on a mark of this instrument, which has one every {n.division}", _marks_nearby
    ),
    kinds.TestedUnused: "{n.instrument} was tested, and no reading of {n.measure} was taken on it",
    kinds.OneLoad:
        "{n.instrument} ({n.measure}): at most one load was tested: neither linearity nor the "
        "error at other loads can be had; two more loads that span the subjects would give them",
    kinds.NoRepeat:
        "{n.instrument} ({n.measure}): no load was put on twice: nothing is known of its "
        "repeatability; the same load five times would tell",
    kinds.UsedUntested: lambda n: "instruments that were used and not tested: "
        + ", ".join(_with_measures(n.instruments)),
    kinds.DescribedOnly: _described_only,
})  # fmt: skip
