"""Sessions for tests: laid out by hand, or generated."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from hypothesis import strategies as st

import anthroqa

Counts = Sequence[Sequence[int | str | None]]


def as_frame(people: Mapping[str, Counts], *, measure: str = "length") -> pd.DataFrame:
    """Readings laid out as people -> subjects -> rounds; None is not read.

    Subjects are called S1, S2 and so on; rounds count from 1.
    """
    return pd.DataFrame(
        [
            (person, f"S{s}", measure, k, str(reading))
            for person, subjects in people.items()
            for s, rounds in enumerate(subjects, start=1)
            for k, reading in enumerate(rounds, start=1)
            if reading is not None
        ],
        columns=["measurer", "subject", "measure", "round", "reading"],
    )


def as_session(
    readings: Mapping[str, Counts] | pd.DataFrame,
    *,
    reference: str | None = None,
    measure: str = "length",
    recorded_to: str = "1 mm",
    **settings: str,
) -> anthroqa.Session:
    """A session of one measure from a layout or a frame; by default in whole millimetres."""
    frame = readings if isinstance(readings, pd.DataFrame) else as_frame(readings, measure=measure)
    measures = {measure: {"recorded_to": recorded_to, **settings}}
    return anthroqa.Session.from_frame(frame, measures=measures, reference=reference)


def figures_of(readings, *, only=None, confidence=0.90, **session) -> pd.DataFrame:
    """The score table of a session laid out by hand, indexed by measurer and statistic."""
    table = anthroqa.score(as_session(readings, **session), only=only, confidence=confidence)
    return table.set_index(["measurer", "statistic"])


def side_by_side(counts: np.ndarray, **settings: str) -> anthroqa.Session:
    """Many sessions of a lead and one person (sessions x 2 x subjects x rounds) as one.

    Each person has subjects of their own, so the sessions are independent and one call
    scores them all.
    """
    n_subjects = counts.shape[2]
    at, who, subject, turn = np.indices(counts.shape).reshape(4, -1)
    readings = pd.DataFrame({
        "measurer": np.where(who == 0, "LEAD", "P" + pd.Series(at).astype(str)),
        "subject": "S" + pd.Series(at * n_subjects + subject).astype(str), "measure": "length",
        "round": turn + 1, "count": counts.reshape(-1),
    })  # fmt: skip
    empty = as_session({"LEAD": [[0, 0]]}, reference="LEAD", **settings)
    return replace(empty, readings=readings)


@st.composite
def sessions(draw, *, recorded_to: str | None = None) -> anthroqa.Session:
    """Small, unbalanced sessions: cells missing, retakes, groups, a reference or none."""
    people = ["LEAD", "A", "B", "C", "D"][: draw(st.integers(1, 5))]
    n_subjects, n_rounds = draw(st.integers(1, 6)), draw(st.integers(1, 3))
    first = draw(st.sampled_from([1, 1, 1, 1, 2]))  # now and then nobody read in round 1
    grouped = draw(st.booleans())
    split = draw(st.integers(1, 6))
    spread = draw(st.sampled_from([1, 3, 40]))
    reading = st.integers(0, spread) | st.none() if draw(st.booleans()) else st.integers(0, spread)
    level = draw(st.lists(st.integers(500, 900), min_size=n_subjects, max_size=n_subjects))
    rows = []
    for person in people:
        if n_subjects > 1 and draw(st.integers(0, 9)) == 0:
            continue
        for s in range(n_subjects):
            for k in range(first, first + n_rounds):
                off = draw(reading)
                row = {
                    "measurer": person, "subject": f"S{s}", "measure": "length", "round": k,
                    "reading": "" if off is None else str(level[s] + off),
                    "group": "east" if s < split else "west", "retake": "",
                }  # fmt: skip
                rows.append(row)
                if off is not None and draw(st.integers(0, 15)) == 0:
                    rows.append({**row, "retake": "1", "reading": str(level[s] + 77)})
    if not any(row["reading"] for row in rows):
        rows.append({
            "measurer": "A", "subject": "S0", "measure": "length", "round": first,
            "reading": "600", "group": "east", "retake": "",
        })  # fmt: skip
    frame = pd.DataFrame(rows)
    if not grouped:
        frame = frame.drop(columns="group")
    step = recorded_to or draw(st.sampled_from(["1 mm", "0.1 cm", "1/8 in"]))
    frame["reading"] = [_in_steps(r, step) for r in frame["reading"]]
    read = set(frame.loc[frame["reading"] != "", "measurer"])
    reference = "LEAD" if "LEAD" in read and draw(st.booleans()) else None
    return anthroqa.Session.from_frame(
        frame, measures={"length": {"recorded_to": step}}, reference=reference
    )


def _in_steps(count: str, step: str) -> str:
    """What a person writes down for a whole number of steps."""
    if not count or step == "1 mm":
        return count
    if step == "0.1 cm":
        return f"{count[:-1]}.{count[-1]}"
    whole, eighths = divmod(int(count), 8)
    return f"{whole} {eighths}/8" if eighths else str(whole)
