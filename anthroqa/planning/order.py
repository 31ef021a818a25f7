"""In which order does each person meet the subjects, round by round?

Lists are rows of a Williams square: every subject stands once at every place and, for an even
number, follows every other once; for an odd number the square and its mirror do so together.
Williams (1949) Aust. J. Sci. Res. A 2:149-168, from memory. All people work at once, each with
another subject; more people than subjects work in waves. Which rows are used is searched for, so
that subjects meet people evenly too, and the reference is first with as few as can be.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Turns = npt.NDArray[np.int64]
_TRIES = 1000  # choices of rows that are compared; fewer in very large designs
_MOST_CELLS = 600_000  # of all the choices together


def rotation(
    people: int, subjects: int, rounds: int, *, reference: int | None, rng: np.random.Generator
) -> Turns:
    """Who is with which subject in each turn: rounds x turns x people, -1 where one waits.

    Everybody meets every subject once a round, and a subject is with one person at a time. In
    each round everybody has another list; of six subjects or more, at least a third lie between
    two readings of one, and no neighbours are neighbours again in the second round. With more
    people than subjects, the wave that was first is last in the next round.
    """
    waves = _waves(people, subjects, reference, rng)
    called = [rng.permutation(subjects) for _ in waves[::2]]  # by square and its mirror
    offset = np.empty(people, dtype=np.int64)
    for wave in waves:
        offset[wave] = _rows(len(wave), subjects, reference in wave.tolist(), rng)
    met = np.full((rounds, turns_of_round(people, subjects), people), -1, dtype=np.int64)
    for r, (mirrored, shift) in enumerate(_changes(subjects, rounds, rng)):
        for at, v in enumerate(np.roll(np.arange(len(waves)), -r)):
            rows = _square(subjects, mirrored)[:, None] + shift
            rows = (-rows if v % 2 else rows) + offset[waves[v]]  # waves take turns to be mirrored
            turns = slice(at * subjects, (at + 1) * subjects)
            met[r, turns, waves[v]] = called[v // 2][rows % subjects].T
    return met


def turns_of_round(people: int, subjects: int) -> int:
    """How many turns a round has: one a subject, for each wave of as many people."""
    return -(-people // subjects) * subjects


def _square(n: int, mirrored: bool) -> Turns:
    """First list of a Williams square: 0, n - 1, 1, n - 2 ...; the others add 1 to each of it."""
    first = np.empty(n, dtype=np.int64)
    first[::2] = np.arange((n + 1) // 2)
    first[1::2] = n - 1 - np.arange(n // 2)
    return -first % n if mirrored else first


def _waves(
    people: int, subjects: int, reference: int | None, rng: np.random.Generator
) -> list[Turns]:
    """People who work at the same time; the reference is in a full wave, to be first with one."""
    mixed = rng.permutation(people)
    if reference is not None:
        mixed = np.insert(mixed[mixed != reference], min(people, subjects) - 1, reference)
    return [mixed[i : i + subjects] for i in range(0, people, subjects)]


def _changes(n: int, rounds: int, rng: np.random.Generator) -> list[tuple[bool, int]]:
    """For each round whether the square is mirrored, and by how many rows it is moved.

    Mirroring moves a subject by one place, a row by two at the most: moved by under a third of the
    rows, a third of the subjects or more lie between two readings of one. One way of moving by a
    row would keep half of the pairs of neighbours. No list comes twice while there is another.
    """
    used = [(bool(rng.integers(2)), 0)]
    nearest = sorted(range(n), key=lambda step: min(step, n - step))
    far = range(1, n // 3)
    while len(used) < rounds:
        mirrored, shift = used[-1]
        keeps = 1 if mirrored else -1
        wanted = [step for step in (*far, *(-s for s in far)) if step != keeps]
        for step in (*rng.permutation(wanted), *nearest):
            change = (not mirrored, int(shift + step) % n)
            if change not in used:
                break
        used.append(change)
    return used


def _rows(people: int, n: int, referenced: bool, rng: np.random.Generator) -> Turns:
    """Which rows of the square people take, the reference the last of them."""
    if people == n:
        return rng.permutation(n)
    tries = max(1, min(_TRIES, _MOST_CELLS // (people * n)))
    rows = rng.permuted(np.tile(np.arange(n), (tries, 1)), axis=1)[:, :people]
    rows[0] = np.arange(people) * n // people  # even where people divide the subjects
    at = [np.argsort(_square(n, mirrored)) for mirrored in (False, True)]
    met = [np.argsort(one[(np.arange(n)[:, None] - rows[:, None]) % n], axis=2) for one in at]
    found = [_evenness(one, people) for one in met]
    firsts = [f.place[:, :, 0] for f in found]
    over = referenced * np.max([f[:, -1] - f.min(axis=1) for f in firsts], axis=0)
    places, follows = sum(f.places for f in found), sum(f.follows for f in found)
    return rows[np.lexsort((follows, places, over))[0]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Met:
    """How evenly sets of lists have their members at each place and after one another."""

    place: Turns  # sets x members x places: how often each member stands at each place
    places: Turns  # for each set, most less least often
    follows: Turns


def _evenness(lists: Turns, members: int) -> _Met:
    """Of sets of lists (sets x lists x places) of all the members."""
    place = _counts(lists, np.arange(lists.shape[2]), (members, lists.shape[2]))
    follow = _counts(lists[:, :, :-1], lists[:, :, 1:], (members, members))
    others = follow[:, ~np.eye(members, dtype=bool)]
    return _Met(
        place=place, places=np.ptp(place, axis=(1, 2)),
        follows=np.ptp(others, axis=1) if members > 1 else np.zeros(len(lists), dtype=np.int64),
    )  # fmt: skip


def _counts(first: Turns, second: Turns, shape: tuple[int, int]) -> Turns:
    """How often each pair of first and second occurs in each set."""
    sets = np.arange(len(first))[:, None, None]
    at = (sets * shape[0] + first) * shape[1] + second
    return np.bincount(at.ravel(), minlength=len(first) * shape[0] * shape[1]).reshape(-1, *shape)


def lists(turns: Turns) -> Turns:
    """Of one round: people x subjects, the subjects of each person in order."""
    return np.array([met[met >= 0] for met in turns.T])


def people_met(turns: Turns) -> Turns:
    """Of one round: subjects x people, the people that each subject meets in order."""
    turn, person = np.nonzero(turns >= 0)
    subject = turns[turn, person]
    return person[np.lexsort((turn, subject))].reshape(-1, turns.shape[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """What a rotation reaches, the worst of its rounds."""

    places: int  # how often a subject stands at a place of the lists: most less least
    follows: int  # how often a subject follows another: most less least
    people_places: int  # the same of people, in the lists of those that a subject meets
    people_follows: int
    between: int | None  # least number of other subjects between two readings of one
    first_met: tuple[tuple[int, ...], ...]  # with how many subjects each person is first, by round


def balance(turns: Turns) -> Balance:
    """How even a rotation is; `turns` as `rotation` gives them."""
    people = turns.shape[2]
    by_person = np.array([lists(one) for one in turns])
    subjects = by_person.shape[2]
    own = _evenness(by_person, subjects)
    met = _evenness(np.array([people_met(one) for one in turns]), people)
    at = np.argsort(by_person, axis=2)  # place of each subject
    gaps = [int((subjects - 1 - before + after).min()) for before, after in pairwise(at)]
    return Balance(
        places=int(own.places.max()), follows=int(own.follows.max()),
        people_places=int(met.places.max()), people_follows=int(met.follows.max()),
        between=min(gaps, default=None),
        first_met=tuple(tuple(one) for one in met.place[:, :, 0].tolist()),
    )  # fmt: skip
