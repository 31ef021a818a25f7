"""Were these readings converted from another unit before they were written?

Whole inches turned into whole centimetres give 152, 155, 157, 160 ... and never 153 or 154. Such a
comb looks like digit preference and is arithmetic: a reading is on it if it is a multiple of the
other step, rounded to the nearest step (halves either way; cutting off instead of rounding is not
looked for). A sheet or a chart converts so; no source.

The test is ours. Readings are sorted by the coarse marks they stand on, so that a person who
leans to any of these marks, by any share, is no comb: among the marks of the same kind between
the least and the greatest reading, those of the comb should be hit as often as they are there.
Two chances are taken, and the larger one counts: that so many readings fall on the comb, each
value of a subject once (binomial, by kind), and that so many different values do, none twice
(hypergeometric). Both are multiplied by the number of combs that are tried. A comb is named where
that is at most 1 in 1000 and nearly every reading is on it; of several the likeliest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt
from scipy import special

from anthroqa.intake.written.steps import CUSTOMARY, Step, convert, same_kind
from anthroqa.scores.layout.cube import Array, Counts, Flags

RISK = 0.001  # of naming a comb where there is none; common practice, no source
STRAYS = 0.10  # share of readings that may be off it: slips of arithmetic; no source
_REACH = 50_000  # steps to either side of the middle reading, in which marks are counted
# steps that people read to before they convert; common practice, no source
_READ_TO = [
    Step(Fraction(size), unit)
    for unit, sizes in {
        "kg": "1 1/2 1/10 1/20",
        "g": "20 10",
        "lb": "1 1/2 1/4 1/10",
        "oz": "1 1/2",
        "cm": "1 1/2 1/10",
        "in": "1 1/2 1/4 1/8",
    }.items()
    for size in sizes.split()
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comb:
    """What a conversion left of an instrument's marks."""

    step: Step  # of the other unit, as was likely read
    share_of_marks: float  # of this instrument that such a conversion can produce
    on: int  # readings on the comb
    of: int  # readings
    chance: float  # at most so often without a conversion


def comb(
    counts: Counts,
    step: Step,
    *,
    subjects: npt.NDArray[np.int64] | None = None,
    strays: float = STRAYS,
) -> Comb | None:
    """The comb that nearly all readings are on, or None.

    Parameters
    ----------
    counts : array of int
        Readings as displayed, in whole steps from zero.
    step : Step
        What they are written to.
    subjects : array of int, optional
        Who was read. Equal readings of one subject count once; where it is not known who was
        read, equal readings count once in all.
    strays : float, default 0.10
        Share of the readings that may be off the comb.

    Returns
    -------
    Comb or None
        None too where a comb has so many marks (0.1 kg from 1/4 lb: 88 %) that these readings
        cannot show it, or every mark (0.1 kg from ounces).

    Examples
    --------
    Heights from 57 to 74 whole inches, in whole centimetres:

    >>> inches = np.arange(57, 75)
    >>> found = comb((254 * inches + 50) // 100, Step(Fraction(1), "cm"))
    >>> str(found.step), round(found.share_of_marks, 3), found.on, found.of
    ('1 in', 0.394, 18, 18)
    >>> comb(np.arange(145, 189), Step(Fraction(1), "cm")) is None
    True
    """
    counts = np.asarray(counts, dtype=np.int64)
    if not len(counts):
        return None
    who = np.zeros_like(counts) if subjects is None else np.asarray(subjects)
    once = np.unique(np.stack([who, counts]), axis=1)[1]
    marks = list(step.coarse_marks())
    tried = list(_sources(step))
    found = []
    for source, ratio in tried:
        on = int(on_comb(counts, ratio).sum())
        if on < (1 - strays) * len(counts):
            continue
        chance, likelihood = _by_chance(once, ratio, marks, strays)
        if chance * len(tried) <= RISK:
            made = Comb(
                step=source, share_of_marks=float(1 / ratio), on=on, of=len(counts),
                chance=chance * len(tried),
            )  # fmt: skip
            found.append((likelihood, made))
    return max(found, key=lambda each: each[0])[1] if found else None


