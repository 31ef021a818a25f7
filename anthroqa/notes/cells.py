"""How do notes stand in a table: as codes inside, as text at the edge?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd

from anthroqa.notes import NONE, Note, Notes, Quoted, notes_of


class Text(str):
    """What people read in a cell, with the notes that it says."""

    __slots__ = ("notes",)
    notes: Notes


def _text(cell: Note | Notes) -> Text:
    text = Text(str(cell))
    text.notes = notes_of(cell)
    return text


def worded(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """The table with text in place of codes, `note` unless other columns are given."""
    return table.assign(**{c: _column(_text, table[c]) for c in columns or ("note",)})


def coded(table: pd.DataFrame) -> pd.DataFrame:
    """The table with codes in `note`; text of which nobody knows the codes is quoted."""
    return table.assign(note=_column(_codes, table["note"]))


def _codes(cell: object) -> Notes:
    if isinstance(cell, Notes):
        return cell
    if isinstance(cell, Text):
        return cell.notes
    return Notes((Quoted(text=str(cell)),)) if isinstance(cell, str) and cell else NONE


def _column(of: Callable[[Any], object], cells: pd.Series) -> pd.Series:
    """Cells that stay the objects they are."""
    return pd.Series([of(cell) for cell in cells], index=cells.index, dtype=object)
