"""What does the program say about its session: measures, steps, limits, conditions?

Reads `session.toml`. An unknown or misspelt key is a problem, never ignored.
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import accumulate
from typing import Any

from anthroqa.intake.described.instruments import Instrument, read_instruments
from anthroqa.intake.tables.problems import Problem, SessionError, nearest_word
from anthroqa.intake.written.grammar import Refusal, parse_quantity
from anthroqa.intake.written.steps import UNITS, Step, convert, same_kind
from anthroqa.notes import Note
from anthroqa.notes.intake.settings import (
    KindOfOtherUnit,
    MeasureTwice,
    NoAmount,
    NoTable,
    NotAnAmount,
    NotAStep,
    NotCodes,
    NotText,
    NotWholeSteps,
    OfSettings,
    UnitBeside,
    UnknownKey,
    UnknownKind,
    UnreadableToml,
)

KINDS = {
    "weight": "mass",
    "length": "length",
    "height": "length",
    "circumference": "length",
    "skinfold": "length",
}
_SESSION_KEYS = {
    "title", "date", "exercise", "reference", "handling_cap", "conditions", "measure",
    "instrument",
}  # fmt: skip
_MEASURE_KEYS = {
    "recorded_to", "kind", "range", "expected_tem", "limit_tem", "limit_bias", "limit_pair",
    "limit_source", "whole_mark",
}  # fmt: skip
_AMOUNTS = ("expected_tem", "limit_tem", "limit_bias", "limit_pair", "whole_mark")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One measure of a session; amounts are exact, in the step's unit."""

    name: str
    step: Step
    kind: str | None = None
    low: Fraction | None = None
    high: Fraction | None = None
    expected_tem: Fraction | None = None
    limit_tem: Fraction | None = None
    limit_bias: Fraction | None = None
    limit_pair: Fraction | None = None
    whole_mark: Fraction | None = None
    limit_source: str = ""
    typed: Mapping[str, str] = field(default_factory=dict, compare=False)  # as it was written

    @property
    def cycle(self) -> int | None:
        """Steps to the next whole mark; None where the step does not say and nobody else does."""
        return self.step.cycle(self.whole_mark)

    @property
    def coarse_marks(self) -> dict[int, str]:
        """Marks coarser than the step, in steps, and what they are called."""
        return self.step.coarse_marks(self.whole_mark)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything `session.toml` says."""

    title: str = ""
    date: dt.date | None = None
    exercise: str = "session"
    reference: str | None = None
    handling_cap: int | None = None
    conditions: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    measures: Mapping[str, Measure] = field(default_factory=dict)
    broken: frozenset[str] = frozenset()  # measures that are named but have no step yet
    instruments: Mapping[str, Instrument] = field(default_factory=dict)


class Notes:
    """Collects problems of one settings file and knows where its keys stand."""

    def __init__(self, file: str, text: str = "") -> None:
        self.file = file
        self.problems: list[Problem] = []
        self._rows: dict[str, int] = {}
        table = ""
        for number, line in enumerate(text.splitlines(), start=1):
            if match := re.match(r"\s*\[\s*(.+?)\s*\]", line):
                table = match.group(1).replace('"', "").replace("'", "") + "."
                for parent in accumulate(table[:-1].split("."), "{}.{}".format):
                    self._rows.setdefault(parent, number)
            elif match := re.match(r"\s*([\w\"'.-]+)\s*=", line):
                self._rows.setdefault(table + match.group(1).strip("\"'"), number)

    def add(self, key: str, found: object, code: Note) -> None:
        """One problem of one key."""
        self.problems.append(Problem(
            file=self.file, row=self._rows.get(key), column=key,
            found="" if found is None else str(found), code=code,
        ))  # fmt: skip

    def unknown(self, prefix: str, keys: Mapping[str, Any], known: set[str]) -> None:
        """A problem for each key that is not known."""
        for key in keys:
            if key in known:
                continue
            near = nearest_word(key, sorted(known))
            self.add(prefix + key, None, UnknownKey(near=near, known=tuple(sorted(known))))


def read_settings(text: str, file: str) -> tuple[Settings, list[Problem]]:
    """The settings in the text of `session.toml`, and every problem found in it."""
    try:
        raw = read_toml(text, file)
    except SessionError as error:
        return Settings(), list(error)
    notes = Notes(file, text)
    return settings_of(raw, notes), notes.problems


def read_toml(text: str, file: str) -> dict[str, Any]:
    """The tables in the text of a TOML file; what cannot be read is raised as a problem."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number too long, tables too deep
        at = re.search(r"at line (\d+)", str(error))
        raise SessionError([Problem(
            file=file, row=int(at.group(1)) if at else None, column="", found="",
            code=UnreadableToml(error=str(error)),
        )]) from None  # fmt: skip


