"""What would each figure be if some readings were read another way?

Four other readings of the same session: without the readings that a slip would explain, without
those of a moving child, with readings that were taken again in place of the first, and as first
written, with the corrections taken back. The first figure
stays the figure; this table is beside it, so that nobody is told less, and nothing is dropped
quietly. Every figure is scored again by the same rules: leaving out one person's reading changes
what others are compared with too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from anthroqa.decisions.findings import decision_rows
from anthroqa.decisions.retakes import in_place
from anthroqa.intake import EVERYBODY, Session
from anthroqa.intake.entries.readings import MISSING
from anthroqa.intake.written.grammar import Count, read_count
from anthroqa.notes import NONE, Notes, notes_of
from anthroqa.notes.cells import coded, worded
from anthroqa.notes.decisions import JudgedOnAnother, LeftUnread, OtherReading
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.table import score_rows

WITHOUT_SLIPS, WITHOUT_MOVING, AS_WRITTEN = "without slips", "without moving", "as first written"
WITH_RETAKES = "with retakes"
KEY = ["measure", "measurer", "subject", "round"]
STATISTICS = [
    "within_tem", "within_tem_percent", "within_tem_resolved", "within_tem_less_shift",
    "own_round_shift", "reliability", "bias", "bias_less_instrument", "agreement_lower",
    "agreement_upper", "bias_from_others", "rms_error", "between_tem", "total_tem", "round_shift",
]  # fmt: skip
# figures and findings of a variant
Rescored = Callable[[Session, str], tuple[pd.DataFrame, pd.DataFrame]]
_FIGURE = ["measure", "measurer", "statistic"]
_NUMBERS = ["estimate", "lower", "upper"]
_OTHER = [f"other_{n}" for n in _NUMBERS]
_SAME = 1e-9  # of a figure or, near zero, of a unit: sums in another order
COLUMNS = [
    "variant", *_FIGURE, "unit", "readings", *_NUMBERS, *_OTHER,
    "state", "other_state", "note",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Variant:
    name: str
    readings: pd.DataFrame  # of the session, as they would be
    changed: pd.DataFrame  # KEY of each reading left out or changed
    unread: int  # texts that cannot be read and were left out


def variants(
    session: Session, scores: pd.DataFrame, decisions: pd.DataFrame, slips: pd.DataFrame, *,
    confidence: float = 0.90, seed: int = 0,
) -> pd.DataFrame:  # fmt: skip
    """Figures that would change without slips or moving children, with retakes, as first written.

    Parameters
    ----------
    session : Session
    scores, decisions : pandas.DataFrame
        What `score` and `decide` gave for it, with this `confidence` and `seed`.
    slips : pandas.DataFrame
        Readings to leave out: at least `measure, measurer, subject, round`.
    confidence : float, default 0.90
    seed : int, default 0

    Returns
    -------
    pandas.DataFrame
        `variant, measure, measurer, statistic, unit, readings, estimate, lower, upper,
        other_estimate, other_lower, other_upper, state, other_state, note`: a row a figure that
        changes. `readings` are left out or changed, of that person and measure (0 where only
        those compared with are; for `(all)` everybody's). `other_` is what it would be; a
        state stands where that figure is judged on. Amounts are in `unit`.

    Examples
    --------
    Pairs that differ by 2, 0 and 60 steps: the last one is taken for a slip, and the TEM
    without it is the root of (4 + 0) / (2 x 2), 1 step.

    >>> import anthroqa
    >>> frame = pd.DataFrame({"measurer": "A", "subject": list("112233"), "measure": "length",
    ...                       "round": [1, 2] * 3,
    ...                       "reading": ["70.1", "70.3", "75.0", "75.0", "71.0", "77.0"]})
    >>> session = anthroqa.Session.from_frame(
    ...     frame, measures={"length": {"recorded_to": "0.1 cm"}})
    >>> scores = anthroqa.score(session)
    >>> slips = pd.DataFrame(
    ...     {"measure": ["length"], "measurer": ["A"], "subject": ["3"], "round": [2]})
    >>> table = variants(session, scores, anthroqa.decide(scores, session), slips)
    >>> tem = table[table["statistic"] == "within_tem"]
    >>> tem[["estimate", "other_estimate"]].round(2).values.tolist()
    [[2.45, 0.1]]
    """

    def rescored(other: Session, _: str) -> tuple[pd.DataFrame, pd.DataFrame]:
        again = score_rows(list(cubes(other)), confidence=confidence, seed=seed, only=STATISTICS)
        return again, decision_rows(again, other) if len(again) else decisions.iloc[:0]

    return worded(variant_rows(session, coded(scores), coded(decisions), slips, rescored))


def variant_rows(
    session: Session, scores: pd.DataFrame, decisions: pd.DataFrame, slips: pd.DataFrame,
    rescored: Rescored,
) -> pd.DataFrame:  # fmt: skip
    """The figures that would change, as `variants` gives them, with codes in `note`."""
    parts = [
        _compared(variant, session, scores, decisions, rescored)
        for variant in _variants(session, slips)
        if len(variant.changed)
    ]
    parts = [part for part in parts if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=COLUMNS)


def _variants(session: Session, slips: pd.DataFrame) -> Iterator[_Variant]:
    readings = session.readings
    first = readings["retake"].isna() if "retake" in readings else pd.Series(True, readings.index)
    keys = pd.MultiIndex.from_frame(readings[KEY])
    named = pd.MultiIndex.from_frame(slips[KEY].astype({"round": "int64"}))
    moving = session.conditions.get("moving", ())
    condition = readings["condition"] if "condition" in readings else pd.Series("", readings.index)
    for name, out in (
        (WITHOUT_SLIPS, keys.isin(named) & first),
        (WITHOUT_MOVING, condition.isin(moving) & first),
    ):
        yield _Variant(name=name, readings=readings[~out], changed=readings.loc[out, KEY], unread=0)
    yield _with_retakes(readings)
    yield _as_written(session, keys, first)


def _with_retakes(readings: pd.DataFrame) -> _Variant:
    """The last retake in place of the first reading, where there is one."""
    again = readings["retake"].notna() if "retake" in readings else []
    changed = readings.loc[again, KEY].drop_duplicates() if len(again) else readings.loc[[], KEY]
    return _Variant(name=WITH_RETAKES, readings=in_place(readings), changed=changed, unread=0)


def _as_written(session: Session, keys: pd.MultiIndex, first: pd.Series) -> _Variant:
    """The readings with every correction taken back."""
    readings = session.readings.copy()
    readings["converted"] = readings.get("converted", False)
    out = np.zeros(len(readings), dtype=bool)
    added, unread = [], 0
    for row in session.corrections.to_dict("records"):
        at = (keys == tuple(row[k] for k in KEY)) & first
        read = _read(row["written"], session, row["measure"])
        if read is None:
            unread += row["written"] not in MISSING
            out |= at
        elif at.any():
            held = readings.loc[at, "count_tare"] if "count_tare" in readings else 0
            readings.loc[at, "count"] = read.steps - held
            readings.loc[at, "converted"] = read.converted
            if "count_read" in readings:
                readings.loc[at, "count_read"] = read.steps
        elif "count_tare" in readings:
            unread += 1  # set aside, and what the caregiver weighed with it
        else:
            added.append({
                **{k: row[k] for k in KEY}, "count": read.steps, "converted": read.converted,
                **_of_subject(readings, row["subject"]),
            })  # fmt: skip
    kept = readings[~out]
    if added:
        kept = pd.concat([kept, pd.DataFrame(added)], ignore_index=True)
    return _Variant(name=AS_WRITTEN, readings=kept, changed=session.corrections[KEY], unread=unread)


def _read(written: str, session: Session, measure: str) -> Count | None:
    """The steps of a text; None where it can be read in no way."""
    for comma in (False, True):
        read = read_count(written, session.measures[measure].step, decimal_comma=comma)
        if isinstance(read, Count):
            return read
    return None


def _of_subject(readings: pd.DataFrame, subject: str) -> dict[str, str]:
    of = readings[readings["subject"] == subject]
    return {"group": of["group"].iloc[0]} if "group" in readings and len(of) else {}


def _compared(
    variant: _Variant, session: Session, scores: pd.DataFrame, decisions: pd.DataFrame,
    rescored: Rescored,
) -> pd.DataFrame:  # fmt: skip
    """The figures of the measures touched that are others, with what is decided on each."""
    touched = set(variant.changed["measure"])
    other = replace(
        session, readings=variant.readings[variant.readings["measure"].isin(touched)],
        measures={n: m for n, m in session.measures.items() if n in touched},
    )  # fmt: skip
    again, found = rescored(other, variant.name)
    base = scores["statistic"].str.split(":").str[0]
    mine = scores[scores["measure"].isin(touched) & base.isin(STATISTICS)]
    table = _side_by_side(mine, again)
    n = variant.changed.groupby(["measure", "measurer"]).size()
    n_all = variant.changed.groupby("measure").size()
    now, then = _judged(decisions), _judged(found)
    on = {(*key[:2], d["question"]): d for key, d in then.items()}
    rows = []
    for row in table.to_dict("records"):
        key = tuple(row[k] for k in _FIGURE)
        notes = _why_blank(row)
        if key in now and key not in then and (other_ := on.get((*key[:2], now[key]["question"]))):
            notes += notes_of(JudgedOnAnother(statistic=other_["statistic"], state=other_["state"]))
        if variant.unread:
            notes += notes_of(LeftUnread(readings=variant.unread))
        rows.append({
            **row, "variant": variant.name, "note": notes,
            "readings": int(n_all[key[0]] if key[1] == EVERYBODY else n.get(key[:2], 0)),
            "state": now[key]["state"] if key in now else "",
            "other_state": then[key]["state"] if key in then else "",
        })  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def _side_by_side(mine: pd.DataFrame, again: pd.DataFrame) -> pd.DataFrame:
    """Figures that differ, in the order of the score table."""
    figures = pd.concat([mine, again])[[*_FIGURE, "unit"]].drop_duplicates(_FIGURE)
    left = mine[[*_FIGURE, *_NUMBERS]]
    right = again[[*_FIGURE, *_NUMBERS, "note"]].rename(columns={n: f"other_{n}" for n in _NUMBERS})
    table = figures.merge(left, on=_FIGURE, how="left")
    table = table.merge(right, on=_FIGURE, how="left", indicator="left")
    one, two = (table[names].to_numpy(float) for names in (_NUMBERS, _OTHER))
    same = np.isclose(one, two, rtol=_SAME, atol=_SAME, equal_nan=True)
    return table[~same.all(axis=1)]


def _judged(decisions: pd.DataFrame) -> dict[tuple[str, ...], dict[str, str]]:
    """The decisions by the figure that each was made on."""
    return {tuple(d[k] for k in _FIGURE): d for d in decisions.to_dict("records")}


def _why_blank(row: dict) -> Notes:
    """Why the other figure or its interval is blank where the first one is not."""
    if row["left"] == "left_only":
        return notes_of(OtherReading.NONE_LEFT)
    blank = np.isnan(row["other_lower"]) and not np.isnan(row["lower"])
    return row["note"] if blank or np.isnan(row["other_estimate"]) else NONE
