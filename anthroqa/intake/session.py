"""What happened in the session, exactly as it was written down?

A `Session` holds sound rows only; a `Look` has it beside everything that needs attention.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from anthroqa.intake.described.instruments import Instrument
from anthroqa.intake.described.settings import Measure, Settings, read_measures
from anthroqa.intake.entries import known_loads, second_entry, true_values
from anthroqa.intake.entries import readings as checks
from anthroqa.intake.entries.corrections import KEY, Correction, match_corrections
from anthroqa.intake.entries.missing import missing_of
from anthroqa.intake.tables.personal import looks_like_a_name
from anthroqa.intake.tables.problems import Problem, SessionError, whole_file
from anthroqa.intake.tables.table import Table, as_text, shape
from anthroqa.notes import Note
from anthroqa.notes.intake.session import Folder, Handled, NamesForCodes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Session:
    """A session as read: its settings, its readings, and what was left out.

    Attributes
    ----------
    name : str
        The folder's name.
    title, date, exercise, reference, handling_cap, conditions
        As in `session.toml`; `reference` is None where there is none.
    measures : dict of str to Measure
        In the order of `session.toml`.
    readings : pandas.DataFrame
        One row a reading: `measurer, subject, measure, round, count, value, written`;
        `count` in whole steps, `value` in the step's unit. `count_read` and `count_tare`
        where there is a tare, and the optional columns of the file. `corrected` where
        corrections were made; `converted` (bool) where some were written in the other system
        of units, so that the marks which were read are not those of the step.
    missing : pandas.DataFrame
        Rows without a reading: `measurer, subject, measure, round, row, why`; the text in `why`
        remembers its code (`intake.entries.missing.reasons`).
    corrections : pandas.DataFrame
        What was changed: `measurer, subject, measure, round, written, corrected, reason, by`.
    absent : pandas.DataFrame
        Rounds that a measurer has no row for, of subjects that they measured in another:
        `measurer, subject, measure, round`.
    true_values : pandas.DataFrame
        What was set in a drill: `subject, measure, true` (as written), `steps` (float, on a
        step or between two); empty in a session.
    known_loads : pandas.DataFrame
        What instruments showed for known loads: `instrument, measure, check, load, reading,
        position, taken_at` as in `known_loads.csv`, and `load_steps, reading_steps, division_steps,
        uncertainty_steps` (float, in steps of the measure); empty without that file.
    instruments : dict of str to Instrument
        As in `session.toml`: class, division, uncertainty of the standard.
    notices : tuple of (file, note)
        What was passed over without changing a meaning; the text of a note says it.
    unused : tuple of str
        Columns that were listed and not used.
    files : dict of str to str
        SHA-256 of each input file's bytes, by name.
    """

    name: str
    title: str
    date: dt.date | None
    exercise: str
    reference: str | None
    handling_cap: int | None
    conditions: Mapping[str, tuple[str, ...]]
    measures: Mapping[str, Measure]
    readings: pd.DataFrame
    missing: pd.DataFrame
    corrections: pd.DataFrame
    absent: pd.DataFrame
    true_values: pd.DataFrame = field(default_factory=true_values.no_true_values)
    known_loads: pd.DataFrame = field(default_factory=known_loads.no_known_loads)
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    notices: tuple[tuple[str, Note], ...] = ()
    unused: tuple[str, ...] = ()
    files: Mapping[str, str] = field(default_factory=dict)

    def without(self, left_out: pd.DataFrame) -> Session:
        """What remains of the measures that some first readings are in, without these.

        `left_out` names them: `measurer, subject, measure, round`.
        """
        named = pd.MultiIndex.from_frame(left_out[list(KEY)].astype({"round": "int64"}))
        measures = {n: m for n, m in self.measures.items() if n in set(left_out["measure"])}
        readings = self.readings[self.readings["measure"].isin(measures)]
        gone = pd.MultiIndex.from_frame(readings[list(KEY)]).isin(named)
        if "retake" in readings:
            gone &= readings["retake"].isna().to_numpy()
        return replace(self, measures=measures, readings=readings[~gone])

    @classmethod
    def from_frame(
        cls,
        frame: pd.DataFrame,
        *,
        measures: Mapping[str, Mapping[str, Any]],
        reference: str | None = None,
    ) -> Session:
        """A session from a table with the columns of `readings.csv`.

        Parameters
        ----------
        frame : pandas.DataFrame
            Columns `measurer, subject, measure, round, reading` and the optional ones.
        measures : mapping
            For each measure what `session.toml` would say, such as
            ``{"length": {"recorded_to": "0.1 cm"}}``.
        reference : str, optional
            The measurer whose readings are the comparison.

        Raises
        ------
        SessionError
            With every problem found; `file` is "frame" and row 2 is the first one.
        TypeError
            If `measures` is not a mapping.
        ValueError
            If `measures` is empty.

        Examples
        --------
        >>> import pandas as pd
        >>> frame = pd.DataFrame({"measurer": "A", "subject": ["1", "1"], "measure": "length",
        ...                       "round": [1, 2], "reading": ["24 3/8", "24.5"]})
        >>> session = Session.from_frame(frame, measures={"length": {"recorded_to": "1/8 in"}})
        >>> session.readings["count"].tolist()
        [195, 196]
        """
        if not isinstance(measures, Mapping):
            raise TypeError('measures must be a mapping: {"length": {"recorded_to": "0.1 cm"}}')
        if not measures:
            raise ValueError('no measure is given: write measures={"length": {"recorded_to": ...}}')
        settings, problems = read_measures(measures, "measures", reference=reference)
        table = Table(file="frame")
        cells = frame.astype(object).where(frame.notna(), None)  # pandas.NA has no truth value
        columns = [cells.iloc[:, i].tolist() for i in range(frame.shape[1])]
        grid = [[str(c) for c in frame.columns]]
        grid += [[as_text(value) for value in row] for row in zip(*columns, strict=True)]
        shape(table, grid, required=checks.REQUIRED, optional=checks.OPTIONAL)
        found = build("", settings, table, {}, problems, {})
        if found.problems or found.session is None:
            raise SessionError(found.problems or [no_reading(table.file)])
        return found.session


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """What there is of a session that may be unfinished.

    Attributes
    ----------
    problems : tuple of Problem
        Everything that needs attention.
    session : Session or None
        The rows that are sound, whatever is wrong with others; None where there is none.
    progress : pandas.DataFrame
        How far the entry is: `round, measurer, planned, entered, twice`, rows of readings by
        round and measurer. A row with a condition and no reading is entered too.
    second : bool
        Whether there is a second entry.
    file : str
        The file of the readings, "" where there is none.
    """

    problems: tuple[Problem, ...]
    session: Session | None
    progress: pd.DataFrame
    second: bool = False
    file: str = ""


def build(
    name: str, settings: Settings, table: Table, others: Mapping[str, Table],
    problems: list[Problem], files: Mapping[str, str], second: Table | None = None,
) -> Look:  # fmt: skip
    """Check everything together: every problem, and the session of the rows that are sound."""
    measures = settings.measures
    corrections, set_ = others.get("corrections.csv"), others.get(true_values.FILE)
    problems = [*problems, *table.problems, *(corrections.problems if corrections else ())]
    problems += second.problems if second else []
    entries = checks.read_entries(table, settings, problems)
    matched = match_corrections(corrections, entries, problems) if corrections and entries else {}
    stopped: list[tuple[str, str]] = []
    if measures:
        checks.count_readings(
            entries, matched, measures, problems, decimal_comma=table.decimal_comma
        )
        described_in = "measures" if table.file == "frame" else "session.toml"
        checks.check_codes(entries, settings.reference, described_in, problems)
        checks.check_repeats(entries, problems)
        checks.check_forms(entries, measures, problems)
        checks.check_sums(entries, measures, problems)
        stopped = checks.set_aside_stopped(entries, settings.conditions.get("stop", ()))
    twice = second_entry.match_second(second, entries, measures, problems) if second else set()
    drill = set_ if settings.exercise == "drill" else None
    was_set = true_values.match_true_values(drill, entries, settings, problems) if drill else None
    tested = known_loads.no_known_loads()
    if known_loads.FILE in others:
        tested = known_loads.match_known_loads(
            others[known_loads.FILE], entries, settings, problems
        )
    order = {"session.toml": 0, table.file: 1}
    problems.sort(key=lambda p: (order.get(p.file, 2), p.file, p.row or 0))
    progress = progress_of(entries, twice)
    read = [i for i, e in enumerate(entries) if e["sound"] and "count" in e and not e["missing"]]
    if all(entries[i]["retake"] for i in read):  # none, or retakes of nothing
        return Look(
            problems=tuple(problems), session=None, progress=progress, second=second is not None,
            file=table.file,
        )  # fmt: skip
    readings = _frame([entries[i] for i in read], table, measures, corrected=bool(matched))
    session = Session(
        name=name,
        title=settings.title or name,
        date=settings.date,
        exercise=settings.exercise,
        reference=settings.reference,
        handling_cap=settings.handling_cap,
        conditions=settings.conditions,
        measures=measures,
        readings=readings,
        missing=missing_of(entries, matched),
        corrections=_corrections(entries, matched),
        absent=_absent([e for e in entries if e["sound"]]),
        true_values=true_values.no_true_values() if was_set is None else was_set,
        known_loads=tested,
        instruments=settings.instruments,
        notices=(
            *table.notices,
            *(notice for other in others.values() for notice in other.notices),
            *stopped,
            *_handled(readings, table.file, settings.handling_cap),
            *_name_like(readings, table.file),
        ),
        unused=tuple(table.unused),
        files=files,
    )
    return Look(
        problems=tuple(problems), session=session, progress=progress, second=second is not None,
        file=table.file,
    )  # fmt: skip


def no_reading(file: str) -> Problem:
    """Nothing was entered yet."""
    return whole_file(file, Folder.NOTHING_ENTERED)


def progress_of(entries: list[checks.Entry], twice: Collection[tuple[Any, ...]]) -> pd.DataFrame:
    """How many rows there are, and how many are entered, by round and measurer."""
    first = [e for e in entries if not e["retake"]]
    frame = pd.DataFrame({
        "round": [e["round"] for e in first], "measurer": [e["measurer"] for e in first],
        "planned": 1,
        "entered": [
            int(e["reading"] not in checks.MISSING or bool(e.get("condition"))) for e in first
        ],
        "twice": [int((*(e[k] for k in KEY), 0) in twice) for e in first],
    })  # fmt: skip
    return frame.groupby(["round", "measurer"], sort=False).sum().reset_index()


def _frame(
    entries: list[checks.Entry], table: Table, measures: Mapping[str, Measure], *, corrected: bool
) -> pd.DataFrame:
    optional = [c for c in checks.OPTIONAL if c in table.columns]
    columns = ["measurer", "subject", "measure", "round", "count", "written"]
    columns += ["count_read", "count_tare"] if "tare" in optional else []
    columns += optional + (["corrected"] if corrected else [])
    columns += ["converted"] if any(e["converted"] for e in entries) else []
    frame = pd.DataFrame({c: [e[c] for e in entries] for c in columns})
    frame = frame.astype({c: "int64" for c in columns if c.startswith("count") or c == "round"})
    sizes = [measures[name].step.size for name in frame["measure"]]
    value = [
        n * size.numerator / size.denominator
        for n, size in zip(frame["count"].tolist(), sizes, strict=True)
    ]  # an exact product, then one division
    frame.insert(columns.index("count") + 1, "value", value)
    if "retake" in optional:
        frame["retake"] = frame["retake"].astype("Int64").replace(0, pd.NA)
    return frame


def _corrections(entries: list[checks.Entry], matched: Mapping[int, Correction]) -> pd.DataFrame:
    columns = [*KEY, "written", "corrected"]
    frame = {c: [entries[i][c] for i in matched] for c in columns}
    frame["reason"] = [c.reason for c in matched.values()]
    frame["by"] = [c.by for c in matched.values()]
    return pd.DataFrame(frame)


def _absent(entries: list[checks.Entry]) -> pd.DataFrame:
    """Rounds of the measure without a row, for each person and subject with another round."""
    rows = pd.DataFrame({c: [e[c] for e in entries] for c in KEY})
    rounds = rows[["measure", "round"]].drop_duplicates()
    pairs = rows[["measurer", "subject", "measure"]].drop_duplicates()
    wanted = pairs.merge(rounds, on="measure")
    found = wanted.merge(rows.drop_duplicates(), on=list(KEY), how="left", indicator=True)
    gone = found[found["_merge"] == "left_only"]
    return gone.sort_values(["measure", "measurer", "subject", "round"])[list(KEY)].reset_index(
        drop=True
    )


def _handled(readings: pd.DataFrame, file: str, cap: int | None) -> list[tuple[str, Note]]:
    if cap is None:
        return []
    times = readings.groupby(["subject", "measure"], sort=True).size()
    return [
        (file, Handled(subject=subject, measure=measure, times=int(n), cap=cap))
        for (subject, measure), n in times[times > cap].items()
    ]


def _name_like(readings: pd.DataFrame, file: str) -> list[tuple[str, Note]]:
    """Codes of people that look like a first and a last name; no code is shown."""
    n = sum(map(looks_like_a_name, readings["measurer"].drop_duplicates()))
    return [(file, NamesForCodes(n=n))] if n else []