def _sources(step: Step) -> Iterator[tuple[Step, Fraction]]:
    """Steps of the other system, or ounces for pounds, that leave gaps; each in our steps.

    Under one of our steps there is no gap. A whole number of them in the same system (4 oz for
    1/4 lb) is a mark that a person reads to.
    """
    customary = step.unit in CUSTOMARY
    for source in _READ_TO:
        if source.unit == step.unit or not same_kind(source.unit, step.unit):
            continue
        ratio = convert(source.size, source.unit, step.unit) / step.size
        other = (source.unit in CUSTOMARY) != customary
        if ratio > 1 and (other or (customary and ratio.denominator > 1)):
            yield source, ratio


def leaves_gaps(step: Step) -> tuple[Step, Fraction] | None:
    """The finest step of the other system whose marks leave gaps among those of `step`.

    With its size in steps of `step`; None where every source reaches every mark. Whatever coarser
    mark of that system was read and converted is on its comb too.

    Examples
    --------
    >>> source, ratio = leaves_gaps(Step(Fraction(1, 10), "cm"))
    >>> str(source), float(ratio)
    ('1/8 in', 3.175)
    """
    customary = step.unit in CUSTOMARY
    found = [s for s in _sources(step) if (s[0].unit in CUSTOMARY) != customary]
    return min(found, key=lambda each: each[1], default=None)


def on_comb(x: Counts, ratio: Fraction) -> Flags:
    """Whether some whole multiple of the ratio is within half a step, in whole numbers."""
    up, down = ratio.numerator, ratio.denominator
    least = -(-(2 * x - 1) * down // (2 * up))  # the first multiple that is not too low
    return 2 * least * up <= (2 * x + 1) * down


def _by_chance(
    once: Counts, ratio: Fraction, marks: list[int], strays: float
) -> tuple[float, float]:
    """How often so many are on the comb without one, and the log likelihood ratio for it."""
    on = on_comb(once, ratio)
    middle = int(np.median(once))
    there = np.arange(max(once.min(), middle - _REACH), min(once.max(), middle + _REACH) + 1)
    there_on, of_marks = on_comb(there, ratio), _kinds(there, marks)
    values, first = np.unique(once, return_index=True)
    kinds, of_values = _kinds(once, marks), _kinds(values, marks)
    hits_of, no_repeats, likelihood = np.ones(1), 0.0, 0.0
    for kind in np.unique(kinds):
        n, hits = int((kinds == kind).sum()), int((on & (kinds == kind)).sum())
        in_all = max(int((of_marks == kind).sum()), 1)
        in_comb = max(int((there_on & (of_marks == kind)).sum()), 1)  # never impossible
        different = min(int((on[first] & (of_values == kind)).sum()), in_comb)
        hits_of = np.convolve(hits_of, _binomial(n, in_comb / in_all))
        no_repeats += _log_choose(in_comb, different) - _log_choose(in_all, different)
        likelihood += hits * np.log((1 - strays) * in_all / in_comb + strays)
        likelihood += special.xlogy(n - hits, strays)
    return max(float(hits_of[int(on.sum()) :].sum()), float(np.exp(no_repeats))), likelihood


def _kinds(x: Counts, marks: list[int]) -> Counts:
    """Which coarse marks each count stands on, as one number."""
    kinds = np.zeros(len(x), dtype=np.int64)
    for place, mark in enumerate(marks):
        kinds += (x % mark == 0).astype(np.int64) << place
    return kinds


def _log_choose(n: int, k: int | Counts) -> Array:
    return special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)


def _binomial(n: int, p: float) -> Array:
    """Chances of 0 to n hits."""
    k = np.arange(n + 1)
    return np.exp(_log_choose(n, k) + special.xlogy(k, p) + special.xlog1py(n - k, -p))
