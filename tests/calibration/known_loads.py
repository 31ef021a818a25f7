"""Is the scale found, and are its users left in peace; do the intervals hold?

Drawn sessions of one clinic: a lead on a sound portable scale, three honest staff on a beam scale
that reads 0.5 lb high, twelve adults, two rounds; and drawn kits of both scales.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from tested_instruments import known_loads_of

import anthroqa
from anthroqa.decisions.tolerance_checks import instrument_checks
from anthroqa.intake import Instrument

STAFF, SUBJECTS, ROUNDS = 3, 12, 2
LOADS = (200, 400, 600, 800, 1000)  # quarter pounds
REPEATS = 5
NOISE = 0.2  # of a known load, quarter pounds
UNCERTAINTY = 0.09  # quarter pounds; 10 g
_CODES = ("PORT", "BEAM")


def empty(limit: str) -> anthroqa.Session:
    """The session before anything is drawn."""
    frame = pd.DataFrame([
        (person, f"S{s}", "weight", k, "150", _CODES[person != "LEAD"])
        for person in ["LEAD", *(f"K{i}" for i in range(STAFF))]
        for s in range(SUBJECTS) for k in range(1, ROUNDS + 1)
    ], columns=["measurer", "subject", "measure", "round", "reading", "instrument"])  # fmt: skip
    settings = {
        "recorded_to": "1/4 lb", "limit_bias": limit, "limit_tem": "0.6 lb", "limit_source": "x",
    }  # fmt: skip
    return replace(
        anthroqa.Session.from_frame(frame, measures={"weight": settings}, reference="LEAD"),
        instruments={code: Instrument(code=code, accuracy_class="III") for code in _CODES},
    )


def drawn(
    session: anthroqa.Session, rng: np.random.Generator, *, high: float, spread: float,
    subject: float = 0.0, apart: float = 0.0,
) -> tuple[anthroqa.Session, np.ndarray]:  # fmt: skip
    """A session with its known loads, and the true bias of each less the lead's, in lb.

    `high` is what the beam scale reads high, `spread` the SD of the staff's own bias, `subject`
    that of staff by subject, `apart` how far from whole marks both scales may err; all in quarter
    pounds.
    """
    bias = np.concatenate([[0.0], rng.normal(0, spread, STAFF)]) if spread else np.zeros(STAFF + 1)
    own = rng.normal(0, subject, (STAFF + 1, SUBJECTS)) if subject else 0
    sound, beam = np.array([0.0, high]) + rng.uniform(-apart, apart, 2)
    off = np.array([sound, *[beam] * STAFF])
    true = rng.uniform(440, 800, SUBJECTS)
    value = true + (bias + off)[:, None] + own
    shown = value[:, :, None] + rng.normal(0, 1.2, (STAFF + 1, SUBJECTS, ROUNDS))
    counts = np.floor(shown + 0.5).astype(np.int64)
    rows = [
        (code, "load" if load else "zero", float(load), np.floor(load + error + x + 0.5))
        for code, reads in zip(_CODES, (sound, beam), strict=True)
        for error in [reads + rng.normal(0, UNCERTAINTY / 2)]
        for load in (0, 0, *LOADS, *[600] * (REPEATS + 1))
        for x in [rng.normal(0, NOISE)]
    ]
    tested = known_loads_of(rows, measure="weight", uncertainty=UNCERTAINTY)
    readings = session.readings.assign(count=counts.ravel())
    return replace(session, readings=readings, known_loads=tested), (bias[1:] - bias[0]) / 4


def study(sessions: int, seed: int) -> pd.DataFrame:
    """Shares of staff over the limit with and without known loads, of scales, and coverage."""
    rows = []
    for limit, high, subject in (
        ("1/4 lb", 2.0, 0.0), ("1/2 lb", 2.0, 0.0), ("1/4 lb", 0.0, 0.0), ("1/2 lb", 1.5, 0.8),
    ):  # fmt: skip
        rng = np.random.default_rng([seed, int(high * 10), len(rows)])
        session = empty(limit)
        found = [_one(session, rng, high, subject) for _ in range(sessions)]
        share = np.mean(found, axis=0)
        rows.append((limit, high / 4, subject / 4, sessions, *share))
    return pd.DataFrame(rows, columns=[
        "limit", "beam_high_lb", "staff_by_subject_lb", "sessions", "over_by_bias",
        "over_less_instrument", "within_less_instrument", "beam_over", "port_over", "covered",
    ])  # fmt: skip


def _one(
    session: anthroqa.Session, rng: np.random.Generator, high: float, subject: float
) -> tuple[float, ...]:
    """One session: shares of its staff, whether each scale is over at a load, coverage."""
    seen, _ = drawn(session, rng, high=high, spread=0.0, subject=subject)
    limit = float(session.measures["weight"].limit_bias)
    over, within = {}, {}
    for name in ("bias", "bias_less_instrument"):
        rows = anthroqa.score(seen, only=[name])
        rows = rows[rows["measurer"] != "LEAD"]
        over[name] = ((rows["lower"] > limit) | (rows["upper"] < -limit)).mean()
        within[name] = ((rows["lower"] > -limit) & (rows["upper"] < limit)).mean()
    scales = instrument_checks(seen)
    scales = scales[scales["statistic"] == "error"]
    found = [
        float((scales.loc[scales["instrument"] == code, "state"] == "over limit").any())
        for code in ("BEAM", "PORT")
    ]
    other, truth = drawn(session, rng, high=high, spread=1.0, subject=subject, apart=0.5)
    rows = anthroqa.score(other, only=["bias_less_instrument"])
    rows = rows[rows["measurer"] != "LEAD"]
    covered = ((rows["lower"] <= truth) & (truth <= rows["upper"])).mean()
    return (
        over["bias"],
        over["bias_less_instrument"],
        within["bias_less_instrument"],
        *found,
        covered,
    )
