"""Does each person agree with the reference, and with the others?

Bias is the mean over common subjects of own less reference, each subject's difference the
mean over the rounds that both have on it. Limits of agreement are those of single readings,
with the repeat variance added back: Bland & Altman (1986) Lancet i:307-310; (1999) Stat.
Methods Med. Res. 8:135-160, section 5. The reference errs too; its error is in every bias.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from anthroqa.notes.scores.figures import Agreement, Repeats
from anthroqa.scores.layout.cube import Array, Counts, Cube
from anthroqa.scores.layout.figures import Figures, PairedMean, join, notes, paired_mean, ratio
from anthroqa.scores.repeats.repeatability import within

NAMES = ("bias", "agreement_lower", "agreement_upper", "bias_from_others", "rms_error")
_WIDTH = 1.96  # 95 % limits of agreement, whatever the confidence of their interval


def figures(cube: Cube, confidence: float) -> list[Figures]:
    """Bias, limits of agreement, bias from the others and rms error of each person."""
    difference, k = _from_reference(cube)
    bias = paired_mean(difference, confidence, cube.size)
    n = len(cube.people)
    why = notes(
        n,
        (not cube.referenced, Agreement.NO_REFERENCE),
        (bias.n == 0, Agreement.NOTHING_IN_COMMON),
    )
    shared = {
        "subjects": bias.n,
        "readings": 2 * k.sum(axis=1),
        "df": np.where(bias.n > 0, bias.n - 1.0, np.nan),
        "rows": cube.staff,
    }
    unit = cube.measure.step.unit
    tem = within(cube).tem * cube.size
    return [
        Figures(
            statistic="bias", unit=unit, estimate=bias.mean, lower=bias.lower, upper=bias.upper,
            p_value=bias.p_value, note=join(why, bias.note), **shared,
        ),
        *_agreement(cube, bias, k, confidence, why, shared),
        _from_others(cube, confidence),
        Figures(
            statistic="rms_error", unit=unit, estimate=np.sqrt(bias.mean**2 + tem**2),
            note=join(why, notes(
                n,
                (np.isnan(tem), Repeats.NOT_READ_TWICE),
                (~np.isnan(bias.mean), Agreement.INTERVALS_OF_PARTS),
            )), **shared,
        ),
    ]  # fmt: skip


def _from_reference(cube: Cube) -> tuple[Array, Counts]:
    """Differences from the reference in steps (people x subjects), and over how many rounds."""
    if not cube.referenced:
        shape = cube.x.shape[:2]
        return np.full(shape, np.nan), np.zeros(shape, dtype=np.int64)
    both = cube.seen & cube.seen[:1] & cube.staff[:, None, None]
    k = both.sum(axis=2)
    return ratio(np.where(both, cube.x - cube.x[:1], 0).sum(axis=2), k), k


def _agreement(
    cube: Cube, bias: PairedMean, k: Counts, confidence: float, why, shared: dict
) -> list[Figures]:
    """Limits of agreement; the interval of a limit from the delta method (1999, section 5)."""
    w = within(cube)
    repeat = (w.tem * cube.size) ** 2
    part = 1 - ratio(ratio(np.ones(k.shape), k).sum(axis=1, where=k > 0), bias.n)  # 1 - mean 1/K
    parts = [(part * repeat, w.df), (part * repeat[:1], w.df[:1])]
    variance = bias.variance.copy()
    spread = bias.variance**2 / np.maximum(bias.n - 1, 1)
    for added, df in parts:
        added = np.where(part > 0, added, 0.0)  # single readings have nothing to add back
        variance += added
        spread += added**2 / np.maximum(df, 1)
    error = np.sqrt(ratio(bias.variance, bias.n) + _WIDTH**2 * ratio(2 * spread, 4 * variance))
    df = np.where(bias.n > 1, bias.n - 1.0, np.nan)
    half = special.stdtrit(df, (1 + confidence) / 2) * error
    note = join(why, notes(
        len(why),
        (bias.n == 1, Agreement.ONE_SUBJECT_NO_LIMITS),
        (variance == 0, Agreement.ALL_EQUAL),
    ))  # fmt: skip
    rows = []
    for name, sign in (("agreement_lower", -1), ("agreement_upper", 1)):
        limit = bias.mean + sign * _WIDTH * np.sqrt(variance)
        rows.append(Figures(
            statistic=name, unit=cube.measure.step.unit, estimate=limit,
            lower=limit - half, upper=limit + half, note=note, **shared,
        ))  # fmt: skip
    return rows


def _from_others(cube: Cube, confidence: float) -> Figures:
    """Own less the mean of the other staff, where two others or more read the same round."""
    of_others, n_others = cube.others(cube.x, cube.seen)
    used = cube.seen & (n_others >= 2)
    k = used.sum(axis=2)
    apart = np.where(used, cube.x - np.nan_to_num(of_others), 0.0).sum(axis=2)
    mean = paired_mean(ratio(apart, k), confidence, cube.size)
    return Figures(
        statistic="bias_from_others", unit=cube.measure.step.unit,
        estimate=mean.mean, lower=mean.lower, upper=mean.upper,
        subjects=mean.n, readings=np.where(used, 1 + n_others, 0).sum(axis=(1, 2)),
        df=np.where(mean.n > 0, mean.n - 1.0, np.nan), p_value=mean.p_value,
        note=join(
            notes(len(cube.people), (mean.n == 0, Agreement.NEEDS_TWO_OTHERS)), mean.note,
        ),
    )  # fmt: skip
