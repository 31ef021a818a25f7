"""Who is flagged in drawn programs, and what is said of retraining that did nothing?

A program is a lead and twelve staff who read ten subjects twice in each of four sessions, every
session with subjects of its own. Beside the repeat error (one TEM, three steps) everybody adds an
amount to each subject (`interaction`, its SD in TEMs) and one to each session (`session`). Many
programs are drawn as measures of the same sessions, so that one call scores them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from calibration.shifts import as_measures

from anthroqa.program.staff.drift import drifts
from anthroqa.program.staff.funnel_limits import funnel
from anthroqa.program.staff.moderation import moderated
from anthroqa.program.staff.naming import DIFFERS, MOVES, named
from anthroqa.program.staff.over_time import differences, history, repeat_errors
from anthroqa.program.staff.retraining import BETTER, UNJUDGED, WORSE, retrained
from anthroqa.program.staff.sessions import Program
from anthroqa.scores.marks.screening import NAMED
from anthroqa.simulate import nearest

ONLY = ("within_tem", "within_tem_less_shift", "bias", "bias_from_others")
TEM = 3.0  # steps
STAFF, SESSIONS, SUBJECTS, ROUNDS = 12, 4, 10, 2
USUAL, ROUGH = (0.3, 0.2), (0.5, 0.3)  # interaction and session spread, in TEMs
_AT_ONCE = 50  # programs


def drawn(
    n: int, rng: np.random.Generator, *, spreads: tuple[float, float] = USUAL,
    tem: np.ndarray | float = 1.0, bias: np.ndarray | float = 0.0, sessions: int = SESSIONS,
    staff: int = STAFF, subjects: int = SUBJECTS,
) -> Program:  # fmt: skip
    """`n` programs as measures of one; `tem` and `bias` in TEMs, programs x sessions x people.

    The first of the people is the reference.
    """
    shape = (n, sessions, staff + 1)
    tem, bias = (TEM * np.broadcast_to(a, shape) for a in (tem, bias))
    interaction, session = (TEM * s for s in spreads)
    mean = bias + session * rng.standard_normal(shape)
    own = mean[..., None] + interaction * rng.standard_normal((*shape, subjects))
    true = rng.uniform(500, 900, (n, sessions, 1, subjects, 1))
    noise = rng.standard_normal((*shape, subjects, ROUNDS))
    counts = nearest(true + own[..., None] + tem[..., None, None] * noise)
    held = []
    for k in range(sessions):
        one = as_measures(counts[:, k])
        day = dt.date(2026, 1, 20) + dt.timedelta(days=91 * k)
        held.append(replace(one, name=f"Q{k + 1}", date=day))
    return Program(
        name="drawn", title="drawn", sessions=tuple(held), measures=held[-1].measures,
        reference="LEAD", problems=(), files={},
        retraining=pd.DataFrame(columns=["measurer", "measure", "date", "picked_in", "note"]),
    )  # fmt: skip


def tables(program: Program) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Repeat errors and differences of a program."""
    found = history(program, only=ONLY)
    return repeat_errors(found), differences(found)


def flagged(program: Program, measures: int = 1) -> list[pd.DataFrame]:
    """The named of each drawn program, of so many measures each."""
    errors, moved = tables(program)
    seen, drift = funnel(errors), drifts(errors, moved)
    names = list(program.measures)
    out = []
    for i in range(0, len(names), measures):
        of = names[i : i + measures]
        out.append(named(seen[seen["measure"].isin(of)], drift[drift["measure"].isin(of)]))
    return out


def _batches(n: int) -> list[int]:
    return [min(_AT_ONCE, n - i) for i in range(0, n, _AT_ONCE)]


def nobody(
    programs: int, seed: int, *, spreads: Sequence[tuple[float, float]] = (USUAL, ROUGH),
    measures: Sequence[int] = (1, 3),
) -> pd.DataFrame:  # fmt: skip
    """Staff who are alike: share of programs in which anybody, or the reference, is flagged."""
    rng = np.random.default_rng([seed, 1])
    rows = []
    for spread in spreads:
        for k in measures:
            found = [
                table[table["state"] == NAMED]
                for n in _batches(programs)
                for table in flagged(drawn(n * k, rng, spreads=spread), k)
            ]
            rows.append({
                "interaction": spread[0], "session": spread[1], "measures": k,
                "programs": programs, "flagged": np.mean([len(t) > 0 for t in found]),
                **{
                    name: np.mean([((t["question"] + t["what"]).str.contains(key)).any()
                                   for t in found])
                    for name, key in (
                        ("larger", "differs"), ("grew", "moved.*error"),
                        ("moved", "moved.*diff"), ("reference", "moved.*ref"),
                    )
                },
            })  # fmt: skip
    return pd.DataFrame(rows)


