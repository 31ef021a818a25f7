"""Kit readings laid over a session that was made for one test."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

import pandas as pd

import anthroqa
from anthroqa.intake import Instrument
from anthroqa.intake.entries.known_loads import no_known_loads

# instrument, check, load and reading in steps, and perhaps position and time
Row = Sequence[str | float]
COLUMNS = ["instrument", "check", "load_steps", "reading_steps", "position", "taken_at"]


def known_loads_of(
    rows: Sequence[Row], *, measure: str = "length", division: float = 1.0,
    uncertainty: float = float("nan"),
) -> pd.DataFrame:  # fmt: skip
    """The table of known loads, all of one measure; amounts in steps."""
    table = pd.DataFrame([[*row, *["", ""][len(row) - 4 :]] for row in rows], columns=COLUMNS)
    table = table.assign(
        measure=measure, division_steps=division, uncertainty_steps=uncertainty,
        load=table["load_steps"].astype(str), reading=table["reading_steps"].astype(str),
    )  # fmt: skip
    empty = no_known_loads()
    return table.reindex(columns=empty.columns).astype(empty.dtypes)


def with_known_loads(
    session: anthroqa.Session, rows: Sequence[Row], *,
    instruments: Mapping[str, Mapping[str, object]] | None = None, **more: object,
) -> anthroqa.Session:  # fmt: skip
    """The session with known loads of its one measure, and instruments as described."""
    (measure,) = session.measures
    described = {
        code: Instrument(code=code, **{k: _amount(v) for k, v in said.items()})
        for code, said in (instruments or {}).items()
    }
    return replace(
        session, known_loads=known_loads_of(rows, measure=measure, **more), instruments=described
    )


def _amount(value: object) -> object:
    """`"0.1 kg"` as amount and unit; a class or a table's name as it is."""
    number, _, unit = str(value).partition(" ")
    try:
        return Fraction(number), unit
    except ValueError:
        return value
