"""Is a counts file sound: codes and counts only, on the cycle, and do its parts add up?

Every problem is found at once, and what is sound is given beside them. A total whose parts are at
fault is left out whole, so that what is left adds up.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from anthroqa.intake import Measure
from anthroqa.intake.tables.personal import looks_like_a_name, looks_personal
from anthroqa.intake.tables.problems import Problem, SessionError, nearest_word, whole_file
from anthroqa.intake.written.grammar import Refusal, parse_quantity
from anthroqa.intake.written.steps import Step
from anthroqa.notes import Note
from anthroqa.notes.program.routine_problems import (
    Cell,
    CellTwice,
    ClinicIsSite,
    Held,
    InCounts,
    LacksColumn,
    MoreRows,
    MoreThan,
    NoPosition,
    NoSuchSquares,
    PartsDiffer,
    PositionOf,
    SeveralSteps,
    StrayColumn,
    UnknownKind,
)
from anthroqa.program.routine.counting.counts import (
    ALL,
    COLUMNS,
    KEY,
    KINDS,
    NUMBERS,
    OF_A_TOTAL,
    ON_MARK,
    ONCE_SITE,
    OPTIONAL,
    WHO,
    Tally,
    in_order,
)  # fmt: skip

Flags = npt.NDArray[np.bool_]
_OF_A_CHILD = re.compile(
    "child|infant|baby|patient|client|subject|person|visit|record|encounter|household|family"
    "|value|reading|weight|length|height|age$|^age|sex|gender|date|taken|time|comment|note"
)
_SHOWN = 20  # problems of one sort that are told one by one
_PERIOD = re.compile(r"(?:(\d{4}-(?:0[1-9]|1[0-2]))(?:\.\.(\d{4}-(?:0[1-9]|1[0-2])))?)?")


def is_counts_file(path: str | Path) -> bool:
    """Whether a file is meant to hold counts, going by the names of its columns."""
    path = Path(path)
    if not (path.is_file() and path.name.lower().endswith((".csv", ".csv.gz"))):
        return False
    try:
        header = pd.read_csv(path, nrows=0, dtype=str).columns
    except (ValueError, OSError):
        return False
    names = {str(name).strip().lower() for name in header}
    return len(names & {"kind", "position", "n", "period", "step"}) >= 4


def look_at_counts(path: str | Path) -> Tally:
    """Everything that is wrong with a counts file, and what is sound in it."""
    path = Path(path)
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except FileNotFoundError:
        return _nothing(path.name, whole_file(path.name, Held.NO_FILE))
    except (ValueError, OSError):  # parsing and decoding errors are ValueErrors
        return _nothing(path.name, whole_file(path.name, InCounts.NOT_CSV))
    table.columns = [str(name).strip() for name in table.columns]
    problems = _columns(list(table.columns), path.name)
    if not problems and not len(table):
        problems = [whole_file(path.name, InCounts.NO_COUNTS)]
    if problems:  # a comma in a cell shifts the others: nothing of this file may be quoted
        return _nothing(path.name, *problems)
    table = table.apply(lambda column: column.str.strip())
    for name in [*WHO, "measure"]:
        table[name] = table[name].str.replace(r"^'(?=[=+@-])", "", regex=True)
    return _Checked(path.name, table).look()


def _nothing(file: str, *problems: Problem) -> Tally:
    counts = pd.DataFrame(columns=[*KEY, "n"])
    return Tally(name=file, counts=counts, measures={}, problems=problems)


def read_counts(path: str | Path) -> pd.DataFrame:
    """The counts in a file of `counts_text`.

    Raises
    ------
    SessionError
        With everything that is wrong with it; `look_at_counts` gives the sound part as well.
    """
    found = look_at_counts(path)
    if found.problems:
        raise SessionError(found.problems)
    return found.counts


def _columns(names: list[str], file: str) -> list[Problem]:
    told: dict[str, Note] = {}
    for name in names:
        if names.count(name) > 1:
            told[name] = InCounts.COLUMN_TWICE
        elif name in COLUMNS:
            continue
        elif name == ONCE_SITE and "site" not in names:
            told[name] = ClinicIsSite.IN_COUNTS
        elif looks_personal(name) or _OF_A_CHILD.search(name.lower()):
            told[name] = InCounts.OF_A_CHILD
        else:
            told[name] = StrayColumn(near=nearest_word(name, COLUMNS))
    for name in [*KEY, "n"]:
        if name not in names and not (name == "site" and ONCE_SITE in names):
            told[name] = LacksColumn(near=nearest_word(name, names))
    return [
        Problem(file=file, row=1, column=name, found="", code=code) for name, code in told.items()
    ]


class _Checked:
    """A table of texts that is judged column by column, with the rows that are at fault."""

    def __init__(self, file: str, table: pd.DataFrame) -> None:
        self.file, self.table = file, table
        self.problems: list[Problem] = []
        self.wrong: Flags = np.zeros(len(table), dtype=bool)
        self.steps: dict[str, Step] = {}
        self.numbers: dict[str, npt.NDArray[np.float64]] = {}

    def look(self) -> Tally:
        self._codes()
        self._steps()
        self._kinds()
        self._positions()
        self._periods()
        self._counts()
        self._twice()
        self._totals()
        self.problems.sort(key=lambda p: p.row or 0)
        sound = self.table[~self.wrong].copy()
        for name in ["position", *NUMBERS]:
            if name in sound:
                sound[name] = pd.to_numeric(sound[name], errors="coerce").astype("Int64")
        counts = in_order(sound)
        steps = counts[["measure", "step"]].drop_duplicates().itertuples(index=False, name=None)
        measures = {name: Measure(name=name, step=self.steps[text]) for name, text in steps}
        return Tally(
            name=self.file, counts=counts, measures=measures, problems=tuple(self.problems)
        )

    def _tell(
        self, at: Flags, column: str, code: Note | Callable[[pd.Series], Note], *,
        show: bool = True,
    ) -> None:  # fmt: skip
        """A problem for each row at fault, the first of them one by one."""
        rows = np.flatnonzero(at)
        self.wrong |= at
        for i, row in enumerate(rows[: _SHOWN + 1]):
            cells = self.table.iloc[row]
            told = code if isinstance(code, Note) else code(cells)
            found = cells[column][:60] if show else ""
            if i == _SHOWN:
                told, found = MoreRows(rows=len(rows) - _SHOWN, problem=told), ""
            self.problems.append(
                Problem(file=self.file, row=int(row) + 2, column=column, found=found, code=told)
            )

    def _each(self, column: str, good: Callable[[str], bool]) -> Flags:
        """Rows whose cell is not good; each different text is looked at once."""
        codes, texts = pd.factorize(self.table[column])
        return ~np.array([good(text) for text in texts], dtype=bool)[codes]

    def _codes(self) -> None:
        self._tell(
            self._each("measurer", lambda text: not looks_like_a_name(text)), "measurer",
            InCounts.LIKE_A_NAME, show=False,
        )  # fmt: skip
        self._tell(self._each("measure", bool), "measure", InCounts.NO_MEASURE)

    def _steps(self) -> None:
        for text in self.table["step"].unique():
            found = parse_quantity(text)
            if not isinstance(found, Refusal) and found[0] > 0:
                self.steps[text] = Step(Fraction(found[0]), found[1])
        self._tell(self._each("step", lambda text: text in self.steps), "step", InCounts.NO_STEP)
        named = self.table.groupby("measure", sort=False)["step"].unique()
        for measure, steps in named.items():
            if len(steps) > 1:
                self.wrong |= (self.table["measure"] == measure).to_numpy()
                self.problems.append(Problem(
                    file=self.file, row=None, column="step", found=", ".join(steps),
                    code=SeveralSteps(measure=str(measure), steps=len(steps)),
                ))  # fmt: skip

    def _kinds(self) -> None:
        unknown = self._each("kind", lambda text: text in KINDS)
        self._tell(unknown, "kind", UnknownKind(kinds=KINDS))

    def _positions(self) -> None:
        table = self.table
        cycles = {text: step.cycle() for text, step in self.steps.items()}
        cycle = table["step"].map(lambda text: cycles.get(text) or 0).to_numpy(dtype=np.int64)
        blank = (table["position"] == "").to_numpy()
        on = (table["kind"] == ON_MARK).to_numpy()
        known = table["step"].isin(self.steps).to_numpy()
        at = _whole(table["position"])
        off = on & known & (cycle > 0) & ~((at >= 0) & (at < cycle))
        self._tell(
            off, "position",
            lambda row: NoPosition(
                position=row["position"], step=row["step"], last=cycles[row["step"]] - 1
            ),
        )  # fmt: skip
        self._tell(~on & ~blank, "position", lambda row: PositionOf(kind=row["kind"]))

    def _periods(self) -> None:
        def good(text: str) -> bool:
            match = _PERIOD.fullmatch(text)
            return match is not None and (match[2] is None or match[1] < match[2])

        self._tell(self._each("period", good), "period", InCounts.NO_PERIOD)

    def _counts(self) -> None:
        for name in [name for name in NUMBERS if name in self.table]:
            number = self.numbers[name] = _whole(self.table[name])
            blank = (self.table[name] == "").to_numpy() & (name in OPTIONAL)
            self._tell(~blank & ~(number >= 0), name, InCounts.NO_COUNT)
        of = self.numbers
        limits = [(name, "n") for name in ("days", "on_comb", "followed") if name in of]
        limits += [("same", "followed")] if {"same", "followed"} <= set(of) else []
        for less, more in limits:
            self._tell(
                of[less] > of[more], less,
                lambda row, more=more: MoreThan(column=more, n=row[more]),
            )  # fmt: skip
        if {"days", "squares"} <= set(of):
            n, days, squares = of["n"], of["days"], of["squares"]
            self._tell(
                (squares > n * n) | (squares * days < n * n), "squares",
                lambda row: NoSuchSquares(n=row["n"], days=row["days"]),
            )  # fmt: skip

    def _twice(self) -> None:
        self._tell(
            self.table.duplicated(KEY).to_numpy(), "n",
            lambda row: CellTwice(cell=_of_whom(row)),
        )  # fmt: skip

    def _totals(self) -> None:
        """Parts add up to `all`; a total with a row at fault is left out whole, and not judged."""
        code, _ = pd.MultiIndex.from_frame(self.table[OF_A_TOTAL]).factorize()
        tainted = np.zeros(code.max() + 1, dtype=bool)
        tainted[code[self.wrong]] = True
        self.wrong |= tainted[code]
        is_all = (self.table["kind"] == ALL).to_numpy()
        for name in ("n", "on_comb", "followed", "same"):
            if name not in self.numbers:
                continue
            number = np.nan_to_num(self.numbers[name])
            parts = np.bincount(code, weights=np.where(is_all, 0, number))
            told = np.bincount(code, weights=np.where(is_all, number, 0))
            there = np.bincount(code, weights=is_all) > 0
            first = np.zeros(len(code), dtype=bool)
            first[np.unique(code, return_index=True)[1]] = True
            bad = ((parts != told) | ~there) & ~tainted
            sums = {
                int(i): (int(parts[i]), int(told[i]) if there[i] else None)
                for i in np.flatnonzero(bad)
            }
            where = pd.Series(code, index=self.table.index)
            self._tell(
                first & bad[code], name,
                lambda row, sums=sums, where=where: PartsDiffer(
                    cell=_of_whom(row), parts=sums[where[row.name]][0],
                    total=sums[where[row.name]][1],
                ),
                show=False,
            )  # fmt: skip
            tainted |= bad
        self.wrong |= tainted[code]


def _whole(column: pd.Series) -> npt.NDArray[np.float64]:
    """Whole numbers from zero; NaN for all else."""
    good = column.str.fullmatch(r"[0-9]{1,15}")
    return pd.to_numeric(column.where(good), errors="coerce").to_numpy(dtype=np.float64)


def _of_whom(row: pd.Series) -> Cell:
    return Cell(**{name: row[name] for name in (*WHO, "measure", "period")})
