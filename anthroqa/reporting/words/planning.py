"""The words of what is wrong with a plan, and of what stands in the way of a finding."""

from anthroqa.notes import planning as kinds
from anthroqa.notes import register

_SUBJECTS = "Write subjects = 12; or [subjects] with infants = 12, adults = 10."
_OF_THEIR_OWN = "Give everybody a code of their own."


def _write_of(n: kinds.OfWhichSubjects) -> str:
    if n.kinds is None:
        return f"Leave the key out, or name kinds of subjects. {_SUBJECTS}"
    return f"Write of = one of {', '.join(map(repr, n.kinds))}."


def _rounds_over_the_cap(n: kinds.RoundsOverTheCap) -> str:
    who = "one person and the reference" if n.referenced else "one person"
    times = n.rounds * (1 + n.referenced)
    return f"{n.rounds} rounds by {who} handle a child {times} times a measure"


def _not_given(n: kinds.NotGiven) -> str:
    lacking = ["no limit"] * n.limit + ["no expected error"] * n.expected_error
    return f"{' and '.join(lacking)} is given"


register({
    kinds.PlanProblem.NO_FILE: (
        "this file is missing",
        "Write the plan into it, or run anthroqa plan in a terminal: it asks.",
    ),
    kinds.PlanProblem.NOT_UTF8: ("the file is not UTF-8 text", "Save it again as UTF-8."),
    kinds.PlanProblem.NOT_A_SESSION: (
        "only a session is planned here", "Leave the key out; a drill needs no order of children."
    ),
    kinds.PlanProblem.NOBODY: (
        "nobody is to measure",
        'Give the codes of the staff, as in staff = ["K1", "K2"], or how many they are.',
    ),
    kinds.PlanProblem.ONLY_THE_REFERENCE:
        ("nobody but the reference is to measure", "Add the codes of staff."),
    kinds.PlanProblem.TARED_OR_NOT: (
        "this is neither true nor false",
        "Write tared = true, without quotes, where the caregiver is weighed alone too.",
    ),
    kinds.PlanProblem.UNKNOWN_PAPER: ("this paper is not known", 'Write "A4" or "Letter".'),
    kinds.PlanProblem.NO_CODE: ("this cannot be a code", "Choose another code."),
    kinds.PlanProblem.LOOKS_LIKE_A_NAME:
        ("a code looks like a name", "Use codes, and keep the list of names apart."),
    kinds.PlanProblem.GIVEN_TWICE: ("this code is there twice", _OF_THEIR_OWN),
    kinds.PlanProblem.SUBJECT_GIVEN_TWICE:
        ("this code is given twice", "Give every subject a code of its own."),
    kinds.PlanProblem.NO_SUBJECTS: ("the number of subjects is missing", _SUBJECTS),
    kinds.NotWhole: (
        "this is not a whole number from {n.least} to {n.most}", "Write, say, {n.key} = {n.usual}."
    ),
    kinds.NotMinutes: ("this is not a number of minutes", "Write {n.key} = {n.usual}."),
    kinds.NotTexts: ("this must be a list of texts", 'Write {n.key} = ["code"].'),
    kinds.NotCodes: (
        "this is neither a number nor a list of codes",
        'Write {n.key} = 12, or {n.key} = ["{n.letter}1", "{n.letter}2"].',
    ),
    kinds.TooAlike: ("this code differs too little from {n.other!r}", _OF_THEIR_OWN),
    kinds.OfWhichSubjects: ("which subjects is this measure taken of?", _write_of),
    kinds.NothingMeasured: (
        "nothing is measured of these", 'Write of = "{n.kind}" in a measure, or leave them out.'
    ),
    kinds.RoundsOverTheCap: (
        _rounds_over_the_cap,
        "Plan fewer rounds; raise the cap only if the program and the caregivers agree.",
    ),
    kinds.MoreGroupsThanStaff: ("there are more groups than staff", "Write groups = {n.least}."),
    kinds.GroupsOverTheCap: (
        "each child would be handled {n.times} times a measure; the cap is {n.cap}",
        "Write groups = {n.least}, leave the key out, or plan fewer staff.",
    ),
    kinds.InTheFolder.FOLDER_IN_ITS_PLACE: ("a folder stands where this file goes", "Move it out."),
    kinds.InTheFolder.HOLDS_READINGS: (
        "this file holds readings, or may hold some",
        "Nothing was written. Plan into another folder: copy plan.toml there.",
    ),
    kinds.InTheFolder.CHANGED: (
        "this file is not as a plan left it",
        "Nothing was written. Take what was changed over into plan.toml, move this file out of the "
        "folder, and plan again.",
    ),
    kinds.Prospect.NOBODY_TO_COMPARE_WITH:
        "there is no reference, and not two other staff, to compare with",
    kinds.FewRepeats: "{n.n} repeat differences, and {n.least} are the least",
    kinds.FewSubjects: "{n.n} common subjects, and {n.least} are the least",
    kinds.NotGiven: _not_given,
})  # fmt: skip
