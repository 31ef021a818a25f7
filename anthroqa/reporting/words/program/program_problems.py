"""The words of what is wrong with the folders of a program, or who was retrained."""

from anthroqa.notes import register
from anthroqa.notes.program import program_problems as kinds
from anthroqa.reporting.words.hints import did_you_mean

_GIVE = "Give the folder of a session, or one that holds such folders."


def _known(n: kinds.UnknownMeasure | kinds.UnknownSession) -> str:
    return f"{did_you_mean(n.near)}Known are {', '.join(n.known)}."


def _beside(side: str) -> tuple[str, str]:
    return (
        f"no session lies {side} this date: what the retraining did is not judged",
        f"Mend the date, or give the sessions {side} it too.",
    )


register({
    kinds.Folders.NOT_A_FOLDER: ("this is a file, not a folder", _GIVE),
    kinds.Folders.NO_FOLDER: ("there is no such folder", _GIVE),
    kinds.Folders.NO_SESSION: (
        "there is no session in this folder",
        "A session is a folder with session.toml and its readings.",
    ),
    kinds.Folders.UNREADABLE: (
        "this session cannot be read: it is left out",
        "Mend what is listed of it, or run check on its folder.",
    ),
    kinds.Folders.DRILL: ("this is a drill: it is left out", "Drills have a page of their own."),
    kinds.Folders.NO_DATE: ("the session has no date: it is left out", "Write date = 2026-10-06."),
    kinds.Folders.SAME_NAME: (
        "there are two sessions of this name: the second is left out",
        "Give it once, or rename one of the two folders.",
    ),
    kinds.Folders.ONLY_ONE: (
        "this is the only session that can be used",
        "Give the folders of more sessions: one alone shows no change.",
    ),
    kinds.SameReadings: (
        "its readings are those of {n.session}, byte for byte: it is left out",
        "Give each session once.",
    ),
    kinds.SameDay: (
        lambda n: f"{', '.join(n.sessions)} has this date and some of the same staff: changes "
        "between the two have no time",
        "Mend the date, or put the readings of one day into one folder.",
    ),
    kinds.OtherStep: (
        "most sessions record this measure to {n.most}: here it is left out",
        "Mend recorded_to; a measure with another step has a name of its own.",
    ),
    kinds.OtherReferenceThan: (
        lambda n: f"the latest session has {n.latest or 'none'}: differences over time are taken "
        "from the other staff, not from the reference",
        "Mend the code if it is one person; else read changes at the handover with care.",
    ),
    kinds.Retrained.NO_DATE: ("this is not a date", "Write it as 2026-10-06."),
    kinds.Retrained.NO_SESSION_BEFORE: _beside("before"),
    kinds.Retrained.NO_SESSION_AFTER: _beside("after"),
    kinds.NoTable: (
        "the file cannot be read ({n.error})",
        "Give the table of who was retrained, or none.",
    ),
    kinds.UnknownMeasurer: (
        "nobody of this code is in the sessions",
        lambda n: f"{did_you_mean(n.near)}Write the code as in the readings.",
    ),
    kinds.UnknownMeasure: ("this measure is in no session", _known),
    kinds.UnknownSession: ("no session that can be used has this name", _known),
    kinds.PickedLater: (
        "this session ({n.date}) lies after the retraining",
        "Name the session that led to it, or leave the cell empty.",
    ),
})  # fmt: skip
