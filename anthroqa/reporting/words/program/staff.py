"""The words of what stands beside figures of staff over many sessions."""

from anthroqa.notes import register, said
from anthroqa.notes.program import staff as kinds


def _codes(codes: tuple[str, ...]) -> str:
    return ", ".join(codes)


def _other_reference(n: kinds.OtherReference) -> str:
    when = "since" if n.since else "in"
    return f"another reference ({n.reference or 'none'}) {when} the last one"


register({
    kinds.RepeatErrors.HIDDEN:
        "the repeat error is under half a step: rounding hides too much of it",
    kinds.RepeatErrors.NO_OTHER_STAFF: "there is no other staff to compare with",
    kinds.RepeatErrors.ALL_ALIKE:
        "staff cannot be told apart by their repeat errors: everybody's is the pooled one",
    kinds.RepeatErrors.NOT_STAFF: "the reference is not one of the staff: own figure only",
    kinds.UnstablePrior:
        "the prior is from {n.people} people: fewer than {n.least} make it unstable",
    kinds.Drift.ONE_SESSION: "one session: no change to be seen",
    kinds.Drift.TOO_FEW_SESSIONS:
        "too few staff and sessions to know what sessions alone differ by",
    kinds.Drift.NOBODY_ELSE:
        "nobody else was in these sessions: what a session adds to everybody is in it",
    kinds.Drift.REFERENCE_OR_ALL:
        "the reference beside all staff together: it moved, or all of them did the other way",
    kinds.Used: lambda n: f"{_codes(n.instruments) or 'no named instrument'} in {n.session}",
    kinds.MeasuredOn: lambda n: f"measured on {_codes(tuple(map(said, n.used)))}",
    kinds.Retraining.NO_SESSION_BEFORE: "no session before it in this measure",
    kinds.Retraining.NO_SESSION_AFTER: "no session after it in this measure",
    kinds.Retraining.HELD_AGAINST_LUCK:
        "no other own session before: held against what luck alone would give among these staff",
    kinds.Retraining.OVER_ZERO: "it now lies on the other side of zero, as far or farther",
    kinds.HeldAgainstOwn:
        lambda n: "held against own sessions before that did not lead to it: "
        + _codes(n.sessions),
    kinds.FewRepeats: "{n.repeats:.0f} repeat differences after it, {n.least} are the least",
    kinds.FewSubjects: "{n.subjects} common subjects after it, and {n.least} are the least",
    kinds.FewStaff:
        "no other own session before, and {n.staff} staff: what luck gives needs {n.least}",
    kinds.Due.NO_LIMIT: "no limit is set: subjects cannot be told",
    kinds.Due.ONE_ROUND: "one round: nothing is read twice",
    kinds.Due.SCATTER_UNKNOWN: "the scatter of the difference is not known",
    kinds.TooManyNeeded: "over {n.most} subjects: too near the limit to settle",
    kinds.Due.OVER_LIMIT: "over the limit in the last one",
    kinds.OtherInstruments:
        lambda n: f"another instrument ({_codes(n.instruments)}) in the last one",
    kinds.OtherReference: _other_reference,
    kinds.Reasons: lambda n: _codes(tuple(map(said, n.of))),
    kinds.AtNextSession: "at the next session: {n.why}",
    kinds.Followed: lambda n: f"{_codes(n.before)}, then {_codes(n.after)}",
})  # fmt: skip
