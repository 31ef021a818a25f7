"""Where between two whole marks do readings fall, and where would a careful reader's?

Expected counts are those of the null sessions of `digits`, computed and not drawn: every subject
where everybody else read it, the person's own bias and repeat error, the nearest step.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.intake import Session
from anthroqa.scores.layout.cube import Array, Cube, cubes
from anthroqa.scores.marks.digits import read_marks, used
from anthroqa.scores.marks.subject_positions import Index, Positions

COLUMNS = ["measure", "measurer", "position", "observed", "expected"]


def terminal_positions(session: Session) -> pd.DataFrame:
    """Observed and expected counts of readings at each position between two whole marks.

    Parameters
    ----------
    session : Session

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, position, observed, expected`: `position` in steps from 0 (a whole
        mark) to the cycle less one, counts of the displays as read (gross and tare each). Only
        people whose digit figures can be had, on what somebody else read too.

    Examples
    --------
    >>> import anthroqa
    >>> session = anthroqa.read_session("sample_sessions/clinics_customary")
    >>> table = terminal_positions(session)
    >>> k2 = table[(table["measure"] == "infant_length") & (table["measurer"] == "K2")]
    >>> k2["observed"].tolist()  # eighths of an inch
    [8, 0, 4, 0, 5, 0, 7, 0]
    """
    return terminal_rows(cubes(session))


def terminal_rows(of: Iterable[Cube]) -> pd.DataFrame:
    """The counts of the cubes of a session, as `terminal_positions` gives them."""
    parts = [pd.DataFrame(columns=COLUMNS)]
    for cube in of:
        read, cycle = read_marks(cube), cube.measure.cycle
        if read.at is None or cycle is None:
            continue
        for person, why in enumerate(read.why):
            if why:
                continue
            mine = used(read.at, person)
            parts.append(pd.DataFrame({
                "measure": cube.measure.name, "measurer": cube.people[person],
                "position": np.arange(cycle),
                "observed": np.bincount(
                    read.at.x[mine].astype(np.int64) % cycle, minlength=cycle
                ),
                "expected": expected(read.at, mine, cycle),
            }))  # fmt: skip
    return pd.concat(parts[1:] or parts, ignore_index=True)


def expected(at: Positions, readings: Index, cycle: int) -> Array:
    """Expected count of some readings of one person at each position."""
    person = at.person[readings[0]]
    bias, error = at.honest_bias[person], at.honest_error[person]
    cell, turn = at.cell[readings], at.turn[readings]
    value = at.grid[at.cell_item[cell]] + bias + at.shift[turn][:, None]  # readings x nodes
    weight = at.others[cell]
    within = value % cycle
    turns = int(np.ceil(6 * error / cycle)) + 1
    ends = np.arange(-turns * cycle, (turns + 1) * cycle + 1) - 0.5  # ends of steps, around
    below = special.ndtr((ends - within.ravel()[:, None]) / error)
    chance = np.diff(below, axis=1).reshape(len(within.ravel()), -1, cycle).sum(axis=1)
    return weight.ravel() @ chance
