"""Kit readings laid over a session that was made for one test."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

import pandas as pd

import anthroqa
from anthroqa.intake import Instrument
from anthroqa.intake.beside.known_loads import no_kit

# instrument, check, load and reading in steps, and perhaps position and time
Row = Sequence[str | float]
COLUMNS = ["instrument", "check", "load_steps", "reading_steps", "position", "taken_at"]


def kit_of(
    rows: Sequence[Row], *, measure: str = "length", division: float = 1.0,
    uncertainty: float = float("nan"),
) -> pd.DataFrame:  # fmt: skip
    """The table of kit readings, all of one measure; amounts in steps."""
    table = pd.DataFrame([[*row, *["", ""][len(row) - 4 :]] for row in rows], columns=COLUMNS)
    table = table.assign(
        measure=measure, division_steps=division, uncertainty_steps=uncertainty,
        load=table["load_steps"].astype(str), reading=table["reading_steps"].astype(str),
    )  # fmt: skip
    empty = no_kit()
    return table.reindex(columns=empty.columns).astype(empty.dtypes)


def with_kit(
    session: anthroqa.Session, rows: Sequence[Row], *,
    instruments: Mapping[str, Mapping[str, object]] | None = None, **kit: object,
) -> anthroqa.Session:  # fmt: skip
    """The session with kit readings of its one measure, and instruments as described."""
    (measure,) = session.measures
    described = {
        code: Instrument(code=code, **{k: _amount(v) for k, v in said.items()})
        for code, said in (instruments or {}).items()
    }
    return replace(session, kit=kit_of(rows, measure=measure, **kit), instruments=described)


def _amount(value: object) -> object:
    """`"0.1 kg"` as amount and unit; a class or a table's name as it is."""
    number, _, unit = str(value).partition(" ")
    try:
        return Fraction(number), unit
    except ValueError:
        return value
