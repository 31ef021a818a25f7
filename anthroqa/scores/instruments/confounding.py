"""Whose error can this design not tell from the instrument's?

A person's difference from the reference holds the difference of their instruments. It can be
told apart where the file of known loads knows those instruments, or where the design crosses
them: in the additive model reading = subject + person + instrument the contrast of person and
reference is then estimable, that is, it is at right angles to every direction that the design
leaves open (Searle 1971, Linear Models, section 5.4, from memory). On one shared instrument the
person is compared fairly, and an error of that instrument is seen by nobody.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import pandas as pd

from anthroqa.intake import Session
from anthroqa.notes import Notes, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.scores.instruments import Entangled
from anthroqa.scores.instruments.known_load_errors import centred
from anthroqa.scores.layout.cube import Array, Cube, Flags, cubes

COLUMNS = ["measure", "measurer", "instruments", "reference_instruments", "tested", "said"]
_SAME = 1e-8  # of a direction of length one


def entangled(session: Session) -> pd.DataFrame:
    """Staff whose bias this session cannot tell from an error of an instrument.

    Returns `measure, measurer, instruments, reference_instruments, tested, said`: one row a
    person and measure for whom it cannot, over the readings that they and the reference have
    in common. `tested` is "yes" where the file of known loads knows all the instruments named (a
    shared one can then be looked up there), `said` is why.
    """
    return worded(entangled_rows(cubes(session)), "said")


def entangled_rows(of: Iterable[Cube]) -> pd.DataFrame:
    """The staff of the cubes of a session, as `entangled` gives them, with codes."""
    rows = [row for cube in of if cube.referenced for row in _of(cube)]
    return pd.DataFrame(rows, columns=COLUMNS)


def _of(cube: Cube) -> Iterator[tuple[str, str, str, str, str, Notes]]:
    both = cube.seen & cube.seen[:1]
    tested = set() if cube.known_loads.empty else set(centred(cube.known_loads)["instrument"])
    left_open: Array | None = None
    for p in np.flatnonzero(both.any(axis=(1, 2))):
        if p == 0:
            continue
        own, theirs = cube.instrument[p][both[p]], cube.instrument[0][both[p]]
        codes, others = _codes(cube, own), _codes(cube, theirs)
        known = set(codes) | set(others) <= tested
        if (own < 0).any() or (theirs < 0).any():
            why, known = Entangled.UNNAMED, False
        elif (own == theirs).all():
            why = Entangled.SHARED
        elif known:
            continue
        else:
            left_open = _left_open(cube) if left_open is None else left_open
            if (np.abs(left_open[:, p] - left_open[:, 0]) < _SAME).all():
                continue
            why = Entangled.APART
        yield (
            cube.measure.name, cube.people[p], ", ".join(codes), ", ".join(others),
            "yes" if known else "no", notes_of(why),
        )  # fmt: skip


def _codes(cube: Cube, places: np.ndarray) -> list[str]:
    return [cube.instruments[i] for i in np.unique(places) if i >= 0]


def _left_open(cube: Cube) -> Array:
    """Directions over people that the readings say nothing of (directions x people).

    Subjects are swept out first: within each the design is taken less its mean.
    """
    used: Flags = cube.seen & (cube.instrument >= 0)
    person, subject, _ = np.nonzero(used)
    places = np.stack([subject, person, cube.instrument[used]], axis=1)
    subject, person, on = np.unique(places, axis=0).T
    design = np.zeros((len(subject), len(cube.people) + len(cube.instruments)))
    row = np.arange(len(subject))
    design[row, person] = 1
    design[row, len(cube.people) + on] = 1
    for s in np.unique(subject):
        design[subject == s] -= design[subject == s].mean(axis=0)
    values, vectors = np.linalg.eigh(design.T @ design)
    none = values < _SAME * max(values.max(initial=0.0), 1.0)
    return vectors[: len(cube.people), none].T
