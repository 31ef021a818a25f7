"""Read-back drills: sliders and masses at known settings, read in known ways."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import Step
from anthroqa.simulate.readings import Counts, Sheet, csv_of, nearest

_DRILL = """\
title = "Read-back drill, board and beam"
date = 2026-10-20
exercise = "drill"

[measure.board]
recorded_to = "1/8 in"
kind = "length"
range = ["15 in", "40 in"]

[measure.beam]
recorded_to = "1/4 lb"
kind = "weight"
range = ["4 lb", "60 lb"]
"""
_SETTINGS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """How a person reads: to which mark, displaced by how much of it, from which side."""

    mark: int = 1  # steps
    shift: float = 0.0  # marks
    error: float = 0.2  # steps, before rounding
    backwards: bool = False


def settings(
    step: Step, cycle: int, *, low: int, high: int, rng: np.random.Generator, n: int = _SETTINGS
) -> list[Fraction]:
    """Where sliders are set, in the step's unit to a hundredth, between two whole marks.

    Positions are spread over the whole mark, shuffled. Two lie on marks (one of them a whole
    one); of the others one half lies .05 to .45 of a step above a mark, the other .55 to .95.
    """
    out = []
    for k in range(n):
        visit, position = divmod(k, cycle)  # both halves of a step at every position
        steps = int(rng.integers(low, high)) * cycle + position
        ends = (0.05, 0.45) if (visit + position) % 2 else (0.55, 0.95)
        if k in (0, 2):
            out.append(steps * step.size)
            continue
        while True:
            amount = Fraction(round((steps + rng.uniform(*ends)) * float(step.size) * 100), 100)
            if ends[0] <= amount / step.size - steps <= ends[1]:
                break
        out.append(amount)
    return [out[i] for i in rng.permutation(n)]


def read(true: npt.ArrayLike, reader: Reader, cycle: int, *, rng: np.random.Generator) -> Counts:
    """What a reader writes for settings in steps, in whole steps."""
    true = np.asarray(true, dtype=float)
    error = reader.error * rng.normal(size=true.shape)
    counts = nearest(true + reader.shift * reader.mark + error, mark=reader.mark)
    whole, part = np.divmod(counts, cycle)
    if reader.backwards:
        part = np.where(part > 0, cycle - part, 0)
    return whole * cycle + part


_CLEAN = Reader()
_LARGE = Reader(error=1.2)
_DOWN = Reader(shift=-0.5)
_READERS: dict[str, tuple[str, Reader, Reader]] = {  # on the board, on the beam
    "R1": ("clean", _CLEAN, _CLEAN),
    "R2": ("rounds down", _DOWN, _DOWN),
    "R3": ("reads half inches and half pounds only", Reader(mark=4), Reader(mark=2)),
    "R4": ("clean", _CLEAN, _CLEAN),
    "R5": ("reads the board from above: one mark low", Reader(shift=-1.0), _CLEAN),
    "R6": ("half a mark high", Reader(shift=0.5), Reader(shift=0.5)),
    "R7": ("counts eighths from the wrong side of the inch", Reader(backwards=True), _CLEAN),
    "R8": ("an error too large to say how marks are read", _LARGE, _LARGE),
    "R9": ("clean", _CLEAN, _CLEAN),
}


def marks_drill(seed: int) -> dict[str, str]:
    """Nine readers of twenty-four sliders on a board and as many masses on a beam."""
    rng = np.random.default_rng(seed)
    people = list(_READERS)
    kits = (
        ("board", "B", Step(Fraction(1, 8), "in"), 8, 18, 38),
        ("beam", "W", Step(Fraction(1, 4), "lb"), 4, 8, 55),
    )
    rows: list[dict[str, str]] = []
    known = ["subject,measure,true"]
    for k, (measure, letter, step, cycle, low, high) in enumerate(kits):
        amounts = settings(step, cycle, low=low, high=high, rng=rng)
        subjects = [f"{letter}{i:02d}" for i in range(1, _SETTINGS + 1)]
        known += [
            f"{subject},{measure},{_as_set(amount, step)} {step.unit}"
            for subject, amount in zip(subjects, amounts, strict=True)
        ]
        true = np.array([float(amount / step.size) for amount in amounts])
        counts = np.stack([read(true, _READERS[p][1 + k], cycle, rng=rng) for p in people])
        rows += Sheet(
            measure=measure, step=step, people=people, subjects=subjects,
            counts=counts[:, :, None],
        ).rows()  # fmt: skip
    return {
        "session.toml": _DRILL,
        "true_values.csv": "\n".join(known) + "\n",
        "readings.csv": csv_of(rows),
        "truth.toml": _truth(seed, kits),
    }


def _as_set(amount: Fraction, step: Step) -> str:
    """A setting in figures: as a mark is written where it lies on one, else in hundredths."""
    steps = amount / step.size
    return as_written(int(steps), step) if steps.denominator == 1 else f"{float(amount):.2f}"


def _truth(seed: int, kits: tuple[tuple[str, str, Step, int, int, int], ...]) -> str:
    """The text of `truth.toml`: how everybody reads each instrument."""
    lines = ["# What was planted in this invented drill.", f"seed = {seed}", "", "[staff]"]
    lines += [f'{code} = "{what}"' for code, (what, *_) in _READERS.items()]
    for k, (measure, _, step, *_) in enumerate(kits):
        names = {1: str(step), **step.coarse_marks()}
        for code, planted in _READERS.items():
            reader = planted[1 + k]
            lines += [
                "", "[[reader]]", f'measurer = "{code}"', f'measure = "{measure}"',
                f'mark = "{names[reader.mark]}"', f"shift = {reader.shift}  # marks",
                f"error = {reader.error}  # steps",
                f"wrong_side = {str(reader.backwards).lower()}",
            ]  # fmt: skip
    return "\n".join(lines) + "\n"
