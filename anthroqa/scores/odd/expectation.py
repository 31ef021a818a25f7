"""What was each reading expected to be, and is it far from that?

The expectation of a reading is the median of all other first readings of the subject, after
each person's usual difference and each round's common shift are taken out, plus those of the
reading itself. Differences and shifts are medians too, found in turn (Tukey (1977) Exploratory
Data Analysis, chapter 11: median polish; from memory); readings that are far are left out of what
others are compared with. So neither a slip, nor an exchanged pair, nor one biased person, nor a
round that moved for everybody spoils it.

The spread is moderated: a person's own mean square, with squares beyond 1.5 SD cut off (Huber
(1964) Ann. Math. Stat. 35:73-101, proposal 2), is averaged by degrees of freedom with that of
everybody (Smyth (2004) Stat. Appl. Genet. Mol. Biol. 3:3, eq. for the moderated variance; from
memory), as if the latter had six. A subject on whom the others scatter widely has a wider spread.
It is never under half a step for each display that was read.

Far is beyond the quantile of Student's t at which one honest session in fifty has a reading that
is far (Bonferroni over the readings of the measure). Assumes one error size for every size of
subject, and tails about those of Student's t.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from anthroqa.scores.layout.cube import Array, Counts, Cube, Flags
from anthroqa.scores.layout.figures import ratio

RISK = 0.02  # of a session of one measure, honest throughout, to have a far reading
_CUT = 1.5  # standard deviations at which squares are cut off
_KEPT = 0.778465  # what is left of a standard normal's mean square
_STAFF_DF = 6.0  # what everybody's spread counts for beside a person's own
_SUBJECT_DF, _FEW = 2.0, 12.0  # and beside that of a subject, read so often or more
_LEAST_HABIT = 3  # readings below which a person has no usual difference
_LEAST_SPREAD = 0.5  # steps, of one display
_TURNS = 4  # of the polish
_CUTS = 25  # turns of cutting squares off
_REPEATS = 10  # at most, of leaving out what is odd


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """Of each first reading of a cube, what it was expected to be; steps from zero.

    Axes are person, subject, round; NaN where nobody else read the subject.
    """

    value: Array
    spread: Array  # one standard deviation of the reading about it
    limit: Array  # distance from which on a reading is far
    off_by: Array  # the reading less its expectation
    far: Flags
    readers: Counts  # of each subject, how many people


def expected(cube: Cube) -> Expected:
    """Expectation, spread and limit of every first reading of a measure."""
    x = np.where(cube.seen, cube.x, np.nan)
    readers = cube.seen.any(axis=2).sum(axis=0)
    judged = cube.seen & (readers > 1)[None, :, None]
    floor = _LEAST_SPREAD * np.sqrt(1.0 + (cube.tare != 0))
    quantile = 1 - RISK / (2 * max(int(judged.sum()), 1))
    odd = np.zeros_like(judged)
    for _ in range(_REPEATS):
        sound = np.where(odd, np.nan, x)
        usual = _usual(sound, cube.group)
        level, n = _of_the_rest(sound - usual)
        alone = n == 0  # everybody is odd there: nobody is left out
        if alone.any():
            whole, n_whole = _of_the_rest(x - usual)
            level, n = np.where(alone, whole, level), np.where(alone, n_whole, n)
        value = np.where(judged, level + usual, np.nan)
        off_by = x - value
        spread, df = _spread(np.where(odd, np.nan, off_by), n, floor)
        limit = spread * special.stdtrit(df, quantile)
        rest = x - usual
        before, odd = odd, _beyond(rest - of_subjects(rest)[:, None], limit)
        if (before == odd).all():
            break
    return Expected(
        value=value + cube.shift, spread=spread, limit=limit, off_by=off_by,
        far=_beyond(off_by, limit), readers=readers,
    )  # fmt: skip


def _beyond(off_by: Array, limit: Array) -> Flags:
    return np.abs(np.nan_to_num(off_by)) > np.nan_to_num(limit, nan=np.inf)


def middle(values: Array) -> Array:
    """Medians over the last axis, NaN passed over; NaN where there is nothing else."""
    if not values.shape[-1]:
        return np.full(values.shape[:-1], np.nan)
    x = np.sort(values, axis=-1)
    n = (~np.isnan(x)).sum(axis=-1, keepdims=True)
    low, high = (np.take_along_axis(x, np.maximum(at, 0), axis=-1) for at in ((n - 1) // 2, n // 2))
    return ((low + high) / 2)[..., 0]


def _by_subject(values: Array) -> Array:
    return values.transpose(1, 0, 2).reshape(values.shape[1], -1)


def of_subjects(values: Array) -> Array:
    """The median of each subject over people and rounds."""
    return middle(_by_subject(values))


def _of_the_rest(values: Array) -> tuple[Array, Counts]:
    """For each reading the median of its subject's other readings, and how many they are."""
    flat = _by_subject(values)
    order = np.argsort(flat, axis=1)
    x = np.take_along_axis(flat, order, axis=1)
    inside = ~np.isnan(flat)
    n = inside.sum(axis=1, keepdims=True) - inside
    own = np.where(inside, np.argsort(order, axis=1), flat.shape[1])

    def at(place: Counts) -> Array:
        place = np.maximum(place, 0)
        place = np.minimum(place + (place >= own), flat.shape[1] - 1)
        return np.take_along_axis(x, place, axis=1)

    rest = np.where(n > 0, (at((n - 1) // 2) + at(n // 2)) / 2, np.nan)
    people, subjects, rounds = values.shape
    back = (subjects, people, rounds)
    return rest.reshape(back).transpose(1, 0, 2), n.reshape(back).transpose(1, 0, 2)


def _usual(x: Array, group: Counts) -> Array:
    """What each person and each round usually adds, group by group: people x subjects x rounds."""
    usual = np.zeros_like(x)
    for g in np.unique(group):
        mine = group == g
        y = x[:, mine]
        people, _, rounds = y.shape
        n = (~np.isnan(y)).reshape(people, -1).sum(axis=1)
        person = np.zeros((people, 1, 1))
        # rounds first by each person's own readings of a subject: a subject may lack a round
        shift = np.nan_to_num(_of_rounds(y - middle(y)[:, :, None]))
        for _ in range(_TURNS):
            level = of_subjects(y - person - shift)[:, None]
            off = middle((y - level - shift).reshape(people, -1))
            person = np.where(n >= _LEAST_HABIT, np.nan_to_num(off), 0.0)[:, None, None]
            if rounds > 1:
                shift = shift + np.nan_to_num(_of_rounds(y - level - person - shift))
        usual[:, mine] = person + shift
    return usual


def _of_rounds(values: Array) -> Array:
    return middle(values.transpose(2, 0, 1).reshape(values.shape[2], -1))


def _spread(off_by: Array, n: Counts, floor: Array) -> tuple[Array, Array]:
    """The spread of each reading about its expectation, and the df that it counts for."""
    # a median of n varies by pi / 2n of a reading's variance, a mean of one or two by 1 / n
    widening = 1 + np.where(n > 2, np.pi / 2, 1.0) / np.maximum(n, 1)
    square = off_by**2 / widening
    there = ~np.isnan(square)
    square = np.where(there, square, 0.0)
    readings = there.sum(axis=(1, 2))
    everybody = _cut_mean(square[there][None], there[there][None], 0.0, 0.0)
    df = _STAFF_DF + np.maximum(readings - 1, 0)  # one usual difference is taken out
    people = len(square)
    own = _cut_mean(square.reshape(people, -1), there.reshape(people, -1), _STAFF_DF, everybody)
    own = np.maximum(np.where(readings > 0, own, everybody)[:, None, None], floor**2)
    # where everybody agrees, a step more or less says nothing: the subject lies between two marks
    scatter, df_subject = _widened(ratio(np.maximum(square - 4 * floor**4 / own, 0.0), own), there)
    share = 1 - 1 / scatter  # of the variance that the subject is answerable for
    df = 1 / ((1 - share) / df[:, None, None] + share / df_subject[:, None])
    return np.sqrt(own * scatter * widening), df


def _cut_mean(square: Array, there: Flags, prior_df: float, prior: Array | float) -> Array:
    """Mean squares over the last axis with large ones cut off, averaged with a prior one."""
    n = there.sum(axis=-1)
    df = prior_df + (np.maximum(n - 1, 0) if prior_df else n)
    mean = np.full(n.shape, prior) if prior_df else (middle(np.where(there, square, np.nan)) + 1)
    for _ in range(_CUTS):
        cut = np.minimum(square, _CUT**2 * mean[..., None]).sum(axis=-1) / _KEPT
        mean = ratio(prior_df * np.asarray(prior) + cut, df)
    return mean


def _widened(square: Array, there: Flags) -> tuple[Array, Array]:
    """How many times the mean square of a subject is that of the rest, by its other readings.

    And the df that this counts for, of each subject.
    """
    n = there.sum(axis=(0, 2))
    prior = np.maximum(_SUBJECT_DF, _FEW - n)
    df = prior + np.maximum(n - 1, 0)
    widening = np.ones(len(n))
    for _ in range(_CUTS):
        cut = np.where(there, np.minimum(square, (_CUT**2 * widening)[:, None]), 0.0) / _KEPT
        total = cut.sum(axis=(0, 2))
        widening = np.maximum((prior + total) / (prior + n), 1.0)
    return np.maximum((prior[:, None] + total[:, None] - cut) / df[:, None], 1.0), df
