"""How much of a reading's spread is the subject, the person, both together, and the repeat?

Rows of the score table from the variances of `variances`. `sd_reproducibility` is that of single
readings of one subject by many people. The intraclass correlations are of one reading: ICC(A,1)
and ICC(C,1) of McGraw & Wong (1996) Psychol. Methods 1:30-46. In single complete readings their
intervals are those of Table 7 there (from memory), all others are generalised pivotal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from anthroqa.notes import NONE, Note, Notes, notes_of
from anthroqa.notes.scores.components import BelowZero, Components, NoInstruments
from anthroqa.scores.components.fitted import Variances, variances
from anthroqa.scores.components.generalised_pivots import interval
from anthroqa.scores.components.likelihood import INTERACTION, MEASURER, REPEAT, SUBJECT
from anthroqa.scores.layout.cube import Array, Cube
from anthroqa.scores.layout.figures import Figures

NAMES = (
    "sd_subject", "sd_measurer", "sd_measurer_subject", "sd_instrument", "sd_repeat",
    "sd_reproducibility", "icc_agreement", "icc_consistency",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Found:
    """One figure, in squared steps or as a share."""

    name: str
    value: float = np.nan
    draws: Array | None = None
    ends: tuple[float, float] | None = None  # where the interval is not from the draws
    df: float = np.nan
    blank: Note | None = None  # why there is no figure
    bare: Note | None = None  # why there is no interval
    note: Notes = NONE


def group_figures(cube: Cube, confidence: float, rng: np.random.Generator) -> list[Figures]:
    """Standard deviations and intraclass correlations of a measure, the reference left out."""
    of = variances(cube, rng)
    if of is None:
        found = [_Found(name=name, blank=Components.NOBODY) for name in NAMES]
    else:
        found = [*_spreads(cube, of), *_correlations(cube, of, confidence)]
    return [_row(one, cube, of, confidence) for one in found]


def _spreads(cube: Cube, of: Variances) -> list[_Found]:
    v, d, lifted, once = of.fit.variance, of.draws, of.lifted, of.why_no_repeat
    shared = {"blank": of.why_none, "bare": of.why_no_interval}
    repeat = {"blank": once, "bare": of.why_no_repeat_interval}
    return [
        _Found(
            name="sd_subject", value=v[SUBJECT], draws=lifted.subject, df=of.squares.subject.df,
            note=notes_of(below_zero(of.moments.subject, v[SUBJECT], cube)), **shared,
        ),
        _Found(
            name="sd_measurer", value=v[MEASURER], draws=lifted.measurer,
            df=of.squares.measurer.df, note=notes_of(
                below_zero(of.moments.measurer, v[MEASURER], cube), _own_instruments(cube, of)
            ), **shared,
        ),
        _Found(
            name="sd_measurer_subject", value=v[INTERACTION], draws=lifted.interaction,
            df=of.squares.df_residual, blank=of.why_none or once, bare=of.why_no_interval,
            note=notes_of(below_zero(of.moments.interaction, v[INTERACTION], cube)),
        ),
        _instrument(cube, of),
        _Found(
            name="sd_repeat", value=v[REPEAT], draws=d.repeat, df=of.squares.df_repeat, **repeat
        ),
        _Found(
            name="sd_reproducibility", value=v[1:].sum(), draws=d.reproducibility,
            note=notes_of(Components.REPEAT_AND_INTERACTION if once else None), **shared,
        ),
    ]  # fmt: skip


def _instrument(cube: Cube, of: Variances) -> _Found:
    """Between instruments, where staff and subjects met several of them."""
    name, n = "sd_instrument", len(cube.instruments)
    if of.why_none or of.instruments is None:
        return _Found(name=name, blank=no_instruments(cube) if n < 2 else
                      of.why_none or no_instruments(cube))  # fmt: skip
    found = of.instruments
    return _Found(
        name=name, value=found.variance, draws=found.draws, df=found.df, bare=of.why_no_interval
    )


def no_instruments(cube: Cube) -> NoInstruments:
    """Why instruments cannot be told apart, and what would help."""
    staff = cube.seen & cube.staff[:, None, None]
    used = np.unique(cube.instrument[staff]) if cube.instruments else np.empty(0)
    used = used[used >= 0]
    if not len(used):
        return NoInstruments.UNNAMED
    if len(used) == 1:
        return NoInstruments.ONE_ONLY
    each = [np.unique(cube.instrument[p][staff[p]]) for p in np.flatnonzero(cube.staff)]
    kept = all(len(one) <= 1 for one in each)
    return NoInstruments.ONE_EACH if kept else NoInstruments.CONFOUNDED


def _own_instruments(cube: Cube, of: Variances) -> Components | None:
    """A note where staff of one group each kept to an instrument of their own."""
    if len(cube.instruments) < 2 or of.instruments is not None:
        return None
    for group in np.unique(cube.group):
        here = cube.seen & cube.staff[:, None, None] & (cube.group == group)[:, None]
        if len(np.unique(cube.instrument[here])) > 1:
            return Components.INSTRUMENTS_INSIDE
    return None


def _correlations(cube: Cube, of: Variances, confidence: float) -> list[_Found]:
    v = of.fit.variance
    error = v[INTERACTION] + v[REPEAT]
    ends = _mcgraw_wong(of, confidence)
    shared = {"blank": of.why_none, "bare": of.why_no_interval}
    agree, consist = (
        v[SUBJECT] / total if total > 0 else np.nan for total in (v.sum(), v[SUBJECT] + error)
    )
    if not of.why_none and np.isnan(consist):
        shared["blank"] = Components.ALL_ALIKE
    return [
        _Found(name="icc_agreement", value=agree, draws=of.draws.agreement, ends=ends[0],
               note=notes_of(Components.ICC_AGREEMENT), **shared),
        _Found(name="icc_consistency", value=consist, draws=of.draws.consistency, ends=ends[1],
               note=notes_of(Components.ICC_CONSISTENCY), **shared),
    ]  # fmt: skip


def _mcgraw_wong(of: Variances, confidence: float) -> tuple[tuple[float, float] | None, ...]:
    """Ends of ICC(A,1) and ICC(C,1) of single complete readings; None for other designs.

    Mean squares of subjects, measurers and error are BMS, JMS and EMS; n subjects, k measurers.
    That of ICC(A,1) is approximate: where measurers are two TEMs apart, five of them on ten
    subjects, it held in 85 % of drawn sessions instead of 90 (pivotal ones in 88 %).
    """
    n, k = int(of.cells.subject.max()) + 1, int(of.cells.staff.max()) + 1
    ems = of.squares.residual
    if len(of.cells.n) != n * k or (of.cells.n > 1).any() or ems == 0:
        return None, None
    rows, columns, df = n - 1, k - 1, (n - 1) * (k - 1)
    if (of.squares.subject.df, of.squares.measurer.df) != (rows, columns):
        return None, None
    ems /= df
    bms = k * float(of.squares.subject.square.sum()) / rows
    jms = n * float(of.squares.measurer.square.sum()) / columns
    tail = (1 - confidence) / 2
    f = bms / ems
    low, high = f / special.fdtri(rows, df, 1 - tail), f * special.fdtri(df, rows, 1 - tail)
    consistency = ((low - 1) / (low + k - 1), (high - 1) / (high + k - 1))
    icc = max((bms - ems) / (bms + (k - 1) * ems + k * (jms - ems) / n), 0.0)
    a, b = k * icc / (n * (1 - icc)), 1 + k * icc * (n - 1) / (n * (1 - icc))
    v = (a * jms + b * ems) ** 2 / ((a * jms) ** 2 / columns + (b * ems) ** 2 / df)
    over, under = special.fdtri(rows, v, 1 - tail), special.fdtri(v, rows, 1 - tail)
    rest = k * jms + (k * n - k - n) * ems
    agreement = (
        n * (bms - over * ems) / (over * rest + n * bms),
        n * (under * bms - ems) / (rest + n * under * bms),
    )
    return agreement, consistency


def below_zero(by_squares: float, taken: float, cube: Cube) -> BelowZero | None:
    """A note where the mean squares give a variance below zero, which is taken as none."""
    if taken > 0 or not by_squares < 0:
        return None
    return BelowZero(variance=float(by_squares * cube.size**2), unit=cube.measure.step.unit)


def _row(one: _Found, cube: Cube, of: Variances | None, confidence: float) -> Figures:
    """A row of the table: square roots in the unit, or shares; an interval holds its estimate."""
    share = one.name.startswith("icc")
    estimate, ends = np.nan, (np.nan, np.nan)
    if not one.blank:
        estimate = one.value
        if not one.bare and one.draws is not None:
            ends = one.ends or interval(one.draws, confidence)
            ends = min(ends[0], estimate), max(ends[1], estimate)
    values = np.array([estimate, *ends])
    values = np.maximum(values, 0.0) if share else np.sqrt(np.maximum(values, 0.0)) * cube.size
    known = of is not None
    return Figures(
        statistic=one.name, unit="share" if share else cube.measure.step.unit,
        estimate=values[:1], lower=values[1:2], upper=values[2:],
        subjects=np.array([int(of.cells.subject.max()) + 1 if known else 0]),
        readings=np.array([int(of.cells.n.sum()) if known else 0]),
        df=np.array([one.df if not one.blank else np.nan], dtype=float),
        note=np.array([notes_of(one.blank or notes_of(one.bare, one.note))], dtype=object),
    )  # fmt: skip
