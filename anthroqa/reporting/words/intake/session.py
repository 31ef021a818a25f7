"""The words of the folder of a session: what is wrong, passed over, or missing."""

from anthroqa.notes import register
from anthroqa.notes.intake import session as kinds

_GIVE = "Give the folder that holds session.toml and the readings."


def _names(n: kinds.NamesForCodes) -> str:
    what = "code of a measurer looks like a name"
    if n.n > 1:
        what = "codes of measurers look like names"
    return f"{n.n} {what}: use codes, and keep the list of names apart"


register({
    kinds.Folder.A_FILE: ("this is a file, not a folder", _GIVE),
    kinds.Folder.NOT_THERE: ("there is no such folder", _GIVE),
    kinds.Folder.SETTINGS_NOT_UTF8: ("the file is not UTF-8 text", "Save it again."),
    kinds.Folder.READINGS_TWICE: (
        "readings.csv is there too, and they may differ",
        "Keep the one that is right and move the other out of the folder.",
    ),
    kinds.Folder.NOTHING_ENTERED: ("there is no reading", "Enter the readings."),
    kinds.NoFile.SETTINGS: (
        "this file is missing",
        "Describe the measures in it; copy one from sample_sessions to begin with.",
    ),
    kinds.NoFile.READINGS: (
        "this file is missing",
        "Save the readings as readings.csv or as readings.xlsx with a sheet 'readings'.",
    ),
    kinds.CannotBeRead: (
        "the file cannot be read ({n.error})",
        "Does another program hold it open, or is it just being saved? Close it there, or wait a "
        "moment, and look again.",
    ),
    kinds.OldName: (
        "this file is called {n.new} now, and nothing was read from it",
        "Rename it to {n.new}. If that file is there already, move this one out of the folder.",
    ),
    kinds.Missing.EMPTY: "empty",
    kinds.SetAside: "set aside: {n.reason}",
    kinds.Condition: "{n.code}",
    kinds.StoppedOut: "{n.code}: its reading is set aside",
    kinds.Handled:
        "subject {n.subject} was handled {n.times} times for {n.measure}; the cap is {n.cap}",
    kinds.NamesForCodes: _names,
})  # fmt: skip
