"""Did an instrument move from one session to the next?

Errors against known loads come from each session's `known_loads.csv` (`scores.known_loads`). A
load is held against the first session that has it; the uncertainties of both sessions go into the
change, as if the standards were not the same ones (where they are, the interval is wider than it
need be).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from anthroqa.notes.cells import worded
from anthroqa.program.staff.sessions import Program
from anthroqa.scores.instruments.known_load_errors import instrument_figures

COLUMNS = [
    "measure", "instrument", "check", "load", "session", "date", "error", "lower", "upper",
    "change", "change_lower", "change_upper", "unit", "note",
]  # fmt: skip
ERRORS = ("load", "zero", "rod")


def instrument_drifts(program: Program, *, confidence: float = 0.90) -> pd.DataFrame:
    """What each instrument showed for each known load by session, and the change since the first.

    Parameters
    ----------
    program : Program
    confidence : float, default 0.90
        Of the intervals, each on its own.

    Returns
    -------
    pandas.DataFrame
        `measure, instrument, check, load, session, date, error, lower, upper, change,
        change_lower, change_upper, unit, note`; `change` is NaN in the first session of a load.
    """
    return worded(instrument_drift_rows(program, confidence=confidence))


def instrument_drift_rows(program: Program, *, confidence: float) -> pd.DataFrame:
    """What `instrument_drifts` gives, with codes in `note`."""
    parts = []
    for session in program.sessions:
        if len(session.known_loads):
            figures = instrument_figures(session, confidence=confidence)
            kept = figures["statistic"].eq("error") & figures["check"].isin(ERRORS)
            parts.append(figures[kept].assign(session=session.name, date=session.date))
    if not parts:
        return pd.DataFrame(columns=COLUMNS)
    table = pd.concat(parts, ignore_index=True).rename(columns={"estimate": "error"})
    place = {name: i for i, name in enumerate(program.measures)}
    table = table.assign(place=table["measure"].map(place)).sort_values(
        ["place", "instrument", "check", "load", "date", "session"], kind="stable"
    )
    half = (table["upper"] - table["lower"]) / 2
    key = [table[c] for c in ("measure", "instrument", "check", "load")]
    later = table.groupby(key, sort=False).cumcount() > 0
    first = table.groupby(key, sort=False)["error"].transform("first")
    width = np.hypot(half, half.groupby(key, sort=False).transform("first"))
    table["change"] = (table["error"] - first).where(later)
    table["change_lower"] = table["change"] - width
    table["change_upper"] = table["change"] + width
    return table[COLUMNS].reset_index(drop=True)


def moved_instruments(drifts: pd.DataFrame) -> pd.DataFrame:
    """A row for each instrument that moved: its best known load in the last session that has it.

    An instrument has moved if, at more than half of its loads, the interval of the change since
    the first session excludes zero on one and the same side (common practice, no source: one load
    among many is off by chance). `drifts` is what `instrument_drifts` gave.
    """
    instrument = ["measure", "instrument"]
    last = drifts[drifts["change"].notna()]
    last = last.drop_duplicates([*instrument, "check", "load"], keep="last")
    side = (last["change_lower"] > 0).astype(int) - (last["change_upper"] < 0).astype(int)
    part = side.groupby([last[key] for key in instrument], sort=False).transform("mean")
    moved = last[(part.abs() > 0.5) & (side * part > 0)]
    width = (moved["change_upper"] - moved["change_lower"]).sort_values(kind="stable")
    return moved.loc[width.index].drop_duplicates(instrument).sort_index()