PLANTED = (  # what, how much, spreads, measures
    ("difference", 2.0, USUAL, 1), ("difference", 2.0, ROUGH, 1), ("difference", 2.0, USUAL, 3),
    ("reference", 2.0, USUAL, 1), ("grew", 2.0, USUAL, 1), ("larger", 1.5, USUAL, 1),
)  # fmt: skip


def planted(
    programs: int, seed: int, *, designs: Sequence[tuple[str, float, tuple, int]] = PLANTED
) -> pd.DataFrame:
    """One person who moves by two TEMs, or errs more or ever more; or the reference moves.

    `found`: share of programs in which just that is flagged; `others`: in which somebody else is.
    """
    rng = np.random.default_rng([seed, 2])
    away = np.linspace(0, 1, SESSIONS)
    rows = []
    for what, amount, spread, k in designs:
        hits, others = [], []
        for n in _batches(programs):
            shape = (n * k, SESSIONS, STAFF + 1)
            tem, bias = np.ones(shape), np.zeros(shape)
            if what in ("difference", "reference"):
                bias[::k, :, int(what == "difference")] = amount * away
            else:
                tem[::k, :, 1] = amount**away if what == "grew" else amount
            program = drawn(n * k, rng, spreads=spread, tem=tem, bias=bias)
            for i, table in enumerate(flagged(program, k)):
                named = table[table["state"] == NAMED]
                who = "LEAD" if what == "reference" else "P1"
                mine = (named["measurer"] == who) & (named["measure"] == f"m{i * k}")
                kind = DIFFERS if what == "larger" else MOVES
                hits.append((mine & named["question"].eq(kind)).any())
                others.append((named["measurer"] != who).any())
        rows.append({
            "planted": what, "size": amount, "interaction": spread[0], "session": spread[1],
            "measures": k, "programs": programs, "found": np.mean(hits),
            "others": np.mean(others),
        })  # fmt: skip
    return pd.DataFrame(rows)


def nothing_done(
    programs: int, seed: int, *, differ: Sequence[float] = (0.0, 0.2, 0.4),
    sessions: Sequence[int] = (2, 4), effects: Sequence[float] = (1.0, 0.5),
) -> pd.DataFrame:  # fmt: skip
    """Findings on those picked for a high repeat error: `better`, `worse`, `not_judged` shares.

    The retraining lies in the middle of the sessions and multiplies the repeat error by `effect`.
    `differ` is the SD of the logs of the true repeat errors. Picked are the top three of the twelve
    in the last session before it, or those over 1.3 TEM.
    """
    rng = np.random.default_rng([seed, 3])
    rows = []
    for spread in differ:
        for k in sessions:
            for effect in effects:
                found: dict[str, list[pd.DataFrame]] = {"top three": [], "over 1.3": []}
                for n in _batches(programs):
                    _retrain(n, k, spread, effect, rng, found)
                for rule, parts in found.items():
                    table = pd.concat(parts)
                    rows.append({
                        "differ": spread, "sessions": k, "effect": effect, "picked_by": rule,
                        "picked": len(table), **_shares(table),
                    })  # fmt: skip
    return pd.DataFrame(rows)


def _shares(table: pd.DataFrame) -> dict[str, float]:
    return {
        name: float((table["finding"] == finding).mean())
        for name, finding in (("better", BETTER), ("worse", WORSE), ("not_judged", UNJUDGED))
    }


def _retrain(
    n: int, sessions: int, spread: float, effect: float, rng: np.random.Generator,
    found: dict[str, list[pd.DataFrame]],
) -> None:  # fmt: skip
    """Draw programs, pick people by each rule, and look again with what the retraining did."""
    own = np.exp(spread * rng.standard_normal((n, 1, STAFF + 1)))
    half = sessions // 2
    tem = np.broadcast_to(own, (n, sessions, STAFF + 1)).copy()
    tem[:, half:] *= effect  # of everybody: who is not picked is not looked at, and not in a prior
    program = drawn(n, rng, tem=tem, sessions=sessions)
    errors, moved = tables(program)
    last = errors[errors["session"].eq(f"Q{half}") & ~errors["reference"]]
    rank = last.groupby("measure")["estimate"].rank(ascending=False)
    day = program.sessions[half - 1].date + dt.timedelta(days=20)
    for rule, picked in (("top three", rank <= 3), ("over 1.3", last["estimate"] > 1.3 * TEM)):
        chosen = last[picked]
        program = replace(program, retraining=pd.DataFrame({
            "measurer": chosen["measurer"], "measure": chosen["measure"], "date": day,
            "picked_in": f"Q{half}", "note": "",
        }))  # fmt: skip
        found[rule].append(retrained(program, errors, moved.iloc[:0]))


