"""What does the program say about its instruments: class, division, uncertainty of the standard?

The `[instrument.CODE]` tables of `session.toml`. All keys are optional: without a class there
is no published tolerance, without a division the measure's step is taken, without an
uncertainty the test masses and rods are taken as exact (and that is said).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Protocol

from anthroqa.intake.written.grammar import parse_quantity
from anthroqa.intake.written.steps import UNITS, same_kind
from anthroqa.notes import Note
from anthroqa.notes.intake.settings import (
    InstrumentTwice,
    NoAmount,
    NoTable,
    NotAnAmount,
    OfSettings,
    UnknownChoice,
)

CLASSES = ("I", "II", "III", "IIII")
TABLES = ("handbook 44", "oiml r76")
_KEYS = {"accuracy_class", "division", "uncertainty", "tolerance_table", "capacity"}
_AMOUNTS = ("division", "uncertainty", "capacity")
_EXAMPLES = {"division": "0.1 kg", "uncertainty": "5 g", "capacity": "400 lb"}

Amount = tuple[Fraction, str]  # and its unit


class Notes(Protocol):
    """Where problems of the settings are noted."""

    def add(self, key: str, found: object, code: Note) -> None:
        """One problem of one key."""

    def unknown(self, prefix: str, keys: Mapping[str, Any], known: set[str]) -> None:
        """A problem for each key that is not known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One instrument as described; what is not said is None."""

    code: str
    accuracy_class: str | None = None  # of the verification: I, II, III or IIII
    division: Amount | None = None  # what its display or beam is marked in
    uncertainty: Amount | None = None  # of the test masses or rods, expanded (k = 2)
    capacity: Amount | None = None
    tolerance_table: str | None = None


def read_instruments(notes: Notes, tables: Any) -> dict[str, Instrument]:
    """The instruments in the `instrument` tables of the settings; problems go to `notes`."""
    if not isinstance(tables, Mapping):
        notes.add("instrument", tables, OfSettings.NO_TABLE_OF_INSTRUMENTS)
        return {}
    found, folded = {}, {}
    for code, table in tables.items():
        key = f"instrument.{code}"
        twin = folded.setdefault(str(code).casefold(), code)
        if twin != code:
            notes.add(key, None, InstrumentTwice(other=twin))
        if isinstance(table, Mapping):
            found[str(code)] = _instrument(notes, str(code), table)
        else:
            notes.add(key, table, NoTable(key=key))
    return found


def _instrument(notes: Notes, code: str, table: Mapping[str, Any]) -> Instrument:
    prefix = f"instrument.{code}."
    notes.unknown(prefix, table, _KEYS)
    amounts = {k: _amount(notes, prefix, k, table[k]) for k in _AMOUNTS if k in table}
    units = {amount[1] for amount in amounts.values() if amount}
    if any(not same_kind(unit, other) for unit in units for other in units):
        notes.add(f"instrument.{code}", None, OfSettings.MASSES_AND_LENGTHS)
    return Instrument(
        code=code,
        accuracy_class=_choice(notes, prefix, "accuracy_class", table, CLASSES, {"iv": "IIII"}),
        tolerance_table=_choice(notes, prefix, "tolerance_table", table, TABLES, {}),
        **amounts,
    )


def _amount(notes: Notes, prefix: str, key: str, value: Any) -> Amount | None:
    quantity = parse_quantity(value) if isinstance(value, str) else NotAnAmount.NOT_TEXT
    if not isinstance(quantity, Note) and quantity[0] == 0 and key != "uncertainty":
        quantity = NotAnAmount.ZERO
    if isinstance(quantity, Note):
        notes.add(prefix + key, value, NoAmount(why=quantity, example=_EXAMPLES[key]))
        return None
    return quantity


def _choice(
    notes: Notes, prefix: str, key: str, table: Mapping[str, Any], choices: tuple[str, ...],
    also: Mapping[str, str],
) -> str | None:  # fmt: skip
    """One of a few words, whatever its case, spaces and hyphens."""
    if key not in table:
        return None
    known = {_bare(choice): choice for choice in choices} | dict(also)
    value = table[key]
    if isinstance(value, str) and _bare(value) in known:
        return known[_bare(value)]
    notes.add(prefix + key, value, UnknownChoice(choices=choices))
    return None


def _bare(text: str) -> str:
    return re.sub(r"[\s_-]+", "", text.casefold())


def kind_of(amount: Amount) -> str:
    """`mass` or `length`."""
    return UNITS[amount[1]][0]
