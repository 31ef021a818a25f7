"""Why is a reading missing?"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from anthroqa.intake.entries.corrections import KEY, Correction
from anthroqa.intake.entries.readings import Entry
from anthroqa.notes import Note, Notes, notes_of
from anthroqa.notes.cells import Text, worded
from anthroqa.notes.intake.session import Condition, Missing, SetAside, StoppedOut


def missing_of(entries: list[Entry], matched: Mapping[int, Correction]) -> pd.DataFrame:
    """Rows without a reading, as `Session.missing` has them."""
    gone = [(i, e) for i, e in enumerate(entries) if e["sound"] and e["missing"]]
    cells = {c: [e[c] for _, e in gone] for c in (*KEY, "row")}
    why = [notes_of(_why(e, matched.get(i))) for i, e in gone]
    return worded(pd.DataFrame(cells | {"why": why}), "why")


def _why(entry: Entry, correction: Correction | None) -> Note:
    if "stopped" in entry:
        return StoppedOut(code=entry["condition"])
    if correction is not None:
        return SetAside(reason=correction.reason)
    condition = entry.get("condition")
    return Condition(code=condition) if condition else Missing.EMPTY


def reasons(missing: pd.DataFrame) -> pd.Series:
    """Why each reading is missing, as codes; a bare text is the code of a condition."""
    return missing["why"].map(
        lambda why: why.notes if isinstance(why, Text) else Notes((Condition(code=str(why)),))
    )
