"""How does the error of a single reading divide, and which part is the largest?

The variances are those of the score table (`variances`); a shift between rounds, fixed there,
counts here as what it adds to the square of a TEM: the mean square of the rounds of a group
about their mean, with its own df. How sure it is which part to work on first is the share of the
pivotal draws in which it is the largest.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from anthroqa.intake import Session
from anthroqa.notes import Note, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.scores.components import Components
from anthroqa.scores.components.crossed import below_zero, no_instruments
from anthroqa.scores.components.fitted import Variances, variances
from anthroqa.scores.components.generalised_pivots import DRAWS, interval
from anthroqa.scores.components.likelihood import INTERACTION, MEASURER, REPEAT
from anthroqa.scores.layout.cube import Array, Cube, cubes
from anthroqa.scores.layout.figures import check_confidence

COLUMNS = ["measure", "part", "sd", "share", "lower", "upper", "unit", "largest", "note"]
PARTS = (
    "between measurers", "measurer with subject", "repeat error", "shift between rounds",
    "instrument",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Part:
    """One part's variance in squared steps, and its draws; NaN and none where it cannot be had."""

    variance: float = np.nan
    draws: Array | None = None
    note: Note | None = None


def parts(session: Session, *, confidence: float = 0.90, seed: int = 0) -> pd.DataFrame:
    """How the error of a single reading divides, for each measure.

    Parameters
    ----------
    session : Session
    confidence : float, default 0.90
        Coverage of the two-sided intervals of shares, between 0 and 1.
    seed : int, default 0
        For the draws behind the intervals.

    Returns
    -------
    pandas.DataFrame
        `measure, part, sd, share, lower, upper, unit, largest, note`, five parts a measure:
        between measurers, measurer with subject, repeat error, shift between rounds,
        instrument. `sd` is in `unit`; `share`, `lower` and `upper` are per cent of the summed
        variance of those parts that can be had, a variance below zero taken as zero. `largest`
        is the chance (0 to 1) that the part is the largest. NaN is blank, the reason in `note`.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.

    References
    ----------
    Burdick, Borror & Montgomery (2005) Design and Analysis of Gauge R&R Studies, chapters 2 and
    3 (from memory).

    Examples
    --------
    B reads 6 steps above A on both subjects; repeats differ by 1. Mean squares are 72 for staff, 0
    for measurer with subject and 2/3 for repeats; the last two together are 2 / 4, so the
    variance of measurers is (72 - 0.5) / 4 squared steps.

    >>> import anthroqa
    >>> from anthroqa.scores import parts
    >>> frame = pd.DataFrame({
    ...     "measurer": list("AAAABBBB"), "subject": list("11221122"), "measure": "length",
    ...     "round": [1, 2] * 4,
    ...     "reading": ["70.0", "70.1", "75.1", "75.0", "70.6", "70.7", "75.7", "75.6"]})
    >>> session = anthroqa.Session.from_frame(
    ...     frame, measures={"length": {"recorded_to": "0.1 cm"}})
    >>> float(parts(session).loc[0, "sd"].round(4)), round(0.1 * (71.5 / 4) ** 0.5, 4)
    (0.4228, 0.4228)
    """
    return worded(part_rows(cubes(session), confidence=confidence, seed=seed))


def part_rows(of: Iterable[Cube], *, confidence: float, seed: int) -> pd.DataFrame:
    """The parts of the error of the cubes of a session, as `parts` gives them, with codes."""
    check_confidence(confidence)
    rows = []
    for cube in of:
        rng = np.random.default_rng([seed, zlib.crc32(cube.measure.name.encode())])
        found = _found(cube, variances(cube, rng), rng)
        rows += _rows(cube, found, confidence)
    return pd.DataFrame(rows, columns=COLUMNS)


def _found(cube: Cube, of: Variances | None, rng: np.random.Generator) -> list[_Part]:
    if of is None:
        return [_Part(note=Components.NOBODY)] * len(PARTS)
    v, draws, once = of.fit.variance, of.lifted, of.why_no_repeat
    if of.why_none:
        return [_Part(note=of.why_none)] * len(PARTS)
    between = _Part(
        variance=v[MEASURER], draws=draws.measurer,
        note=below_zero(of.moments.measurer, v[MEASURER], cube),
    )  # fmt: skip
    if once:
        together = _Part(note=once)
        repeat = _Part(
            variance=v[INTERACTION], draws=draws.interaction, note=Components.INTERACTION_INSIDE
        )
    else:
        negative = below_zero(of.moments.interaction, v[INTERACTION], cube)
        together = _Part(variance=v[INTERACTION], draws=draws.interaction, note=negative)
        repeat = _Part(variance=v[REPEAT], draws=draws.repeat)
    instrument = _Part(note=no_instruments(cube))
    if of.instruments is not None:
        instrument = _Part(variance=of.instruments.variance, draws=of.instruments.draws)
    return [between, together, repeat, _shift(of, rng), instrument]


def _shift(of: Variances, rng: np.random.Generator) -> _Part:
    """What a shift between rounds adds to the square of a TEM."""
    group, n = of.cells.group, len(of.cells.group)
    df = n - len(np.unique(group))
    if not df or not len(of.fit.fixed):
        return _Part(note=Components.ONE_ROUND)
    own = (group[:, None] == group).astype(float)
    centre = np.eye(n) - own / own.sum(axis=1)  # takes out the mean of each group
    shift = centre @ of.fit.fixed[:n]
    spread = centre @ of.fit.covariance[:n, :n] @ centre.T
    size, turned = np.linalg.eigh(spread)
    noise = turned @ (np.sqrt(np.maximum(size, 0.0))[:, None] * rng.standard_normal((n, DRAWS)))
    last = of.fit.variance[REPEAT]
    scale = np.sqrt(of.draws.repeat / last) if last > 0 else 1.0
    drawn = shift[:, None] + noise * scale
    return _Part(
        variance=max(float(shift @ shift - np.trace(spread)) / df, 0.0),
        draws=(drawn**2).sum(axis=0) / df,
    )


def _rows(cube: Cube, found: list[_Part], confidence: float) -> list[dict[str, object]]:
    there = [part for part in found if part.draws is not None]
    total = sum(part.variance for part in there)
    drawn = np.maximum(np.array([part.draws for part in there]), 0.0)
    drawn_total = drawn.sum(axis=0)
    can = total > 0 and bool((drawn_total > 0).all())
    rows = []
    for name, part in zip(PARTS, found, strict=True):
        sd = share = lower = upper = largest = np.nan
        if can and part.draws is not None:
            at = there.index(part)
            sd, share = float(np.sqrt(part.variance)) * cube.size, 100 * part.variance / total
            ends = interval(100 * drawn[at] / drawn_total, confidence)
            lower, upper = min(ends[0], share), max(ends[1], share)
            largest = float((drawn.argmax(axis=0) == at).mean())
        rows.append({
            "measure": cube.measure.name, "part": name, "sd": sd, "share": share, "lower": lower,
            "upper": upper, "unit": cube.measure.step.unit, "largest": largest,
            "note": notes_of(part.note or (None if can else Components.NOTHING_TO_DIVIDE)),
        })  # fmt: skip
    return rows
