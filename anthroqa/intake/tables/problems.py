"""What is wrong with the data, where, and what to do about it.

A `Problem` points at one cell in the words of the file it is in. Problems are
collected, never raised one by one; `SessionError` carries all of them.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from anthroqa.notes import Note, said_apart

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ["file", "row", "column", "found", "problem", "remedy"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing in the data that needs a person's attention."""

    file: str
    row: int | None  # the line a person sees: the header is row 1
    column: str
    found: str
    code: Note
    cell: str = ""  # in a workbook the address, as in readings!F23

    @property
    def problem(self) -> str:
        """What is wrong, in words."""
        return said_apart(self.code)[0]

    @property
    def remedy(self) -> str:
        """What to do about it, in words."""
        return said_apart(self.code)[1]

    @property
    def place(self) -> str:
        """File, cell or row and column, and what was found there."""
        place = [self.file]
        if self.cell:
            place.append(f"{self.cell} ({self.column})")
        elif self.row is not None:
            place.append(f"row {self.row}")
        if self.column and not self.cell:
            place.append(f"column {self.column}")
        found = f" found {self.found!r}:" if self.found else ""
        return one_line(f"{', '.join(place)}:{found}")

    def __str__(self) -> str:
        return one_line(f"{self.place} {self.problem}. {self.remedy}")


def whole_file(file: str, code: Note) -> Problem:
    """A problem of a file as a whole."""
    return Problem(file=file, row=None, column="", found="", code=code)


def one_line(text: str) -> str:
    """The text without anything that would move a terminal's cursor."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def nearest_word(word: str, known: Iterable[str], *, nearness: float = 0.6) -> str | None:
    """The known word that is nearest, whatever its case; None if none is near."""
    by_fold = {k.casefold(): k for k in known}
    near = difflib.get_close_matches(word.casefold(), sorted(by_fold), n=1, cutoff=nearness)
    return by_fold[near[0]] if near else None


class SessionError(Exception):
    """The data need attention; nothing was changed and nothing was written.

    Parameters
    ----------
    problems : iterable of Problem
        Every problem found, in the order of the files and their rows.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self._problems = tuple(problems)
        super().__init__(self._problems)

    def __str__(self) -> str:
        return "\n".join(map(str, self._problems))

    @property
    def problems(self) -> pd.DataFrame:
        """The problems as a table: `file, row, column, found, problem, remedy`."""
        import pandas as pd

        table = pd.DataFrame(
            [{name: getattr(p, name) for name in COLUMNS} for p in self._problems], columns=COLUMNS
        )
        return table.astype({"row": "Int64"})

    def __iter__(self):
        return iter(self._problems)
