"""Did something shift between rounds, for everybody or for one person?

Children tire, shrink during a morning and are undressed between rounds: a shift that all
staff share is nobody's error. A person's own shift is theirs less that of the others.
Differences are from round 1, paired by subject; t intervals over subjects.
"""

from __future__ import annotations

import numpy as np

from anthroqa.scores.cube import Array, Cube, Flags
from anthroqa.scores.figures import (
    Figures,
    join,
    notes,
    paired_mean,
    ratio,
    root_chi2_interval,
)
from anthroqa.scores.repeatability import within

NAMES = ("within_tem_less_shift", "own_round_shift", "round_shift")
_NOTHING = 1e-15  # squared steps; what subtracting a mean shift leaves of equal readings
_NO_FIRST = "there is no round 1 to compare with"


def figures(cube: Cube, confidence: float) -> list[Figures]:
    """`within_tem_less_shift` and `own_round_shift:K` of each person."""
    moved = cube.from_first()
    if moved is None:
        nobody = np.zeros_like(cube.x), np.zeros_like(cube.seen)
        return [_less_shift(cube, *nobody, confidence, _NO_FIRST)]
    difference, both = moved
    rows = [_less_shift(cube, difference, both, confidence, "")]
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
                    shift.n == 0,
                    f"no subject was read in rounds 1 and {cube.rounds[k]} by this person and "
                    "by other staff",
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
                notes(1, (shift.n == 0, f"nobody read a subject in rounds 1 and {cube.rounds[k]}")),
                shift.note,
            ),
        ))  # fmt: skip
    return rows


def _less_shift(
    cube: Cube, difference: Array, both: Flags, confidence: float, reason: str
) -> Figures:
    """Within TEM after the mean shift of the others, on the same subjects, is taken out.

    The others' shift has an error of its own: with n subjects and M others it adds about
    1 / (n M) to the square, 3 % with ten subjects and three others.
    """
    w = within(cube)
    of_others, n_others = cube.others(difference, both)
    usable = both & (n_others > 0) & w.used[:, :, None]
    shift = ratio(np.where(usable, of_others, 0).sum(axis=1), usable.sum(axis=1))
    if both.any():
        shift[:, 0] = 0.0  # round 1 is where shifts are counted from
    needed = (cube.seen & w.used[:, :, None]).any(axis=1)
    known = ~(needed & np.isnan(shift)).any(axis=1) & (w.df > 0)

    there = cube.seen & w.used[:, :, None]
    y = np.where(there, cube.x - np.nan_to_num(shift)[:, None, :], 0.0)
    mean = ratio(y.sum(axis=2), there.sum(axis=2))
    squares = np.where(there, (y - np.nan_to_num(mean)[:, :, None]) ** 2, 0.0).sum(axis=(1, 2))
    squares[squares < _NOTHING] = 0.0
    tem = np.where(known, np.sqrt(ratio(squares, w.df)), np.nan) * cube.size
    lower, upper = root_chi2_interval(tem, w.df.astype(float), confidence)
    return Figures(
        statistic="within_tem_less_shift", unit=cube.measure.step.unit,
        estimate=tem, lower=lower, upper=upper,
        subjects=w.used.sum(axis=1), readings=w.readings, df=w.df.astype(float),
        note=notes(
            len(cube.people),
            (w.df == 0, "no subject was read twice"),
            (~known, reason or "no other staff read the same subjects in these rounds"),
            (tem == 0, "every repeat is equal once the shift is taken out: no interval"),
        ),
    )  # fmt: skip
