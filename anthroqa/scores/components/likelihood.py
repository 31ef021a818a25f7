"""Which variances make what is left, once the fixed part is taken out, most likely?

Restricted maximum likelihood (Patterson & Thompson 1971, Biometrika 58:545-554) for subject,
person and their interaction, crossed, and the repeat error, none of them below zero. Steps are
those of average information (Gilmour, Thompson & Cullis 1995, Biometrics 51:1440-1450); where
such a step does not raise the likelihood, the ratio step of Zhou, Hu, Qiao & Lange (2019), J.
Comput. Graph. Stat. 28:350-361, which always does. All from memory. Cell means and readings
about them are independent, so nothing is larger than persons + subjects.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from anthroqa.scores.components.mean_squares import Moments
from anthroqa.scores.layout.cells import Cells
from anthroqa.scores.layout.cube import Array

_STEPS = 100
_SETTLED = 1e-10  # how much lower twice the log likelihood could still be called lower
SUBJECT, MEASURER, INTERACTION, REPEAT = range(4)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """Variances in squared steps, and what is fixed with its covariance."""

    variance: Array  # subject, measurer, interaction, repeat
    fixed: Array
    covariance: Array
    settled: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _State:
    """The likelihood at given variances."""

    variance: Array
    value: float  # minus twice the restricted log likelihood, but for a constant
    gradient: Array
    information: Array
    own: Array  # y'P V_i P y
    beta: Array
    covariance: Array


class _Model:
    """Cells with a fixed part of full rank."""

    def __init__(self, cells: Cells, *, repeats: bool) -> None:
        self.y, self.repeats = cells.y - cells.y.mean(), repeats
        self.n = cells.n.astype(float) if repeats else np.ones(len(cells.n))
        self.blocks = (cells.child, cells.person)
        rounds = len(cells.group)
        total = (cells.fixed * cells.n[:, None]).T @ cells.fixed + repeats * cells.within
        size, turned = np.linalg.eigh(total[:rounds, :rounds])
        keep = turned[:, size > 1e-9 * size.max()]
        self.back = np.zeros((len(total), keep.shape[1] + cells.instruments))
        self.back[:rounds, : keep.shape[1]] = keep
        self.back[rounds:, keep.shape[1] :] = np.eye(cells.instruments)
        self.x = cells.fixed @ self.back
        self.within = self.back.T @ cells.within @ self.back
        self.within_y = self.back.T @ cells.within_y
        self.within_squares = cells.within_squares
        self.n_within = float((cells.n - 1).sum())

    def at(self, variance: Array) -> _State:
        """Value, gradient and average information, from one matrix of persons + subjects."""
        interaction, repeat = variance[INTERACTION], variance[REPEAT]
        d = interaction + repeat / self.n
        there = [b for b in (SUBJECT, MEASURER) if variance[b] > 0]
        a = np.hstack([self.x, *(self.blocks[b] for b in there)])
        p = self.x.shape[1]
        scaled = a / d[:, None]
        h = a.T @ scaled
        prior = np.concatenate(
            [np.zeros(p), *(np.full(self.blocks[b].shape[1], 1 / variance[b]) for b in there)]
        )
        h[np.diag_indices(len(h))] += prior
        right = scaled.T @ self.y
        if self.repeats:
            h[:p, :p] += self.within / repeat
            right[:p] += self.within_y / repeat
        sign, log_h = np.linalg.slogdet(h)
        c = np.linalg.inv(h)
        solution = c @ right
        beta = solution[:p]
        py = (self.y - a @ solution) / d
        value = np.log(d).sum() + log_h + self.y @ py - np.log(prior[p:]).sum()
        traces, own, pulled = np.zeros(4), np.zeros(4), np.zeros((len(d), 4))
        for b, z in enumerate(self.blocks):
            shared = scaled.T @ z
            traces[b] = (1 / d).sum() - (shared * (c @ shared)).sum()
            pulled[:, b] = z @ (z.T @ py)
            own[b] = py @ pulled[:, b]
        left = 1 / d - ((scaled @ c) * scaled).sum(axis=1)
        pulled[:, INTERACTION], pulled[:, REPEAT] = py, py / self.n
        traces[INTERACTION], traces[REPEAT] = left.sum(), (left / self.n).sum()
        own[INTERACTION], own[REPEAT] = py @ py, py @ (py / self.n)
        turned = scaled.T @ pulled
        information = pulled.T @ (pulled / d[:, None])
        if self.repeats:
            slope = self.within_y - self.within @ beta
            squares = self.within_squares - beta @ (self.within_y + slope)
            value += self.n_within * np.log(repeat)
            value += (self.within_squares - beta @ self.within_y) / repeat
            traces[REPEAT] += self.n_within / repeat
            traces[REPEAT] -= (c[:p, :p] * self.within).sum() / repeat**2
            own[REPEAT] += squares / repeat**2
            information[REPEAT, REPEAT] += squares / repeat**3
            turned[:p, REPEAT] += slope / repeat**2
        information -= turned.T @ c @ turned
        return _State(
            variance=variance, value=float(value) if sign > 0 else np.inf, gradient=traces - own,
            information=information, own=own, beta=beta, covariance=c[:p, :p],
        )  # fmt: skip


def reml(cells: Cells, start: Moments) -> Fit:
    """Variances by restricted maximum likelihood, from those of the mean squares.

    Without a repeat error that could be seen, interaction and repeat are one, held under
    `INTERACTION`.
    """
    model = _Model(cells, repeats=start.repeat > 0)
    last = REPEAT if model.repeats else INTERACTION
    begin = np.array([start.subject, start.measurer, start.interaction, start.repeat])
    begin = np.where(np.arange(4) <= last, np.maximum(np.nan_to_num(begin), 0.0), 0.0)
    if not begin[last] > 0:  # nothing differs by more than person and subject do
        return Fit(variance=begin, fixed=np.empty(0), covariance=np.empty(0), settled=True)
    state, settled = model.at(begin), False
    for _ in range(_STEPS):
        # those at zero stay there where the likelihood falls as they rise
        moving = (np.arange(4) <= last) & ((state.variance > 0) | (state.gradient < 0))
        at = np.ix_(moving, moving)
        step = np.zeros(4)
        step[moving] = -np.linalg.lstsq(state.information[at], state.gradient[moving], rcond=1e-12)[
            0
        ]
        settled = abs(state.gradient @ step) < _SETTLED
        if settled:
            break
        state = _lower(model, state, step, moving, last)
    return Fit(
        variance=state.variance, fixed=model.back @ state.beta,
        covariance=model.back @ state.covariance @ model.back.T, settled=settled,
    )  # fmt: skip


def _lower(model: _Model, state: _State, step: Array, moving: Array, last: int) -> _State:
    """A state that is no less likely: along `step`, cut at zero, or by the ratio step."""
    for part in 0.5 ** np.arange(6):
        variance = np.maximum(state.variance + part * step, 0.0)
        if variance[last] > 0:
            new = model.at(variance)
            if new.value <= state.value + _SETTLED:
                return new
    grown = np.where(moving & (state.variance == 0), 1e-3 * state.variance[last], state.variance)
    if (grown != state.variance).any():
        return model.at(grown)
    trace = state.gradient + state.own
    return model.at(state.variance * np.sqrt(state.own / np.where(trace > 0, trace, 1.0)))