def settings_of(
    raw: Mapping[str, Any], notes: Notes, *, more: Collection[str] = (),
    more_of_measure: Collection[str] = (),
) -> Settings:  # fmt: skip
    """The settings in a mapping of the form of `session.toml`; problems go to `notes`.

    `more` and `more_of_measure` are keys that the caller reads by itself.
    """
    notes.unknown("", raw, _SESSION_KEYS | set(more))
    measures = raw.get("measure", {})
    if not isinstance(measures, dict) or not measures:
        notes.add("measure", None, OfSettings.NO_MEASURE)
        measures = {}
    return Settings(
        title=_text(notes, raw, "title"),
        date=_date(notes, raw),
        exercise=_exercise(notes, raw),
        reference=_text(notes, raw, "reference") or None,
        handling_cap=_cap(notes, raw),
        conditions=_conditions(notes, raw),
        instruments=read_instruments(notes, raw.get("instrument", {})),
        **_measures(notes, measures, more_of_measure),
    )


def read_measures(
    measures: Mapping[str, Mapping[str, Any]], file: str, *, reference: str | None
) -> tuple[Settings, list[Problem]]:
    """Settings from a mapping of the same form as the `measure` tables of `session.toml`."""
    notes = Notes(file)
    return Settings(reference=reference, **_measures(notes, measures)), notes.problems


def _text(notes: Notes, raw: Mapping[str, Any], key: str, prefix: str = "") -> str:
    value = raw.get(key, "")
    if not isinstance(value, str):
        notes.add(prefix + key, value, NotText(key=key))
        return ""
    return value.strip()


def _date(notes: Notes, raw: Mapping[str, Any]) -> dt.date | None:
    value = raw.get("date")
    if value is None or (isinstance(value, dt.date) and not isinstance(value, dt.datetime)):
        return value
    notes.add("date", value, OfSettings.NOT_A_DATE)
    return None


def _exercise(notes: Notes, raw: Mapping[str, Any]) -> str:
    value = raw.get("exercise", "session")
    if value not in ("session", "drill"):
        notes.add("exercise", value, OfSettings.UNKNOWN_EXERCISE)
    return str(value)


def _cap(notes: Notes, raw: Mapping[str, Any]) -> int | None:
    value = raw.get("handling_cap")
    if value is None or (type(value) is int and value > 0):
        return value
    notes.add("handling_cap", value, OfSettings.NOT_A_CAP)
    return None


