"""How often does a pattern show where nothing is the matter, and where one was planted?

And the reference: how often is it doubted where it is off, where one of the staff is, and where
neither is. Every session is a lead and some staff on the same subjects, read twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

import anthroqa
from anthroqa.decisions.reference import MAY_BE_OFF, reference_doubts
from anthroqa.scores.agreement.by_sizes import by_size
from anthroqa.scores.odd.patterns import watch_for
from anthroqa.simulate import draw, nearest

AT_ONCE = 25  # sessions that are measures of one
VIEWS = ["bias", "bias_from_others"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One sort of measure: its step, where subjects lie and the usual repeat error, in steps."""

    recorded_to: str
    kind: str
    low: float
    high: float
    tem: float


KINDS: Mapping[str, Kind] = {
    "height, 0.1 cm": Kind(recorded_to="0.1 cm", kind="height", low=700, high=1100, tem=3.0),
    "length, 1/8 in": Kind(recorded_to="1/8 in", kind="length", low=160, high=264, tem=1.2),
    "weight, 0.1 kg": Kind(recorded_to="0.1 kg", kind="weight", low=60, high=160, tem=0.3),
    "weight, 1 oz": Kind(recorded_to="1 oz", kind="weight", low=96, high=384, tem=1.2),
}


def sessions(
    kind: Kind, n: int, rng: np.random.Generator, *, staff: int = 5, subjects: int = 12,
    bias: float = 0.0, spread: float = 0.0, tems: Mapping[int, float] | None = None,
    biases: Mapping[int, float] | None = None, grows: float = 0.0,
    now_and_then: tuple[float, float] = (0.0, 0.0), instruments: Mapping[int, str] | None = None,
    **settings: str,
) -> anthroqa.Session:  # fmt: skip
    """`n` sessions as measures of one. Person 0 is the reference, person 1 who is planted in.

    `bias` (SD over staff, in TEM) and `spread` (SD of log TEM) are of honest people; `tems`
    are multiples of the usual repeat error, `biases` steps, `grows` a share of the size,
    `now_and_then` a share of readings and what it adds to them in steps.
    """
    tables = []
    people = np.array(["LEAD", *(f"P{i}" for i in range(1, staff + 1))], dtype=object)
    for i in range(n):
        true = rng.uniform(kind.low, kind.high, subjects)
        tem = kind.tem * np.exp(spread * rng.standard_normal(staff + 1))
        own = kind.tem * bias * rng.standard_normal(staff + 1)
        own[0] = 0.0
        for p, times in (tems or {}).items():
            tem[p] *= times
        for p, more in (biases or {}).items():
            own[p] += more
        every = np.repeat(own[:, None], subjects, axis=1)
        every[1] += grows * true
        values = draw(true, tem=tem, bias=every, rng=rng)
        values[1] += now_and_then[1] * (rng.random(values[1].shape) < now_and_then[0])
        p, s, r = np.indices(values.shape).reshape(3, -1)
        tables.append(pd.DataFrame({
            "measurer": people[p], "subject": "S" + pd.Series(s).astype(str),
            "measure": f"m{i}", "round": r + 1, "count": nearest(values).reshape(-1),
            **({"instrument": pd.Series(p).map(instruments)} if instruments else {}),
        }))  # fmt: skip
    measures = {f"m{i}": {"recorded_to": kind.recorded_to, "kind": kind.kind, **settings}
                for i in range(n)}  # fmt: skip
    first = pd.DataFrame({"measurer": ["LEAD"], "subject": "S0", "measure": "m0", "round": 1,
                          "reading": "1"})  # fmt: skip
    one = anthroqa.Session.from_frame(first, measures=measures, reference="LEAD")
    return replace(one, readings=pd.concat(tables, ignore_index=True))


def lines(kind: Kind, n: int, rng: np.random.Generator, **planted) -> pd.DataFrame:
    """What `watch_for` gives in `n` sessions, a row a line, `session` beside."""
    tables = []
    for done in range(0, n, AT_ONCE):
        session = sessions(kind, min(AT_ONCE, n - done), rng, **planted)
        found = watch_for(anthroqa.score(session, only=VIEWS), session)
        tables.append(found.assign(session=found["measure"].str[1:].astype(int) + done))
    return pd.concat(tables, ignore_index=True)


# what nothing planted means: equal people, and people as they come
HONEST: Mapping[str, Mapping[str, float]] = {
    "equal": {},
    "equal, 6 subjects": {"subjects": 6},
    "equal, 3 staff": {"staff": 3},
    "biases of 0.3 TEM, log TEM 0.2": {"bias": 0.3, "spread": 0.2},
    "biases of 0.5 TEM, log TEM 0.3": {"bias": 0.5, "spread": 0.3},
}
# of person 1: the kind of measure, what is planted, and a word of the line it should give
PLANTED: Mapping[str, tuple[str, Mapping, str]] = {
    "shoes, 2 cm": ("height, 0.1 cm", {"biases": {1: 20}}, "shoes"),
    "shoes, 3/4 in": ("length, 1/8 in", {"biases": {1: 6}}, "shoes"),
    "shoes, 3 oz": ("weight, 1 oz", {"biases": {1: 3}}, "shoes"),
    "wet diaper, 0.2 kg": ("weight, 0.1 kg", {"biases": {1: 2}}, "diaper"),
    "knees, 0.6 cm": ("height, 0.1 cm", {"biases": {1: -6}}, "knees bent"),
    "knees, 0.6 cm, 6 subjects": ("height, 0.1 cm", {"biases": {1: -6}, "subjects": 6}, "knees"),
    "knees now and then, 2 cm": ("height, 0.1 cm", {"now_and_then": (0.2, -20)}, "knees"),
    "movement, 2.5 TEM": ("height, 0.1 cm", {"tems": {1: 2.5}}, "movement"),
    "rounds down": ("length, 1/8 in", {"biases": {1: -0.5}}, "marks"),
    "a scale 1/2 lb high": (
        "weight, 1 oz",
        {"biases": {1: 8, 2: 8, 3: 8}, "instruments": dict.fromkeys((1, 2, 3), "X")
         | dict.fromkeys((0, 4, 5), "Y")},
        "zero offset",
    ),
}  # fmt: skip


