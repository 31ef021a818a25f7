"""A national exercise: sixty staff, twenty subjects, two rounds, three measures, some slips."""

import statistics
import sys
import time
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest

import anthroqa
from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import Step
from anthroqa.simulate import draw, nearest

pytestmark = pytest.mark.bench

STEPS = {"length": ("1/10", "cm", 3.0), "weight": ("1/10", "kg", 0.5), "adult": ("1/4", "lb", 1.2)}
SLIPS = 10  # a measure
MOST_OVER_LINEAR = 1.5
MOST_TIMES_RESIDUALS = 6


def exercise(staff: int) -> anthroqa.Session:
    rng = np.random.default_rng(60)
    frames = []
    for name, (size, unit, tem) in STEPS.items():
        step = Step(Fraction(size), unit)
        counts = nearest(draw(rng.uniform(600, 900, 20), tem=np.full(staff, tem), rng=rng))
        for _ in range(SLIPS):
            counts[tuple(rng.integers(n) for n in counts.shape)] += 100
        person, subject, turn = np.indices(counts.shape).reshape(3, -1)
        frames.append(pd.DataFrame({
            "measurer": [f"P{p:02d}" for p in person], "subject": [f"S{s:02d}" for s in subject],
            "measure": name, "round": turn + 1,
            "reading": [as_written(int(c), step) for c in counts.reshape(-1)],
        }))  # fmt: skip
    measures = {n: {"recorded_to": f"{size} {unit}"} for n, (size, unit, _) in STEPS.items()}
    return anthroqa.Session.from_frame(pd.concat(frames), measures=measures)


def seconds(work, session) -> float:
    times = []
    for _ in range(5):
        start = time.perf_counter()
        work(session)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def test_slips_of_a_national_exercise_take_about_as_long_as_its_residuals_and_grow_linearly():
    half, whole = exercise(30), exercise(60)
    found = anthroqa.slips(whole)
    assert found[["measure", "measurer", "subject", "round"]].drop_duplicates().shape[0] >= 25
    small, large = seconds(anthroqa.slips, half), seconds(anthroqa.slips, whole)
    floor = seconds(anthroqa.residuals, whole)
    sys.stdout.write(f"\nslips {large:.2f} s (30 staff {small:.2f} s), residuals {floor:.2f} s\n")
    assert large / small <= 2 * MOST_OVER_LINEAR
    assert large / floor <= MOST_TIMES_RESIDUALS