def _conditions(notes: Notes, raw: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    table = raw.get("conditions", {})
    if not isinstance(table, dict):
        notes.add("conditions", table, OfSettings.NO_TABLE_OF_CONDITIONS)
        return {}
    notes.unknown("conditions.", table, {"stop", "moving"})
    meanings = {}
    for key, codes in table.items():
        if isinstance(codes, list) and all(isinstance(c, str) for c in codes):
            meanings[key] = tuple(codes)
        else:
            notes.add(f"conditions.{key}", codes, NotCodes(key=key))
    return meanings


def _measures(
    notes: Notes, tables: Mapping[str, Any], more: Collection[str] = ()
) -> dict[str, Any]:
    """The fields `measures` and `broken` of the settings."""
    measures = {}
    folded = {}
    for name, table in tables.items():
        twin = folded.setdefault(str(name).casefold(), name)
        if twin != name:
            notes.add(f"measure.{name}", None, MeasureTwice(other=twin))
        if isinstance(table, Mapping):
            measures[str(name)] = _measure(notes, str(name), table, more)
        else:
            notes.add(f"measure.{name}", table, NoTable(key=f"measure.{name}"))
    return {
        "measures": {name: m for name, m in measures.items() if m is not None},
        "broken": frozenset(tables) - {name for name, m in measures.items() if m is not None},
    }


def _measure(
    notes: Notes, name: str, table: Mapping[str, Any], more: Collection[str]
) -> Measure | None:
    prefix = f"measure.{name}."
    notes.unknown(prefix, table, _MEASURE_KEYS | set(more))
    step = _step(notes, name, table)
    if step is None:
        return None
    amounts = {
        key: _amount(notes, prefix + key, table[key], step) for key in _AMOUNTS if key in table
    }
    whole = amounts.get("whole_mark")
    if whole is not None and (whole / step.size).denominator != 1:
        notes.add(prefix + "whole_mark", table["whole_mark"], NotWholeSteps(step=step))
    low, high = _range(notes, prefix + "range", table.get("range"), step)
    return Measure(
        name=name,
        step=step,
        kind=_kind(notes, prefix + "kind", table.get("kind"), step),
        low=low,
        high=high,
        limit_source=_text(notes, table, "limit_source", prefix),
        typed={key: str(table[key]).strip() for key in amounts},
        **amounts,  # type: ignore[arg-type]
    )


def _step(notes: Notes, name: str, table: Mapping[str, Any]) -> Step | None:
    key = f"measure.{name}.recorded_to"
    if "recorded_to" not in table:
        notes.add(f"measure.{name}", None, OfSettings.NO_STEP)
        return None
    quantity = parse_quantity(str(table["recorded_to"]))
    if isinstance(quantity, Refusal):
        notes.add(key, table["recorded_to"], NotAStep(why=quantity))
        return None
    if quantity[0] == 0:
        notes.add(key, table["recorded_to"], OfSettings.STEP_OF_ZERO)
        return None
    return Step(*quantity)


def _kind(notes: Notes, key: str, value: Any, step: Step) -> str | None:
    if value is None:
        return None
    if not isinstance(value, str) or value not in KINDS:
        notes.add(key, value, UnknownKind(known=tuple(KINDS)))
        return None
    if KINDS[value] != UNITS[step.unit][0]:
        notes.add(key, value, KindOfOtherUnit(kind=value, unit=step.unit))
    return str(value)


def _amount(
    notes: Notes, key: str, value: Any, step: Step, *, zero: bool = False
) -> Fraction | None:
    why: Note | None
    quantity = parse_quantity(value) if isinstance(value, str) else NotAnAmount.NOT_TEXT
    if isinstance(quantity, Note):
        why = quantity
    elif not same_kind(quantity[1], step.unit):
        why = UnitBeside(unit=quantity[1], step=step)
    else:
        why = NotAnAmount.ZERO if quantity[0] == 0 and not zero else None
    if why is not None:
        notes.add(key, value, NoAmount(why=why, example=step))
        return None
    amount, unit = quantity
    return convert(amount, unit, step.unit)


def _range(
    notes: Notes, key: str, value: Any, step: Step
) -> tuple[Fraction | None, Fraction | None]:
    if value is None:
        return None, None
    if not isinstance(value, list) or len(value) != 2:
        notes.add(key, value, OfSettings.NOT_TWO_ENDS)
        return None, None
    low = _amount(notes, key, value[0], step, zero=True)
    high = _amount(notes, key, value[1], step)
    if low is not None and high is not None and low >= high:
        notes.add(key, value, OfSettings.ENDS_EXCHANGED)
        return None, None
    return low, high
