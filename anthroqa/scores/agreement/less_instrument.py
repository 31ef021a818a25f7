"""How far is each person from the reference once the known error of the instruments is out?

`bias_less_instrument` is the mean over common subjects of (own - own instrument's error) less
(reference - its instrument's error), over the same pairs of readings as `bias`; the readings
themselves stay. The error at a reading is on the straight line between the loads tested, as
displayed; beyond them, up to a fifth of the last load, it is that of the nearest one, and
further out the pair is left out. A held weight is two displays: the error at the gross reading
less that at the tare. A pair on one instrument is not corrected: its error cancels. The
interval adds the instruments' uncertainty, shared by all subjects, to the person's (Welch &
Satterthwaite, JCGM 100:2008, G.4.1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from anthroqa.notes import NONE, Notes, notes_of
from anthroqa.notes.scores.figures import Agreement
from anthroqa.notes.scores.instruments import (
    AllPastLoads,
    BothReadOn,
    ErrorsTakenOut,
    KnownLoads,
    LessInstrument,
    MeanError,
    OneLoad,
    PastLoadsLeftOut,
    Untested,
)
from anthroqa.scores.instruments.known_load_errors import Points, centred, curve, unknown
from anthroqa.scores.layout.cube import Array, Cube, Flags
from anthroqa.scores.layout.figures import (
    Figures,
    NoteArray,
    PairedMean,
    join,
    notes,
    paired_mean,
    ratio,
)

NAMES = ("bias_less_instrument",)
REACH = 0.2  # of the last load tested; a choice, no source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Known:
    """Error of the instruments at every reading of a cube (people x subjects x rounds)."""

    curves: dict[int, Points]  # by place in `cube.instruments`
    share: dict[int, Array]  # how much each tested load counts (... x loads)
    error: Array  # steps; NaN where it is not known
    tested: Flags  # the instrument is in the file of known loads
    beyond: Flags  # out of the reach of its loads
    carried: Flags  # past its loads, within reach


def figures(cube: Cube, confidence: float) -> list[Figures]:
    """`bias_less_instrument` of each person; nothing where no known load is of the measure."""
    if cube.known_loads.empty:
        return []
    known = _known(cube)
    both = cube.seen & cube.seen[:1] & cube.staff[:, None, None] & cube.referenced
    on, of_reference = cube.instrument, cube.instrument[:1]
    same = both & (on == of_reference) & (on >= 0)
    apart = both & ~same
    reached = apart & ~(known.beyond | known.beyond[:1])
    pairs = same | reached
    untested = (apart & ~(known.tested & known.tested[:1])).any(axis=(1, 2))
    pairs &= ~untested[:, None, None]

    k = pairs.sum(axis=2)
    off = np.nan_to_num(known.error - known.error[:1])
    less = np.where(pairs, cube.x - cube.x[:1] - np.where(same, 0.0, off), 0.0)
    difference = ratio(less.sum(axis=2), k)
    own = paired_mean(difference, confidence, cube.size)
    weight = ratio(pairs.astype(float), (k * own.n[:, None])[:, :, None])
    weight = np.where(same, 0.0, np.nan_to_num(weight))
    lower, upper, df, p_value = _interval(cube, known, own, weight, confidence)
    return [Figures(
        statistic="bias_less_instrument", unit=cube.measure.step.unit, estimate=own.mean,
        lower=lower, upper=upper, subjects=own.n, readings=2 * k.sum(axis=1), df=df,
        p_value=p_value,
        note=join(
            _blank(cube, known, apart, untested, own), own.note,
            _corrections(cube, known, own, weight, same, apart & ~reached, pairs & reached),
        ), rows=cube.staff,
    )]  # fmt: skip


def _known(cube: Cube) -> _Known:
    shape = cube.x.shape
    known = _Known(
        curves={}, share={}, error=np.full(shape, np.nan), tested=np.zeros(shape, dtype=bool),
        beyond=np.zeros(shape, dtype=bool), carried=np.zeros(shape, dtype=bool),
    )  # fmt: skip
    held = cube.tare > 0
    for place, code in enumerate(cube.instruments):
        rows = cube.known_loads[cube.known_loads["instrument"] == code]
        if centred(rows).empty:
            continue
        found, on = curve(rows), cube.instrument == place
        share = np.zeros((*shape, len(found.loads)))
        for shown, sign, used in ((cube.gross, 1, on), (cube.tare, -1, on & held)):
            share[used] += sign * _share(found, shown[used].astype(float))
            far = _past(found, shown[used].astype(float))
            known.beyond[used] |= far > REACH
            known.carried[used] |= (far > 0) & (len(found.loads) > 1)
        known.curves[place], known.share[place] = found, share
        known.error[on] = share[on] @ found.errors
        known.tested[on] = True
    return known


def _shown(found: Points) -> Array:
    """What the instrument shows for each load; the loads where that would not ascend."""
    shown = found.loads + found.errors
    return shown if (np.diff(shown) > 0).all() else found.loads


def _share(found: Points, reading: Array) -> Array:
    """How much the error at each tested load counts at a reading (readings x loads)."""
    shown = _shown(found)
    out = np.zeros((len(reading), len(shown)))
    if len(shown) == 1:
        return out + 1
    right = np.clip(np.searchsorted(shown, reading), 1, len(shown) - 1)
    part = np.clip((reading - shown[right - 1]) / (shown[right] - shown[right - 1]), 0, 1)
    row = np.arange(len(reading))
    out[row, right], out[row, right - 1] = part, 1 - part
    return out


def _past(found: Points, reading: Array) -> Array:
    """How far a reading lies past the loads tested, as a share of the nearest; 0 at one load."""
    if len(found.loads) == 1:
        return np.zeros(len(reading))
    shown = _shown(found)
    low = ratio(shown[:1] - reading, found.loads[:1])  # NaN where zero was tested
    high = (reading - shown[-1]) / found.loads[-1]
    return np.maximum(np.maximum(np.nan_to_num(low), high), 0)


def _interval(
    cube: Cube, known: _Known, own: PairedMean, weight: Array, confidence: float
) -> tuple[Array, Array, Array, Array]:
    """The person's variance and the instruments' together; ends, df and p-value."""
    persons = ratio(own.variance, own.n) * np.where(own.variance > 0, 1.0, np.nan)
    total, squares = persons.copy(), persons**2 / np.maximum(own.n - 1, 1)
    for place, found in known.curves.items():
        share = known.share[place]
        net = np.einsum("psk,pskm->pm", weight, share - share[:1])
        variance, repeats = (v * cube.size**2 for v in found.variance(net))
        total += variance
        squares += repeats**2 / max(found.of.df, 1)
    error = np.sqrt(total)
    df = ratio(total**2, squares)
    half = special.stdtrit(df, (1 + confidence) / 2) * error
    p_value = 2 * special.stdtr(df, -np.abs(own.mean / error))
    plain = np.where(own.n > 0, own.n - 1.0, np.nan)
    return own.mean - half, own.mean + half, np.where(np.isnan(df), plain, df), p_value


def _blank(cube: Cube, known: _Known, apart: Flags, untested: Flags, own: PairedMean) -> NoteArray:
    """Why there is no figure, where there is none."""
    unnamed = apart & ((cube.instrument < 0) | (cube.instrument[:1] < 0))
    n = len(cube.people)
    out = notes(
        n,
        (not cube.referenced, Agreement.NO_REFERENCE),
        (not cube.instruments, LessInstrument.NONE_NAMED),
        (unnamed.any(axis=(1, 2)), LessInstrument.SOME_UNNAMED),
    )
    tested = {cube.instruments[place] for place in known.curves}
    for p in np.flatnonzero(untested & ~out.astype(bool)):
        used = _codes(cube, cube.instrument[p][apart[p]], cube.instrument[0][apart[p]])
        lacking = tuple(code for code in used if code not in tested)
        out[p] = notes_of(Untested(instruments=lacking or used))
    rest = notes(
        n,
        (own.n > 0, NONE),
        (apart.any(axis=(1, 2)), AllPastLoads(reach=REACH)),
        (True, Agreement.NOTHING_IN_COMMON),
    )
    return np.where(out.astype(bool), out, rest)


def _codes(cube: Cube, *places: np.ndarray) -> tuple[str, ...]:
    return tuple(cube.instruments[i] for i in np.unique(np.concatenate(places)) if i >= 0)


def _corrections(
    cube: Cube, known: _Known, own: PairedMean, weight: Array, same: Flags, left: Flags,
    corrected: Flags,
) -> NoteArray:  # fmt: skip
    """What was taken out, and how well it is known."""
    out = notes(len(cube.people))
    for p in np.flatnonzero(own.n > 0):
        shared = _codes(cube, cube.instrument[p][same[p]])
        gone = int(left[p].any(axis=1).sum())
        out[p] = notes_of(
            BothReadOn(instruments=shared) if shared else None,
            _taken_out(cube, known, p, weight[p], corrected[p]) if corrected[p].any() else None,
            PastLoadsLeftOut(subjects=gone, reach=REACH) if gone else None,
        )
    return out


def _taken_out(cube: Cube, known: _Known, p: int, weight: Array, corrected: Flags) -> Notes:
    own, reference = (_mean_error(cube, known, who, weight, corrected) for who in (p, 0))
    used = np.unique(cube.instrument[[p, 0]][:, corrected])
    curves = {cube.instruments[i]: known.curves[i] for i in used}
    one = tuple(code for code, found in curves.items() if len(found.loads) == 1)
    carried = (known.carried[[p, 0]] & corrected).any()
    open_ = {what for found in curves.values() for what in unknown(found.of)}
    return notes_of(
        ErrorsTakenOut(own=own, reference=reference),
        OneLoad(instruments=one) if one else None,
        LessInstrument.CARRIED_ON if carried else None,
        *(what for what in (KnownLoads.UNREPEATED, KnownLoads.EXACT) if what in open_),
    )


def _mean_error(cube: Cube, known: _Known, who: int, weight: Array, corrected: Flags) -> MeanError:
    steps = (weight * np.nan_to_num(known.error[who])).sum() / weight.sum()
    codes = _codes(cube, cube.instrument[who][corrected])
    return MeanError(instruments=codes, error=float(steps * cube.size), unit=cube.measure.step.unit)