def nothing_planted(sessions: int, seed: int) -> pd.DataFrame:
    """Share of staff and measures with a line where nothing was planted, a row a design."""
    rng = np.random.default_rng(seed)
    rows = []
    for name, kind in KINDS.items():
        for design, how in HONEST.items():
            found = lines(kind, sessions, rng, **how)
            cases = sessions * int(how.get("staff", 5))
            shown = found.drop_duplicates(["session", "measurer"])
            by = found.drop_duplicates(["session", "measurer", "unit"])["unit"]
            rows.append({
                "measure": name, "staff are": design, "cases": cases, "lines": len(shown) / cases,
                "skewness": (by == "skewness").sum() / cases,
                "repeat": (by == "times the others'").sum() / cases,
            })  # fmt: skip
    return pd.DataFrame(rows)


def planted(sessions: int, seed: int) -> pd.DataFrame:
    """Share of sessions in which the right line is given, and lines for the others."""
    rng = np.random.default_rng(seed)
    rows = []
    for name, (kind, how, word) in PLANTED.items():
        found = lines(KINDS[kind], sessions, rng, **how)
        right = found[found["measurer"].isin(["P1", "(all)"]) & found["pattern"].str.contains(word)]
        rest = found[~found["measurer"].isin(["P1", "(all)"])]
        rest = rest.drop_duplicates(["session", "measurer"])
        rows.append({
            "planted": name, "found": right["session"].nunique() / sessions,
            "others": len(rest) / (4 * sessions),
        })  # fmt: skip
    return pd.DataFrame(rows)


# in TEM: what the reference, and person 1, add to every reading; SD of biases of the staff
REFERENCE: Mapping[str, tuple[float, float, float]] = {
    "nobody is off": (0.0, 0.0, 0.0),
    "reference on the limit": (1.0, 0.0, 0.0),
    "reference 2 TEM off": (2.0, 0.0, 0.0),
    "one of the staff 4 TEM off": (0.0, 4.0, 0.0),
    "one of the staff 8 TEM off": (0.0, 8.0, 0.0),
    "staff differ by 0.5 TEM": (0.0, 0.0, 0.5),
    "staff differ by 0.5 TEM, reference on the limit": (1.0, 0.0, 0.5),
    "staff differ by 0.5 TEM, reference 2 TEM off": (2.0, 0.0, 0.5),
}


def reference(sessions_: int, seed: int, *, staff: int = 4) -> pd.DataFrame:
    """How often the reference is doubted, limit 1 TEM, a row a case.

    `first` is what the interval with all staff alone would say, `doubted` the state.
    """
    rng, kind = np.random.default_rng(seed), KINDS["height, 0.1 cm"]
    rows = []
    for name, (off, person, bias) in REFERENCE.items():
        tables = []
        for done in range(0, sessions_, AT_ONCE):
            session = sessions(
                kind, min(AT_ONCE, sessions_ - done), rng, staff=staff, bias=bias,
                biases={0: off * kind.tem, 1: person * kind.tem}, limit_bias="0.3 cm",
            )  # fmt: skip
            tables.append(reference_doubts(anthroqa.score(session, only=VIEWS), session))
        found = pd.concat(tables)
        first = (found["lower"] > found["limit"]) | (found["upper"] < -found["limit"])
        rows.append({
            "case": name, "staff": staff, "first": first.mean(),
            "doubted": (found["state"] == MAY_BE_OFF).mean(),
            "no sign": (found["state"] == "no sign of it").mean(),
        })  # fmt: skip
    return pd.DataFrame(rows)


def slopes(sessions_: int, seed: int) -> pd.DataFrame:
    """Coverage of the slope (0.90) and its mean, in percent of size, a row a case."""
    rng, kind = np.random.default_rng(seed), KINDS["height, 0.1 cm"]
    rows = []
    for times in (1.0, 2.5):
        for grows in (0.0, 0.01):
            tables = [
                by_size(sessions(kind, min(AT_ONCE, sessions_ - done), rng, tems={1: times},
                                 grows=grows))
                for done in range(0, sessions_, AT_ONCE)
            ]  # fmt: skip
            found = pd.concat(tables)
            mine = found[found["measurer"] == "P1"]
            truth = 100 * grows
            inside = (mine["lower"] <= truth) & (truth <= mine["upper"])
            rows.append({
                "own TEM": times, "slope": truth, "sessions": len(mine), "covered": inside.mean(),
                "mean": mine["slope"].mean(),
                "turned": ((mine["lower"] > 0) | (mine["upper"] < 0)).mean(),
            })  # fmt: skip
    return pd.DataFrame(rows)
