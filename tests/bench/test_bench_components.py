"""Variance components with intervals are faster than one general fit without."""

import statistics
import sys
import time
import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from layouts import drawn

import anthroqa
from anthroqa.scores.components.crossed import NAMES

pytestmark = pytest.mark.bench

MOST_SECONDS = 0.5  # of a national exercise, one measure; far above what it takes


def session_of(staff, subjects, rounds, drop) -> tuple[anthroqa.Session, pd.DataFrame]:
    x, person, subject, turn = drawn(
        np.random.default_rng(52), staff=staff, subjects=subjects, rounds=rounds
    )
    frame = pd.DataFrame({
        "measurer": "P" + pd.Series(person).astype(str), "measure": "length",
        "subject": "S" + pd.Series(subject).astype(str), "round": turn + 1, "reading": x,
    })[~drop(person, subject)]  # fmt: skip
    text = frame.assign(reading=frame["reading"].astype(str))
    return anthroqa.Session.from_frame(text, measures={"length": {"recorded_to": "1 mm"}}), frame


def seconds(work, times=5):
    taken, found = [], None
    for _ in range(times):
        start = time.perf_counter()
        found = work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken), found


def test_components_with_intervals_take_less_than_one_mixed_model_without():
    session, frame = session_of(12, 20, 3, lambda p, s: (p == 4) & (s == 19))
    ours, table = seconds(lambda: anthroqa.score(session, only=NAMES))
    frame = frame.assign(one=1, both=frame["measurer"] + frame["subject"])
    crossed = {name: f"0 + C({name})" for name in ("subject", "measurer", "both")}

    def general():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model = smf.mixedlm("reading ~ C(round)", frame, groups="one", vc_formula=crossed)
            return model.fit(reml=True)

    theirs, fit = seconds(general, times=1)
    sys.stdout.write(f"\nours {ours:.3f} s, mixed model {theirs:.2f} s: {theirs / ours:.0f} x\n")
    found = table.set_index("statistic")["estimate"]
    assert found["sd_repeat"] ** 2 == pytest.approx(fit.scale, rel=2e-3)
    assert ours < theirs


def test_a_national_exercise_takes_well_under_half_a_second():
    session, _ = session_of(60, 20, 2, lambda p, s: (p == 7) & (s < 3))
    ours, table = seconds(lambda: anthroqa.score(session, only=NAMES), times=3)
    sys.stdout.write(f"\n60 staff x 20 subjects x 2: {ours:.3f} s\n")
    assert table["estimate"].notna().sum() == len(NAMES) - 1  # one instrument
    assert ours < MOST_SECONDS
