"""What did the displays show, before a tare was taken off?

Marks are preferred, and readings rounded, on the display as it was read: the gross reading and
the tare each, not their difference. Readings that intake converted from the other system of
units were read from other marks; they are left out and counted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from anthroqa.intake import Measure
from anthroqa.scores.layout.cube import Counts, Cube, Flags


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Displays:
    """First readings of one measure as displayed; axes are person, item, round.

    An item is a subject on the scale, or the tare of a subject (the caregiver alone). `x`
    holds whole steps from zero, 0 where nothing was read; `seen` says where something was.
    """

    measure: Measure
    people: list[str]  # the reference (if it measured) first
    referenced: bool
    subject: Counts  # of each item, an index of subjects
    tared: bool  # whether items of tares stand behind those of subjects
    x: Counts
    seen: Flags
    converted: Counts  # readings of each person that were left out


def displays(cube: Cube) -> Displays:
    """The displays behind the readings of a cube."""
    gross, tare, converted = cube.gross, cube.tare, cube.converted
    subject = np.arange(len(cube.subjects))
    tared = bool((tare != 0).any())
    seen = cube.seen & ~converted
    x = np.where(seen, gross, 0)
    if tared:
        weighed = seen & (tare != 0)  # no caregiver weighs nothing
        x = np.concatenate([x, np.where(weighed, tare, 0)], axis=1)
        seen = np.concatenate([seen, weighed], axis=1)
        subject = np.tile(subject, 2)
    return Displays(
        measure=cube.measure, people=cube.people, referenced=cube.referenced, subject=subject,
        tared=tared, x=x, seen=seen, converted=converted.sum(axis=(1, 2)),
    )  # fmt: skip
