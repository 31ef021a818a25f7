"""Which kinds of slip could this session not show?

A kind is too small to tell where, on at least half of the subjects, it moves a reading by no more
than what is far here; or where more than half of random errors of its size would be explained by
the catalogue as well. Judged at a usual reader's spread, on the marks nearest to where the
subjects lie. Both halves: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise

import numpy as np
import pandas as pd

from anthroqa.intake import Session
from anthroqa.intake.written.slip_catalogue import TABLE, Kind, on_display, written_for
from anthroqa.notes import Note
from anthroqa.notes.cells import worded
from anthroqa.notes.scores.odd import FitsByChance, MovesTooLittle
from anthroqa.notes.scores.slips import Slip, Slipped
from anthroqa.scores.layout.cube import Array, cubes
from anthroqa.scores.odd.exchanges import Laid
from anthroqa.scores.odd.expectation import of_subjects
from anthroqa.scores.odd.explained import lay_out
from anthroqa.scores.odd.explanations import Odd, chance, on_displays

COLUMNS = ("measure", "kind", "size", "unit", "spread", "why")
_HALF = 0.5


def hidden_kinds(session: Session) -> pd.DataFrame:
    """Kinds of slip that are too small to tell from chance in this session.

    Parameters
    ----------
    session : Session

    Returns
    -------
    pandas.DataFrame
        One row a measure and kind: `measure, kind, size, unit, spread, why`. `size` is by how
        much such a slip would usually move a reading here, `spread` one standard deviation of a
        usual reading about its expectation; both in `unit`.

    Examples
    --------
    Three people read three children to 0.5 kg or so; half a kilogram more would not be seen.

    >>> import anthroqa
    >>> rows = [(p, s, 1, f"{r + e:.1f}") for p, e in (("A", -0.5), ("B", 0), ("C", 0.5))
    ...         for s, r in (("1", 7.5), ("2", 9.3), ("3", 12.8))]
    >>> frame = pd.DataFrame(rows, columns=["measurer", "subject", "round", "reading"])
    >>> session = anthroqa.Session.from_frame(
    ...     frame.assign(measure="weight"), measures={"weight": {"recorded_to": "0.1 kg"}})
    >>> hidden_kinds(session)["kind"].tolist()[:1]
    ['misread by 0.5 kg']
    """
    return worded(hidden_rows(lay_out(session, cubes(session))), "kind", "why")


def hidden_rows(measures: Mapping[str, Laid]) -> pd.DataFrame:
    """The kinds of the measures of `lay_out`, as `hidden_kinds` gives them, with codes."""
    rows = [row for measure in measures.values() for row in _rows(measure)]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _rows(m: Laid) -> Iterator[dict[str, object]]:
    """The rows of one measure; none where nobody's reading has an expectation."""
    limits = m.of.limit[~np.isnan(m.of.value) & ~np.isnan(m.of.limit)]
    if not len(limits):
        return
    limit, size = float(np.median(limits)), m.step.size
    spread = float(np.nanmedian(m.of.spread[~np.isnan(m.of.value)]))
    where = of_subjects(m.of.value)
    marks = [round(v) for v in where[~np.isnan(where)]]
    sizes = {kind.slip: _on_display(m, kind, marks) for kind in on_display(m.step)}
    sizes |= dict(_on_table(m, where))
    for slip, moves in sizes.items():
        if not moves:
            continue
        usual = float(np.median(moves))
        why: Note = MovesTooLittle(limit=float(limit * size), unit=m.step.unit)
        if usual > limit:
            if slip in TABLE:
                continue
            share = _by_chance(m, marks[len(marks) // 2], usual, spread, limit)
            if share <= _HALF:
                continue
            why = FitsByChance(share=share)
        yield {
            "measure": m.cube.measure.name, "kind": slip, "size": float(usual * size),
            "unit": m.step.unit, "spread": float(spread * size), "why": why,
        }  # fmt: skip


def _on_display(m: Laid, kind: Kind, marks: list[int]) -> list[float]:
    """By how many steps a kind moves the readings of the subjects."""
    if kind.way == "point" and (m.step.by_halves or m.step.unit == "oz"):
        return []
    size = float(m.step.size)
    half = float(kind.mark) / 2 if kind.way in ("tenths", "ounces") else 0.0
    return [
        abs((low + high) / 2 / size - mark)
        for mark in marks
        for low, high in written_for(kind, mark * size - half, mark * size + half, m.step, "pounds")
    ]


def _by_chance(m: Laid, mark: int, usual: float, spread: float, limit: float) -> float:
    """How often a random error of a usual size would be explained by what acts on a display."""
    x = mark + round(usual)
    odd = Odd(x=x, gross=x, tare=0, style="pounds", value=mark, spread=spread, limit=limit)
    return chance(odd, list(on_displays(odd, m.step)), 0)


def _on_table(m: Laid, where: Array) -> Iterator[tuple[Slip, list[float]]]:
    """By how many steps the kinds that need a second place move a reading."""
    known = where[~np.isnan(where)]
    between = [abs(a - b) for i, a in enumerate(known) for b in known[:i]]
    yield Slipped.SUBJECTS_EXCHANGED, between
    after = [abs(b - a) for a, b in pairwise(known)]
    yield Slipped.CARRIED_FORWARD, after
    yield Slipped.SHEET_SHIFTED, after
    if m.cube.tare.any():
        tares = of_subjects(np.where(m.cube.seen & (m.cube.tare > 0), m.cube.tare, np.nan))
        tares = tares[~np.isnan(tares)]
        yield Slipped.TARE_FORGOTTEN, [float(t) for t in tares]
        yield Slipped.TARE_TWICE, [float(t) for t in tares if t < np.median(known)]
        yield (
            Slipped.ANOTHER_TARE,
            [abs(a - b) for i, a in enumerate(tares) for b in tares[:i]],
        )
