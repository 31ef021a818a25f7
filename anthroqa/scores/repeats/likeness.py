"""Are second readings as alike as this person's own repeats would be?

The share of a person's later readings that equal the first one of the same subject, and how
often as many would be equal if their repeat error were that of one of the other staff. What is
expected depends on the step: with an error of a fifth of a step three pairs in four are equal.
The others' TEMs are taken one by one, each as far as it is known: the chance is averaged over
the likelihood of the other's TEM (flat in its logarithm), then over the others. Few others show
less of how staff differ than there is; what they lack is put back (`_spread`). The subject's
position is integrated out, as in `repeats.py`; with a tare the net readings are compared, and
both displays enter. Ties are counted in: the chance is never less than it says.

Second readings are as expected, or more alike than expected. The latter has many reasons: the
sheet was in sight, the reading remembered or copied, the person reads coarser marks than the
step or is unusually steady. A p-value here is of one person and one measure.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import special

from anthroqa.notes.scores.figures import NoPValue, Repeats, TooFewRepeats
from anthroqa.scores.layout.cube import Array, Cube
from anthroqa.scores.layout.figures import Figures, join, notes, ratio
from anthroqa.scores.repeats.hidden_repeats import (
    GRID,
    TENTHS,
    Design,
    Kind,
    repeats,
    smooth,
    table,
)

NAMES = ("identical_repeats",)
STAFF_SPREAD = 0.3  # SD of the logarithm of TEMs among staff; common practice, no source
LEAST_REPEATS = 6  # below it no p-value; common practice, no source


def figures(cube: Cube, confidence: float, rng: np.random.Generator) -> list[Figures]:
    """`identical_repeats` of each person; no random numbers are needed.

    The interval is Wilson's (1927) J. Am. Stat. Assoc. 22:209-212, each subject one trial: the
    repeats of one subject share its first reading.
    """
    r = repeats(cube)
    n = len(cube.people)
    first = np.take_along_axis(cube.x, r.used.argmax(axis=2)[:, :, None], axis=2)
    equal = (r.used & (cube.x == first)).sum(axis=(1, 2)) - (r.k > 0).sum(axis=1)
    share = ratio(equal, r.df)
    subjects = (r.k > 0).sum(axis=1)
    lower, upper = _wilson(share, subjects, confidence)

    known = np.exp(r.log_likelihood - r.log_likelihood.max(axis=1, keepdims=True))
    known /= known.sum(axis=1, keepdims=True)
    others, n_others = cube.others(known, np.broadcast_to((r.df > 0)[:, None], known.shape))
    n_others = n_others[:, 0]
    for m in np.unique(n_others[n_others > 0]):
        others[n_others == m] = others[n_others == m] @ _spread(int(m))
    judged = (r.df >= LEAST_REPEATS) & (n_others > 0)
    p_value = np.full(n, np.nan)
    for i in np.flatnonzero(judged):
        chance = others[i] @ chance_of_equal(r.designs[i])[:, equal[i]]
        p_value[i] = min(chance, 1.0)  # sums of chances are not exact
    why = notes(
        n,
        (r.df == 0, Repeats.NOT_READ_TWICE),
        (n_others == 0, NoPValue(why=Repeats.NOBODY_ELSE_TWICE)),
        (~judged, NoPValue(why=TooFewRepeats(least=LEAST_REPEATS))),
    )
    return [
        Figures(
            statistic="identical_repeats", unit="share", estimate=share, lower=lower, upper=upper,
            subjects=subjects, readings=r.k.sum(axis=1), df=r.df.astype(float), p_value=p_value,
            note=join(why, r.note),
        )
    ]  # fmt: skip


@lru_cache(maxsize=256)
def chance_of_equal(design: Design) -> Array:
    """Chance that at least 0, 1, 2 ... repeats equal the first, for each TEM of the grid."""
    total = np.ones((len(GRID), 1))
    for kind, n in design:
        one = equal_to_first(kind)
        for _ in range(n):
            sums = np.zeros((len(GRID), total.shape[1] + kind[0] - 1))
            for m in range(kind[0]):
                sums[:, m : m + total.shape[1]] += one[:, m, None] * total
            total = sums
    return np.minimum(total[:, ::-1].cumsum(axis=1)[:, ::-1], 1.0)


@lru_cache(maxsize=32)
def equal_to_first(kind: Kind) -> Array:
    """Chance that 0 to k - 1 repeats of one subject equal its first (grid x k).

    A pattern is as likely in every order, so the first reading is any of its k.
    """
    k, tared = kind
    listed = table(kind)
    alike = (listed.patterns[:, :, None] == listed.patterns[:, None, :]).sum(axis=2) - 1
    exact = np.zeros((len(GRID), k))
    weight = smooth(k)
    below = np.flatnonzero(weight < 1)
    for at in below:
        chances = np.repeat(listed.chances(at) / k, k)
        exact[at] = np.bincount(alike.ravel(), weights=chances, minlength=k)
    # from about a step on: each repeat by itself has the chance p of a mark, z off its position
    sd = np.sqrt(GRID**2 + (1 + tared) / 12)[:, None]
    z = np.arange(-8, 8.01, 0.1)
    if tared:
        p = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) / sd
    else:
        p = special.ndtr((z * sd + 0.5) / GRID[:, None]) - special.ndtr(
            (z * sd - 0.5) / GRID[:, None]
        )
    m = np.arange(k)
    each = special.binom(k - 1, m) * p[..., None] ** (m + 1) * (1 - p[..., None]) ** (k - 1 - m)
    alone = each.sum(axis=1) * 0.1 * sd
    return (1 - weight[:, None]) * exact + weight[:, None] * alone


def _spread(n_others: int) -> Array:
    """What is known of a person's TEM from so many others' (from TEM x to TEM of the grid).

    The logarithms of n others vary about their own mean by (1 - 1/n) of the staff's variance,
    somebody else's by (1 + 1/n): the difference is put back.
    """
    apart = (TENTHS[:, None] - TENTHS) / 10 / (STAFF_SPREAD * np.sqrt(2 / n_others))
    kernel = np.exp(-(apart**2) / 2)
    return kernel / kernel.sum(axis=1, keepdims=True)


def _wilson(share: Array, n: Array, confidence: float) -> tuple[Array, Array]:
    """Wilson's interval of a share of n trials."""
    z = special.ndtri((1 + confidence) / 2)
    n = np.where(n > 0, n, np.nan)
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    upper = np.where(share == 1, 1.0, np.minimum(middle + half, 1.0))  # not a rounding under it
    return np.maximum(middle - half, 0.0), upper
