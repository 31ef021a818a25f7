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
_TRIES = 200  # choices of rows that are compared


def rotation(
    people: int, subjects: int, rounds: int, *, reference: int | None, rng: np.random.Generator
) -> Turns:
    """Who is with which subject in each turn: rounds x turns x people, -1 where one waits.

    Everybody meets every subject once a round, and a subject is with one person at a time. In
    each round everybody has another list; the next list begins with subjects that were met long
    ago. With more people than subjects, the wave that was first is last in the next round.
    """
    waves = _waves(people, subjects, reference, rng)
    called = rng.permutation(subjects)
    offset = np.empty(people, dtype=np.int64)
    for wave in waves:
        offset[wave] = _rows(len(wave), subjects, reference in wave.tolist(), rng)
    met = np.full((rounds, len(waves) * subjects, people), -1, dtype=np.int64)
    for r, (mirrored, shift) in enumerate(_changes(subjects, rounds, rng)):
        for at, v in enumerate(np.roll(np.arange(len(waves)), -r)):
            # waves of an odd square take turns with its mirror
            flipped = mirrored ^ (subjects % 2 == 1 and v % 2 == 1)
            rows = _square(subjects, flipped)[:, None] + offset[waves[v]] + shift
            turns = slice(at * subjects, (at + 1) * subjects)
            met[r, turns, waves[v]] = called[rows % subjects].T
    return met


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

    Mirroring moves a subject by one place, a row by two at the most: moved by under a quarter of
    the rows, about half of the subjects lie between two readings of one. No list comes twice
    while there is another.
    """
    used = [(bool(rng.integers(2)), 0)]
    near = np.arange(1, max(1, n // 4) + 1)
    while len(used) < rounds:
        mirrored, shift = used[-1]
        for step in (*rng.permutation(np.concatenate([near, -near])), *range(n)):
            change = (not mirrored, int(shift + step) % n)
            if change not in used:
                break
        used.append(change)
    return used


def _rows(people: int, n: int, referenced: bool, rng: np.random.Generator) -> Turns:
    """Which rows of the square people take, the reference the last of them."""
    if people == n:
        return rng.permutation(n)
    spaced = np.arange(people) * n // people  # even where people divide the subjects
    best, least = spaced, None
    for k in range(_TRIES):
        rows = rng.permutation(spaced if k == 0 else n)[:people]
        found = [_as_met((_square(n, m)[:, None] + rows) % n) for m in (False, True)]
        firsts = [f.place[:, 0] for f in found]
        uneven = (
            max(int(f[-1] - f.min()) for f in firsts) if referenced else 0,
            sum(f.places for f in found), sum(f.follows for f in found),
        )  # fmt: skip
        if least is None or uneven < least:
            best, least = rows, uneven
    return best


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Met:
    """How evenly lists have their members at each place and after one another."""

    place: Turns  # how often each member stands at each place
    places: int  # most less least often
    follows: int


def _evenness(lists: Turns, members: int) -> _Met:
    """Of lists (one a row) of all the members."""
    place = np.zeros((members, lists.shape[1]), dtype=np.int64)
    np.add.at(place, (lists, np.arange(lists.shape[1])[None, :]), 1)
    follow = np.zeros((members, members), dtype=np.int64)
    np.add.at(follow, (lists[:, :-1], lists[:, 1:]), 1)
    others = follow[~np.eye(members, dtype=bool)]
    return _Met(
        place=place, places=int(np.ptp(place)), follows=int(np.ptp(others)) if members > 1 else 0
    )


def _as_met(turns: Turns) -> _Met:
    """How evenly subjects meet people, in one round."""
    return _evenness(people_met(turns), turns.shape[1])


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
    by_person = [lists(one) for one in turns]
    subjects = by_person[0].shape[1]
    own = [_evenness(one, subjects) for one in by_person]
    met = [_as_met(one) for one in turns]
    at = [np.argsort(one, axis=1) for one in by_person]  # place of each subject
    gaps = [int((subjects - 1 - before + after).min()) for before, after in pairwise(at)]
    return Balance(
        places=max(f.places for f in own), follows=max(f.follows for f in own),
        people_places=max(f.places for f in met), people_follows=max(f.follows for f in met),
        between=min(gaps, default=None),
        first_met=tuple(tuple(int(f.place[p, 0]) for p in range(people)) for f in met),
    )  # fmt: skip
