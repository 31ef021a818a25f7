"""Drawn sessions of the five designs that tests of marks are judged by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from anthroqa.intake import Measure
from anthroqa.intake.written.steps import Step
from anthroqa.scores.layout.cube import Cube
from anthroqa.simulate import draw, nearest


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """One instrument: its step, a usual repeat error, and the mark that a leaner goes to."""

    step: Step
    tem: float  # steps
    half: int  # steps


DESIGNS: Mapping[str, Design] = {
    "0.1 cm": Design(step=Step(Fraction(1, 10), "cm"), tem=3.0, half=5),
    "0.1 kg": Design(step=Step(Fraction(1, 10), "kg"), tem=0.2, half=5),
    "10 g": Design(step=Step(Fraction(10), "g"), tem=2.0, half=10),
    "1/8 in": Design(step=Step(Fraction(1, 8), "in"), tem=1.2, half=4),
    "1 oz": Design(step=Step(Fraction(1), "oz"), tem=1.0, half=4),
}


def cube_of(counts: np.ndarray, step: Step, *, seen: np.ndarray | None = None) -> Cube:
    """A cube of counts (people x subjects x rounds), nobody the reference."""
    seen = np.ones(counts.shape, dtype=bool) if seen is None else seen
    counts = np.where(seen, counts, 0)
    people, subjects, rounds = counts.shape
    shift = int(counts[seen].min())
    return Cube(
        measure=Measure(name="m", step=step),
        people=[f"P{i}" for i in range(people)], subjects=[f"S{i}" for i in range(subjects)],
        rounds=np.arange(1, rounds + 1), referenced=False, x=np.where(seen, counts - shift, 0),
        seen=seen, shift=shift, group=np.zeros(subjects, dtype=np.int64), gross=counts,
        tare=np.zeros_like(counts), converted=np.zeros(counts.shape, dtype=bool),
    )  # fmt: skip


def session(
    design: Design, rng: np.random.Generator, *, staff: int = 8, subjects: int = 10,
    rounds: int = 2, leaners: int = 0, share: float = 0.6, bias: float = 0.0,
    spread: float = 0.0, apart: float = 0.0, missing: float = 0.0,
) -> Cube:  # fmt: skip
    """A session in which the first `leaners` put each reading on the half mark by chance `share`.

    `bias` and `apart` (person by subject) are in TEMs, `spread` is the SD of log TEM, `missing`
    the share of second readings that are not there.
    """
    true = rng.uniform(500, 500 + 50 * 16, subjects)
    tem = design.tem * np.exp(spread * rng.standard_normal(staff))
    own = design.tem * (
        bias * rng.standard_normal((staff, 1)) + apart * rng.standard_normal((staff, subjects))
    )
    values = draw(true, tem=tem, bias=own, shift=np.zeros(rounds), rng=rng)
    counts = nearest(values)
    leaning = rng.random(counts.shape) < share
    leaning[leaners:] = False
    counts = np.where(leaning, nearest(values, design.half), counts)
    seen = np.ones(counts.shape, dtype=bool)
    seen[:, :, 1:] = rng.random(seen[:, :, 1:].shape) >= missing
    return cube_of(counts, design.step, seen=seen)
