"""Is each instrument within what legal metrology allows at the loads it was tested with?

The whole interval of an error is held against the published tolerance on either side of zero,
in the same three states as people (JCGM 106:2012, guard bands). A standard whose expanded
uncertainty is over a third of the tolerance judges nothing (Handbook 44, Appendix A, 3.2, from
memory; R 76-1:2006, 3.7.1, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from anthroqa.decisions.findings import NOT_JUDGED, NOT_SETTLED, OVER, WITHIN
from anthroqa.decisions.tolerances import HANDBOOK_44, OIML_R76, Tolerance, tolerance
from anthroqa.intake import Instrument, Measure, Session
from anthroqa.intake.written.steps import CUSTOMARY, UNITS, convert
from anthroqa.notes import NONE, Notes, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.decisions import NoAccuracyClass, OfTolerance
from anthroqa.scores.instruments.known_load_errors import instrument_figures
from anthroqa.scores.layout.figures import check_confidence

COLUMNS = [
    "instrument", "measure", "check", "load", "statistic", "estimate", "lower", "upper", "unit",
    "tolerance", "tolerance_source", "state", "readings", "note",
]  # fmt: skip
# R 76-1:2006, 3.5, 3.6.1, 3.6.2; Handbook 44, T.N.5 (memory)
_PUBLISHED = ("error", "repeat_range")
_BORROWED = ("linearity", "off_centre_spread", "drift")
_TOO_UNCERTAIN = 1 / 3  # of the tolerance


def instrument_checks(session: Session, *, confidence: float = 0.90) -> pd.DataFrame:
    r"""What each instrument showed for known loads, beside the published tolerance.

    Parameters
    ----------
    session : Session
        With its `known_loads.csv`; `accuracy_class`, `division` and `uncertainty` of an
        instrument come from `[instrument.CODE]` in `session.toml`.
    confidence : float, default 0.90
        Coverage of every two-sided interval, between 0 and 1.

    Returns
    -------
    pandas.DataFrame
        `instrument, measure, check, load, statistic, estimate, lower, upper, unit, tolerance,
        tolerance_source, state, readings, note`; empty without a file of known loads. `load`
        and amounts are in `unit`. Statistics are `error` (mean reading less load;
        `error:POSITION` off the centre), `linearity` (largest distance of an error from their
        straight line), `repeat_sd`, `repeat_range`, `off_centre_spread`, `drift` (last less
        first time) and `joint` (rods on one side less the other). `state` is `within limit`,
        `over limit`, `not settled` or `not judged`: lengths have no legal class, `repeat_sd` and
        `joint` no tolerance, and linearity, spread and drift borrow that of their load.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2, F.2.2.1 and G.4.1; NIST Handbook 44, section 2.20, Table 6; OIML
    R 76-1:2006, Table 6, 3.5.2, 3.6.1 and 3.6.2; see `decisions.tolerances` for how each was read.

    Examples
    --------
    A class III scale with divisions of 0.1 kg shows 10.2 kg for a mass of 10 kg; in use 0.1 kg is
    allowed there. Rounding alone makes the interval: 0.2 kg give or take 1.645 x 0.1 / root 12.

    >>> import tempfile, pathlib, anthroqa
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (folder / "session.toml").write_text(
    ...     '[measure.mass]\nrecorded_to = "0.1 kg"\n[instrument.S]\naccuracy_class = "III"')
    >>> _ = (folder / "readings.csv").write_text(
    ...     "measurer,subject,measure,round,reading,instrument\nA,C1,mass,1,7.3,S\n")
    >>> _ = (folder / "known_loads.csv").write_text(
    ...     "instrument,measure,check,load,reading\nS,mass,load,10 kg,10.2\n")
    >>> table = anthroqa.instrument_checks(anthroqa.read_session(folder))
    >>> row = table[table["statistic"] == "error"].iloc[0]
    >>> row["state"], [round(float(row[c]), 3) for c in ("tolerance", "lower", "upper")]
    ('over limit', [0.1, 0.153, 0.247])
    """
    return worded(instrument_check_rows(session, confidence=confidence))


def instrument_check_rows(session: Session, *, confidence: float) -> pd.DataFrame:
    """The checks of a session, as `instrument_checks` gives them, with codes in `note`."""
    check_confidence(confidence)
    found = instrument_figures(session, confidence=confidence)
    rows = [
        row
        for (code, name), part in found.groupby(["instrument", "measure"], sort=False)
        for row in _judged(
            part,
            session.instruments.get(code, Instrument(code=code)),
            session.measures[name],
        )
    ]
    frame = pd.DataFrame(rows, columns=COLUMNS)
    return frame.astype({"tolerance": float})


def _judged(part: pd.DataFrame, instrument: Instrument, measure: Measure) -> Iterator[tuple]:
    step = measure.step
    division = instrument.division or (step.size, step.unit)
    table = instrument.tolerance_table or (HANDBOOK_44 if division[1] in CUSTOMARY else OIML_R76)
    chosen = None if instrument.tolerance_table else OfTolerance.CHOSEN_BY_UNIT
    size, uncertainty, capacity = (
        None if amount is None else float(convert(*amount, step.unit))
        for amount in (division, instrument.uncertainty, instrument.capacity)
    )
    for row in part.itertuples():
        base = row.statistic.split(":")[0]
        why = _unjudged(base, row, instrument, measure)
        allowed = Tolerance(None, "")
        if not why:
            allowed = tolerance(row.load / size, instrument.accuracy_class, table)
            why = NONE if allowed.divisions else notes_of(OfTolerance.PAST_THE_TABLE)
        limit = float("nan") if why else allowed.divisions * size
        if not why and row.load and (uncertainty or 0) > limit * _TOO_UNCERTAIN:
            why = notes_of(OfTolerance.STANDARD_UNCERTAIN)
        state = NOT_JUDGED if why else _state(row.lower, row.upper, limit)
        held = limit == limit
        note = notes_of(
            why, row.note if why is not row.note else None,
            OfTolerance.ABOVE_CAPACITY if capacity is not None and row.load > capacity else None,
            OfTolerance.OF_ITS_LOAD if base in _BORROWED and held else None,
            chosen if held else None, OfTolerance.LICENSED_ADJUST if state == OVER else None,
        )  # fmt: skip
        yield (
            row.instrument, row.measure, row.check, row.load, row.statistic, row.estimate,
            row.lower, row.upper, row.unit, limit, allowed.source, state, row.readings, note,
        )  # fmt: skip


def _unjudged(base: str, row, instrument: Instrument, measure: Measure) -> Notes:
    """Why there is no tolerance to hold a figure against; empty where there is one."""
    if row.estimate != row.estimate:
        return row.note
    if UNITS[measure.step.unit][0] == "length":
        return notes_of(OfTolerance.NO_CLASS_FOR_LENGTHS)
    if base not in (*_PUBLISHED, *_BORROWED):
        return notes_of(OfTolerance.RANGE_IS_JUDGED)
    if instrument.accuracy_class is None:
        return notes_of(NoAccuracyClass(instrument=instrument.code))
    return NONE


def _state(lower: float, upper: float, limit: float) -> str:
    """Where the whole interval lies; a tolerance itself is still allowed."""
    if -limit <= lower and upper <= limit:
        return WITHIN
    return OVER if lower > limit or upper < -limit else NOT_SETTLED
