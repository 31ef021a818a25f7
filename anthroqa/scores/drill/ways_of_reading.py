"""Which way of reading marks fits what a person wrote, when what was set is known?

A way of reading is a mark (the step, or a coarser one) and a side from which the marks are
counted. In steps, a reading of a setting t is m * round((t + shift + error) / m), with a normal
error before the rounding; from the wrong side, the position within the whole mark is counted
backwards. Each way has the same two free numbers, shift and error, so their best likelihoods
are compared as they are (Royall 1997, Statistical Evidence, for a likelihood ratio as the
strength of evidence; from memory). Readings are rounded, so the likelihood of one is an area
under the normal curve (Heitjan & Rubin 1991, Ann. Stat. 19:2244-2253; from memory). One reading
in fifty may be a slip that follows no rule, so that a single one decides nothing.

The interval of the shift is that of the likelihood ratio, the error profiled out, with the
F quantile for a small sample in place of chi-squared. Only readings set near where two marks
part tell of the shift: their number is the sample's size. That choice is our own; it was made
by simulation (`tests/calibration/drill.py` says what it covers).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from anthroqa.scores.layout.cube import Array, Counts, Flags

SLIP = 0.02  # share of readings that follow no rule; common practice, no source
_SLIP_SPAN = 10  # a slip may be anywhere on so many whole marks; common practice, no source
NO_CYCLE = 10  # steps taken as a whole mark where the step does not say
_TELLING = 0.02  # a reading tells of the shift if it had this chance to come out otherwise
_LEAST_TELLING = 5  # so that the F quantile has 3 df at least
_SHIFTS, _ERRORS = 81, 18  # points of the grid
_LEAST_ERROR = 0.03  # steps
_AT_ONCE = 4_000_000  # numbers held at a time


@dataclass(frozen=True, slots=True)
class Way:
    """One way of reading."""

    mark: int  # steps
    backwards: bool  # counted from the wrong side of the whole mark


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """How well one way of reading fits each person, one entry a person."""

    way: Way
    log_likelihood: Array
    shift: Array  # steps, of the best fit
    error: Array  # steps, of the best fit
    lower: Array  # interval of the shift, in steps; NaN where the grid did not hold it
    upper: Array


def ways(cycle: int | None, marks: list[int]) -> list[Way]:
    """Every way that can be told apart: a side only where the mark has one."""
    found = [Way(m, False) for m in marks]
    # a half or a whole is the same from both sides
    return found + [Way(m, True) for m in marks if cycle is not None and cycle > 2 * m]


def counted_back(count: Counts, cycle: int) -> Counts:
    """What is read from the other side of the whole mark: 24 3/8 for 24 5/8."""
    position = count % cycle
    return np.where(position == 0, count, count - position + cycle - position)


def fit(
    count: Counts, true: Array, seen: Flags, way: Way, cycle: int | None, confidence: float
) -> Fit:
    """The best shift and error of one way of reading, for each person.

    `count` (whole steps) and `true` (steps) are people x readings; `seen` says which are there.
    """
    meant = counted_back(count, cycle) if way.backwards and cycle is not None else count
    off = np.where(seen, meant - true, 0.0)
    shifts, errors = _grid(off, seen, way.mark, cycle or NO_CYCLE)
    # what is on none of these marks is a slip, whatever the shift and the error
    possible = seen & (meant % way.mark == 0)
    on_mark, (distance,) = packed(possible, off)
    floor = SLIP / (_SLIP_SPAN * (cycle or NO_CYCLE))
    slips = (seen.sum(axis=1) - on_mark.sum(axis=1)) * np.log(floor)
    profile, best_error = np.empty(shifts.shape), np.empty(shifts.shape)
    size = max(1, _AT_ONCE // (on_mark.shape[1] * _SHIFTS * _ERRORS))
    for start in range(0, len(count), size):
        some = slice(start, start + size)
        # people, readings, shifts, errors
        centre = distance[some, :, None, None] - shifts[some, None, :, None]
        area = _area(centre, errors[some, None, None, :], way.mark)
        each = np.log((1 - SLIP) * area + floor)
        total = np.where(on_mark[some, :, None, None], each, 0.0).sum(axis=1)
        profile[some], place = _peak(total + slips[some, None, None])
        step = np.log(errors[some, 1:2] / errors[some, :1])
        best_error[some] = errors[some, :1] * np.exp(place * step)
    best = profile.argmax(axis=1)[:, None]
    shift = _middle(profile, shifts)
    error = np.take_along_axis(best_error, best, axis=1)
    certain = _area(off - shift[:, None], error, way.mark) > 1 - _TELLING
    lower, upper = _interval(profile, shifts, (possible & ~certain).sum(axis=1), confidence)
    return Fit(
        way=way, log_likelihood=profile.max(axis=1), shift=shift, error=error[:, 0],
        lower=lower, upper=upper,
    )  # fmt: skip


def packed(there: Flags, *values: np.ndarray) -> tuple[Flags, list[np.ndarray]]:
    """What is there for each person side by side, in as few columns as hold the most of anyone."""
    most = max(1, int(there.sum(axis=1).max(initial=0)))
    place = np.argsort(~there, axis=1, kind="stable")[:, :most]
    return (
        np.take_along_axis(there, place, axis=1),
        [np.take_along_axis(v, place, axis=1) for v in values],
    )


def _area(centre: Array, error: Array, mark: int) -> Array:
    """The chance that a value `centre` below a mark is read on that mark."""
    return special.ndtr((centre + mark / 2) / error) - special.ndtr((centre - mark / 2) / error)


def _grid(off: Array, seen: Flags, mark: int, cycle: int) -> tuple[Array, Array]:
    """Shifts and errors to try for each person: around the middle of their differences.

    The middle difference is within half a mark of the shift, but for its own error. Errors go
    up to a whole mark in equal ratios, as a way that does not fit has a large one.
    """
    there = np.where(seen, off, np.nan)
    there[~seen.any(axis=1)] = 0.0
    middle = np.nanmedian(there, axis=1, keepdims=True)
    spread = 1.4826 * np.nanmedian(np.abs(there - middle), axis=1, keepdims=True)
    n = np.maximum(seen.sum(axis=1, keepdims=True), 1)
    half = 0.75 * mark + 4 * spread / np.sqrt(n)
    shifts = middle + half * np.linspace(-1, 1, _SHIFTS)
    most = np.maximum(cycle, 2 * spread) / _LEAST_ERROR
    return shifts, _LEAST_ERROR * most ** np.linspace(0, 1, _ERRORS)


def _peak(total: Array) -> tuple[Array, Array]:
    """The top over the last axis, and its place, from a parabola through the three highest."""
    at = np.clip(total.argmax(axis=2), 1, total.shape[2] - 2)[:, :, None]
    before, here, after = (np.take_along_axis(total, at + i, axis=2)[:, :, 0] for i in (-1, 0, 1))
    bend = 2 * here - before - after
    inside = (here >= before) & (here >= after) & (bend > 0)
    lean = np.where(inside, (after - before) / (2 * np.where(inside, bend, 1.0)), 0.0)
    place = np.where(inside, at[:, :, 0] + lean, total.argmax(axis=2))
    return np.where(inside, here + (after - before) * lean / 4, total.max(axis=2)), place


def _middle(profile: Array, shifts: Array) -> Array:
    """The shift at the top; the middle of the top where it is flat."""
    top = profile > profile.max(axis=1, keepdims=True) - 1e-6
    return (np.where(top, shifts, 0).sum(axis=1)) / top.sum(axis=1)


def _interval(
    profile: Array, shifts: Array, telling: Counts, confidence: float
) -> tuple[Array, Array]:
    """Where the profile log-likelihood has fallen by the cut, between grid points."""
    n = np.maximum(telling, _LEAST_TELLING)
    df = n - 2  # shift and error are fitted
    t = special.stdtrit(df, (1 + confidence) / 2)
    cut = n / 2 * np.log1p(t**2 / df)
    level = profile.max(axis=1) - cut
    above = profile >= level[:, None]
    first = above.argmax(axis=1)
    last = above.shape[1] - 1 - above[:, ::-1].argmax(axis=1)
    lower = _crossing(profile, shifts, level, first, -1)
    upper = _crossing(profile, shifts, level, last, 1)
    whole = ~np.isnan(lower + upper)
    return np.where(whole, lower, np.nan), np.where(whole, upper, np.nan)


def _crossing(profile: Array, shifts: Array, level: Array, inside: Counts, way: int) -> Array:
    outside = inside + way
    there = (outside >= 0) & (outside < shifts.shape[1])
    outside = np.clip(outside, 0, shifts.shape[1] - 1)
    rows = np.arange(len(inside))
    high, low = profile[rows, inside], profile[rows, outside]
    fall = np.where(high > low, high - low, 1.0)
    part = np.clip((high - level) / fall, 0.0, 1.0)
    at = shifts[rows, inside] + part * (shifts[rows, outside] - shifts[rows, inside])
    return np.where(there, at, np.nan)