def differences_picked(
    programs: int, seed: int, *, differ: Sequence[float] = (0.0, 0.5, 1.0),
    sessions: Sequence[int] = (2, 4), effects: Sequence[float] = (1.0, 0.25),
    spreads: tuple[float, float] = USUAL,
) -> pd.DataFrame:  # fmt: skip
    """The same of those picked for a large difference (the top three by size).

    `differ` is the SD of true differences, in TEMs; `effect` multiplies them.
    """
    rng = np.random.default_rng([seed, 4])
    rows = []
    for spread in differ:
        for k in sessions:
            for effect in effects:
                parts = []
                for n in _batches(programs):
                    bias = np.zeros((n, k, STAFF + 1))
                    bias[:, :, 1:] = spread * rng.standard_normal((n, 1, STAFF))
                    parts.append(_retrain_bias(n, k, bias, effect, rng, spreads))
                table = pd.concat(parts)
                rows.append({
                    "differ": spread, "sessions": k, "effect": effect, "picked": len(table),
                    **_shares(table),
                })  # fmt: skip
    return pd.DataFrame(rows)


def _retrain_bias(
    n: int, sessions: int, bias: np.ndarray, effect: float, rng: np.random.Generator,
    spreads: tuple[float, float],
) -> pd.DataFrame:  # fmt: skip
    """Draw programs, pick three people each, and again with the same noise after retraining."""
    half, state = sessions // 2, rng.bit_generator.state
    program = drawn(n, rng, bias=bias, sessions=sessions, spreads=spreads)
    _, moved = tables(program)
    last = moved[moved["session"].eq(f"Q{half}") & ~moved["reference"]]
    rank = last["estimate"].abs().groupby(last["measure"]).rank(ascending=False)
    chosen = last[rank <= 3]
    for measure, who in zip(chosen["measure"], chosen["measurer"], strict=True):
        bias[int(measure[1:]), half:, int(who[1:])] *= effect
    rng.bit_generator.state = state
    program = drawn(n, rng, bias=bias, sessions=sessions, spreads=spreads)
    errors, moved = tables(program)
    day = program.sessions[half - 1].date + dt.timedelta(days=20)
    program = replace(program, retraining=pd.DataFrame({
        "measurer": chosen["measurer"], "measure": chosen["measure"], "date": day,
        "picked_in": f"Q{half}", "note": "",
    }))  # fmt: skip
    return retrained(program, errors.iloc[:0], moved)


def likely_errors(
    programs: int, seed: int, *, differ: Sequence[float] = (0.0, 0.2, 0.4),
    sessions: Sequence[int] = (1, 4),
) -> pd.DataFrame:  # fmt: skip
    """How near moderated repeat errors are to the truth, beside own ones.

    Means of the size of the log of estimate over truth, and the share of intervals (0.90) that hold
    the truth.
    """
    rng = np.random.default_rng([seed, 5])
    rows = []
    for spread in differ:
        for k in sessions:
            own, ours, hold = [], [], []
            for n in _batches(programs):
                true = np.exp(spread * rng.standard_normal((n, 1, STAFF + 1)))
                errors, _ = tables(drawn(n, rng, tem=true, sessions=k))
                table = moderated(errors)
                table = table[table["moderated"].notna()]
                at = table["measure"].str[1:].astype(int), table["measurer"].str[1:].astype(int)
                # the step adds the variance of rounding
                tem = np.sqrt((TEM * true[at[0], 0, at[1]]) ** 2 + 1 / 12)
                own.append(np.abs(np.log(table["estimate"] / tem)))
                ours.append(np.abs(np.log(table["moderated"] / tem)))
                hold.append((table["lower"] <= tem) & (tem <= table["upper"]))
            rows.append({
                "differ": spread, "sessions": k, "own": np.mean(np.concatenate(own)),
                "moderated": np.mean(np.concatenate(ours)),
                "covered": np.mean(np.concatenate(hold)),
            })  # fmt: skip
    return pd.DataFrame(rows)
