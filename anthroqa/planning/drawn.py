"""What would many people read, who all have the expected error, and how would they be judged?

Readings are drawn at places that the step does not favour, rounded to the step as displays are,
and held against the limit by what will judge the session: chi-squared intervals on the df that
taking out a shared shift leaves (`rounds.shared`), the repeat error behind the rounding under one
step (`resolved`), t intervals for differences (`bias`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from anthroqa.decisions.enough import LEAST_DF, LEAST_SUBJECTS, spread_factors
from anthroqa.decisions.findings import HIDDEN_BELOW, OVER, WITHIN, held_against
from anthroqa.intake import Measure, Step
from anthroqa.scores.layout.cube import Array, Counts, Cube
from anthroqa.scores.layout.figures import paired_mean
from anthroqa.scores.repeats import resolved
from anthroqa.scores.repeats.rounds import shared

_FAR = 50  # steps; where a drawn subject lies does not matter


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """What becomes of one person with the expected error."""

    within: float
    over: float
    half_width: float  # of a difference, the median, in steps; NaN for a repeat error


def places(people: int, subjects: int, *, tared: bool, rng: np.random.Generator) -> Array:
    """Where subjects lie between two marks, on the display and, with a tare, on the second one."""
    return rng.random((people, subjects, 1 + tared))


def read(at: Array, tem: float, rounds: int, rng: np.random.Generator) -> Counts:
    """Readings in steps (people x subjects x rounds) of people who all err by `tem` steps.

    A reading with a tare is the difference of two displays that err alike.
    """
    people, subjects, displays = at.shape
    noise = rng.standard_normal((people, subjects, rounds, displays))
    shown = np.floor(at[:, :, None, :] + tem / np.sqrt(displays) * noise + 0.5)
    return (shown[..., 0] - shown[..., 1:].sum(axis=3)).astype(np.int64)


def read_by_others(
    at: Array, tem: float, rounds: int, others: int, rng: np.random.Generator
) -> Array:
    """Mean readings of other people on the same subjects; those of one person are on the marks."""
    if others == 1:
        return read(at, tem, rounds, rng).astype(float)
    people, subjects, displays = at.shape
    sd = np.sqrt((tem**2 + displays / 12) / others)  # rounding adds Sheppard's 1/12 a display
    true = at[:, :, :1] - at[:, :, 1:].sum(axis=2, keepdims=True)
    return true + sd * rng.standard_normal((people, subjects, rounds))


def repeatability(
    x: Counts, limit: float, *, staff: int, tared: bool, confidence: float, seed: int
) -> Chance:
    """How often people who read `x` are found within a limit (in steps), and over it."""
    _, subjects, rounds = x.shape
    df = subjects * (rounds - 1)
    if df < LEAST_DF:
        return Chance(within=0.0, over=0.0, half_width=np.nan)
    squares = (x**2).sum(axis=2) - x.sum(axis=2) ** 2 / rounds
    tem = np.sqrt(squares.sum(axis=1) / df)
    low, high = spread_factors(df_less_shift(staff, subjects, rounds), confidence)
    states = held_against(tem * low, tem * high, limit)
    hidden = tem < HIDDEN_BELOW
    if hidden.any():
        states[hidden] = _behind_rounding(x[hidden], limit, tared, confidence, seed)
    return _chance(states)


def _chance(states: np.ndarray, half_width: float = np.nan) -> Chance:
    return Chance(
        within=float((states == WITHIN).mean()), over=float((states == OVER).mean()),
        half_width=half_width,
    )  # fmt: skip


@lru_cache(maxsize=256)
def df_less_shift(staff: int, subjects: int, rounds: int) -> float:
    """What the df of a repeat error are worth once the shift that others show is taken out."""
    rng = np.random.default_rng([staff, subjects, rounds])
    counts = np.rint(100 * rng.standard_normal((max(staff, 1), subjects, rounds))).astype(np.int64)
    of = shared(_cube(counts, tared=False))
    return float(of.df[of.known].mean()) if of.known.any() else float(subjects * (rounds - 1))


def _behind_rounding(
    x: Counts, limit: float, tared: bool, confidence: float, seed: int
) -> np.ndarray:
    """States by the repeat error behind the rounding, found once for each kind of readings."""
    if tared:
        x = x - x.min(axis=2, keepdims=True)
    apart = np.sort(x - x.min(axis=2, keepdims=True), axis=2)
    code = (apart * (apart.max() + 1) ** np.arange(x.shape[2])).sum(axis=2)
    _, first, of = np.unique(np.sort(code, axis=1), axis=0, return_index=True, return_inverse=True)
    cube = _cube(x[first], tared=tared)
    (found,) = resolved.figures(cube, confidence, np.random.default_rng([seed, 0, 0]), alone=True)
    return held_against(found.lower, found.upper, limit)[of.ravel()]


def _cube(counts: Counts, *, tared: bool) -> Cube:
    """People with these counts and nobody the reference, on one step."""
    people, subjects, rounds = counts.shape
    return Cube(
        measure=Measure(name="drawn", step=Step(1, "g")),
        people=[str(p) for p in range(people)], subjects=[str(s) for s in range(subjects)],
        rounds=np.arange(1, rounds + 1), referenced=False,
        x=counts - counts.min() + _FAR, seen=np.ones(counts.shape, dtype=bool), shift=0,
        group=np.zeros(subjects, dtype=np.int64), gross=counts,
        tare=np.full(counts.shape, int(tared), dtype=np.int64),
        converted=np.zeros(counts.shape, dtype=bool),
    )  # fmt: skip


def bias(difference: Array, limit: float, *, confidence: float) -> Chance:
    """How often people without bias are found within a limit of the difference, and over it.

    `difference` is own less other, people x subjects x rounds.
    """
    if difference.shape[1] < LEAST_SUBJECTS:
        return Chance(within=0.0, over=0.0, half_width=np.nan)
    found = paired_mean(difference.mean(axis=2), confidence, 1.0)
    far = np.maximum(found.upper, -found.lower)
    near = np.maximum(found.lower, -found.upper)
    half = float(np.nanmedian((found.upper - found.lower) / 2))
    return _chance(held_against(near, np.nan_to_num(far, nan=np.inf), limit), half)
