"""Did something shift between rounds, for everybody or for one person?

Children tire, shrink during a morning and are undressed between rounds: a shift that all
staff share is nobody's error. A person's own shift is theirs less that of the others.
Differences are from round 1, paired by subject; t intervals over subjects.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from anthroqa.notes.scores.figures import NobodyInBothRounds, NotInBothRounds, Repeats, Shifts
from anthroqa.scores.layout.cube import Array, Cube, Flags
from anthroqa.scores.layout.figures import (
    Figures,
    join,
    notes,
    paired_mean,
    ratio,
    root_chi2_interval,
)
from anthroqa.scores.repeats.repeatability import within

NAMES = ("within_tem_less_shift", "own_round_shift", "round_shift")
_NOTHING = 1e-9  # squared steps; what subtracting mean shifts leaves of equal readings


def figures(cube: Cube, confidence: float) -> list[Figures]:
    """`within_tem_less_shift` and `own_round_shift:K` of each person."""
    moved = cube.from_first()
    if moved is None:
        return [_less_shift(cube, confidence, Shifts.NO_FIRST_ROUND)]
    difference, both = moved
    rows = [_less_shift(cube, confidence, Shifts.TOO_FEW_OTHERS)]
    for k in range(1, len(cube.rounds)):
        own = np.where(both[:, :, k], difference[:, :, k].astype(float), np.nan)
        of_others, n_others = cube.others(difference[:, :, k], both[:, :, k])
        shift = paired_mean(np.where(n_others > 0, own - of_others, np.nan), confidence, cube.size)
        used = both[:, :, k] & (n_others > 0)
        rows.append(Figures(
            statistic=f"own_round_shift:{cube.rounds[k]}", unit=cube.measure.step.unit,
            estimate=shift.mean, lower=shift.lower, upper=shift.upper,
            subjects=shift.n, readings=2 * shift.n + 2 * np.where(used, n_others, 0).sum(axis=1),
            df=np.where(shift.n > 0, shift.n - 1.0, np.nan), p_value=shift.p_value,
            note=join(
                notes(len(cube.people), (
                    shift.n == 0, NotInBothRounds(round=int(cube.rounds[k])),
                )),
                shift.note,
            ),
        ))  # fmt: skip
    return rows


def group_figures(cube: Cube, confidence: float) -> list[Figures]:
    """`round_shift:K` over staff, the reference left out."""
    moved = cube.from_first()
    if moved is None:
        return []
    difference, both = moved
    both = both & cube.staff[:, None, None]
    rows = []
    for k in range(1, len(cube.rounds)):
        n_staff = both[:, :, k].sum(axis=0)
        mean = ratio(np.where(both[:, :, k], difference[:, :, k], 0).sum(axis=0), n_staff)
        shift = paired_mean(mean[None, :], confidence, cube.size)
        rows.append(Figures(
            statistic=f"round_shift:{cube.rounds[k]}", unit=cube.measure.step.unit,
            estimate=shift.mean, lower=shift.lower, upper=shift.upper,
            subjects=shift.n, readings=np.array([2 * n_staff.sum()]),
            df=np.where(shift.n > 0, shift.n - 1.0, np.nan), p_value=shift.p_value,
            note=join(
                notes(1, (shift.n == 0, NobodyInBothRounds(round=int(cube.rounds[k])))),
                shift.note,
            ),
        ))  # fmt: skip
    return rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shared:
    """The shift of each round that the others share, as far as they know it, in steps."""

    shift: Array  # people x rounds
    squares: Array  # of each person, within subjects, less that shift
    df: Array  # of a chi-squared that varies as they do
    known: Flags  # people: others read the same subjects in all rounds that matter, often enough


def shared(cube: Cube) -> Shared:
    """What a shift that the others show leaves of the squares within each person's subjects.

    The others' shift is the mean over subjects of their mean change. Its own error, of covariance
    V, is in the squares S about it: the expectation of that part, trace(N V) with N the normal
    equations of the shifts, is taken off again; with n pairs, M others and one error size it is
    1 / (n M) of the repeat variance. Where the others err so much more than the person that
    less than the squares about the person's own shifts would be left, it is those. The shift is
    moved towards the own ones as far. What varies more than a chi-squared on the df of the
    repeats has those of Satterthwaite (1946) Biometrics Bull. 2:110-114: the part of the shifts
    varies with the others' error too.
    """
    w = within(cube)
    there = cube.seen & w.used[:, :, None]
    shift, weight = _of_others(cube, there)
    known = ~(there.any(axis=1) & np.isnan(shift)).any(axis=1) & (w.df > 0)
    shift = np.nan_to_num(shift)
    sums, normal, squares = _about_means(np.where(there, cube.x - shift[:, None, :], 0.0), there)
    own = np.einsum("pkl,pl->pk", np.linalg.pinv(normal), sums)  # own shifts, less the others'
    by_own = np.einsum("pk,pk->p", own, sums)
    rank = np.linalg.matrix_rank(normal)
    df = w.df - rank
    alone = squares - by_own
    variance = ratio(np.where(alone < _NOTHING, 0, alone), df)
    unknown = np.isnan(variance)
    variance[unknown] = 0.0 if unknown.all() else variance[~unknown].mean()

    paired = (cube.staff[:, None, None] & _paired(cube)).astype(float)
    of = variance[:, None, None] * paired
    together = np.einsum("psk,psl->skl", of, paired) - of[:, :, :, None] * paired[:, :, None, :]
    # two changes of one person share the first reading; each has a later one of its own
    spread = np.einsum("psk,psl,pskl->pkl", weight, weight, together) * (
        1 + np.eye(len(cube.rounds))
    )
    error, usual = (normal * spread).sum(axis=(1, 2)), variance * rank  # of theirs, of own shifts
    least = -np.minimum(error, np.nan_to_num(ratio(usual**2, error)))
    left = np.maximum(by_own - error, least)
    kept = np.sqrt(np.where(by_own > _NOTHING, ratio(np.maximum(left, 0), by_own), 1.0))
    known &= (df > 0) | (left > 0) | (by_own <= _NOTHING)
    squares = alone + left
    share = np.where(error > usual, 1.0, np.nan_to_num(ratio(error, usual)))
    return Shared(
        shift=shift + (1 - kept[:, None]) * own,
        squares=np.where(squares < _NOTHING, 0.0, squares), known=known,
        df=ratio(w.df**2, df + rank * (1 + share) ** 2),
    )  # fmt: skip


def _paired(cube: Cube) -> Flags:
    """Where a later round can be compared with round 1."""
    moved = cube.from_first()
    both = np.zeros_like(cube.seen) if moved is None else moved[1].copy()
    both[:, :, 0] = False
    return both


def _of_others(cube: Cube, there: Flags) -> tuple[Array, Array]:
    """Their mean shift (people x rounds), and what one change of theirs on a subject counts."""
    moved, both = cube.from_first(), _paired(cube)
    difference = np.zeros_like(cube.x) if moved is None else moved[0]
    of_others, n_others = cube.others(difference, both)
    usable = both & (n_others > 0) & there.any(axis=2)[:, :, None]
    n_usable = usable.sum(axis=1)
    shift = ratio(np.where(usable, of_others, 0).sum(axis=1), n_usable)
    if both.any():
        shift[:, 0] = 0.0  # round 1 is where shifts are counted from
    count = np.where(usable, n_usable[:, None, :] * n_others, 0)
    return shift, np.nan_to_num(ratio(np.ones(1), count))


def _about_means(y: Array, there: Flags) -> tuple[Array, Array, Array]:
    """Sums by round of distances from subject means, their normal equations, and squares."""
    n = np.maximum(there.sum(axis=2), 1)
    y = np.where(there, y - (y.sum(axis=2) / n)[:, :, None], 0.0)
    seen = there.astype(float)
    normal = np.eye(y.shape[2]) * there.sum(axis=1)[:, None, :]
    normal -= np.einsum("psk,psl->pkl", seen / n[:, :, None], seen)
    return y.sum(axis=1), normal, (y**2).sum(axis=(1, 2))


def _less_shift(cube: Cube, confidence: float, unknown: Shifts) -> Figures:
    """Within TEM after the shift of the others, on the same subjects, is taken out."""
    w, of = within(cube), shared(cube)
    tem = np.where(of.known, np.sqrt(ratio(of.squares, w.df)), np.nan) * cube.size
    lower, upper = root_chi2_interval(tem, of.df, confidence)
    return Figures(
        statistic="within_tem_less_shift", unit=cube.measure.step.unit,
        estimate=tem, lower=lower, upper=upper,
        subjects=w.used.sum(axis=1), readings=w.readings,
        df=np.where(of.known, of.df, w.df),
        note=notes(
            len(cube.people),
            (w.df == 0, Repeats.NOT_READ_TWICE),
            (~of.known, unknown),
            (tem == 0, Repeats.ALL_EQUAL_LESS_SHIFT),
        ),
    )  # fmt: skip
