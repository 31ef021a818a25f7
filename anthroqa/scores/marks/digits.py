"""Does each person read every mark?

What is expected of a person's readings comes from the subjects, never from even digits: ten
children read twice have ten positions, not twenty. A null session of a person has each subject
where everybody else read it, the person's own bias and repeat error, and every reading put on the
nearest step; p-values are shares of such drawn sessions. They are exact up to what is estimated:
(1 + at least as far) / (1 + drawn), after Davison & Hinkley (1997), section 4.2 (from memory).

`digit_dissimilarity`: half the sum of |observed - expected| shares of terminal positions, less
its mean in null sessions. `coarse_share:MARK`: see `shares`; its p-value is that of the mark's
contrast, the log likelihood ratio of a moderate share on the mark, against the largest contrast
of a null session, so that the least of a person's p-values over marks is a valid one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from anthroqa.notes import NONE, Note, Notes, notes_of
from anthroqa.notes.scores.marks import Conversion, ConvertedLeftOut, Digits, FewShared, Remedy
from anthroqa.scores.layout.cube import Array, Counts, Cube, Flags
from anthroqa.scores.layout.figures import Figures, NoteArray, join, notes
from anthroqa.scores.layout.shown import displays
from anthroqa.scores.marks.combs import comb
from anthroqa.scores.marks.null_sessions import Judged, judge
from anthroqa.scores.marks.shares import Shares, shares_of
from anthroqa.scores.marks.subject_positions import Positions, positions

NAMES = ("digit_dissimilarity", "coarse_share")
LEAST_ITEMS = 6  # read by somebody else too; common practice, no source
_UNTOLD = 0.95  # an interval as wide as that says nothing of a share


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Read:
    """The readings of a measure with their positions, or why digit figures cannot be had."""

    at: Positions | None
    why: list[Notes]  # of each person; empty where there are figures
    subjects: Counts
    readings: Counts
    converted: Counts


def figures(cube: Cube, confidence: float, rng: np.random.Generator) -> list[Figures]:
    """`digit_dissimilarity` and `coarse_share:MARK` of each person, the reference too."""
    read, shares = read_marks(cube), people_shares(cube, confidence)
    marks = cube.measure.coarse_marks
    n, m = len(cube.people), len(marks)
    names = list(marks.values())
    far, far_p = np.full(n, np.nan), np.full(n, np.nan)
    share = np.full((4, m, n), np.nan)  # estimate, lower, upper, p
    for person, own in enumerate(rng.spawn(n)):  # as many as one needs, nobody else's change
        if read.why[person]:
            continue
        assert read.at is not None
        mine = used(read.at, person)
        judged: Judged = judge(read.at, mine, cube.measure.cycle, own)
        far[person], far_p[person] = judged.dissimilarity, judged.p_dissimilarity
        found = shares[person]
        told = found.upper - found.lower < _UNTOLD
        estimate = np.where(told, found.estimate, np.nan)
        share[:, :, person] = estimate, found.lower, found.upper, judged.p_marks
    shared = {"subjects": read.subjects, "readings": read.readings}
    return [
        Figures(
            statistic="digit_dissimilarity", unit="share", estimate=far, p_value=far_p,
            note=_noted(read, (True, Digits.SHARES_HAVE_INTERVALS)), **shared,
        ),
        *(
            Figures(
                statistic=f"coarse_share:{name}", unit="share", estimate=share[0, j],
                lower=share[1, j], upper=share[2, j], p_value=share[3, j],
                note=_noted(
                    read, (np.isnan(share[0, j]), Digits.WOULD_NOT_SHOW),
                    (m > 1, Digits.LARGEST_CONTRAST),
                ), **shared,
            )
            for j, name in enumerate(names)
        ),
    ]  # fmt: skip


def _noted(read: Read, *otherwise: tuple[Flags | bool, Note]) -> NoteArray:
    """Why there is no figure, else the first of these that holds; and what was left out."""
    had = np.array([not why for why in read.why])
    left = [notes_of(ConvertedLeftOut(readings=int(k)) if k else None) for k in read.converted]
    return join(
        np.array(read.why, dtype=object),
        notes(len(had), *((had & where, note) for where, note in otherwise)),
        np.array(left, dtype=object),
    )


class _Same:
    """A cube that is the same as another if it holds the same displays."""

    def __init__(self, cube: Cube) -> None:
        arrays = (cube.gross, cube.tare, cube.seen, cube.converted)
        self.cube = cube
        self.key = (cube.measure.step, cube.measure.cycle, cube.x.shape,
                    *(a.tobytes() for a in arrays))  # fmt: skip

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.key == other.key


def read_marks(cube: Cube) -> Read:
    """Where the readings of a cube fall; fitted once for all who ask about the same readings."""
    return _read_marks(_Same(cube))


@lru_cache(maxsize=8)
def _read_marks(same: _Same) -> Read:
    cube = same.cube
    d = displays(cube)
    n = len(d.people)
    seen = d.seen.any(axis=2)
    shared = seen & (seen.sum(axis=0) > 1)
    read = {
        "subjects": np.array([len(np.unique(d.subject[row])) for row in seen]),
        "readings": d.seen.sum(axis=(1, 2)),
        "converted": d.converted,
    }
    if cube.measure.cycle is None:
        return Read(at=None, why=[notes_of(Digits.NO_WHOLE_MARK)] * n, **read)
    combs = [_comb_of(cube, d.x[p], d.seen[p]) for p in range(n)]
    everybody = _comb_of(cube, d.x, d.seen)
    why = [
        everybody or own or (NONE if k >= LEAST_ITEMS else notes_of(
            FewShared(positions=k, least=LEAST_ITEMS) if k else Digits.NOBODY_ELSE
        ))
        for own, k in zip(combs, shared.sum(axis=1).tolist(), strict=True)
    ]  # fmt: skip
    if all(why):
        return Read(at=None, why=why, **read)
    at = positions(d)
    items = np.bincount(at.cell_person[~at.alone], minlength=n)
    few = notes_of(Digits.TOO_FEW_READINGS)
    why = [w or (NONE if k >= LEAST_ITEMS else few) for w, k in zip(why, items, strict=True)]
    return Read(at=at, why=why, **read)


@lru_cache(maxsize=1)
def people_shares(cube: Cube, confidence: float) -> dict[int, Shares]:
    """Shares on each coarse mark of those people whose figures can be had."""
    read = read_marks(cube)
    return {
        person: shares_of(read.at, used(read.at, person), confidence)
        for person, why in enumerate(read.why)
        if not why and read.at is not None
    }


def _comb_of(cube: Cube, x: Counts, seen: Flags) -> Notes:
    """Why some readings say nothing of marks: they were converted before they were written."""
    subject = np.broadcast_to(np.arange(x.shape[-2])[:, None], x.shape)
    found = comb(x[seen], cube.measure.step, subjects=subject[seen])
    if found is None:
        return NONE
    return notes_of(Conversion(on=found.on, of=found.of, step=found.step), Remedy.WRITE_AS_SHOWN)


def used(at: Positions, person: int) -> Array:
    """The readings of a person on items that somebody else read too."""
    return np.flatnonzero((at.person == person) & ~at.alone[at.cell])
