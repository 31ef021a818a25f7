"""Which counts belong to one person, site, instrument, or to everybody?

The counts of a measure as arrays: one row a person, site or instrument, one column a position
between two whole marks. Everything that is said of routine records is said from these sums.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from anthroqa.intake import EVERYBODY
from anthroqa.intake.written.steps import Step
from anthroqa.scores.layout.cube import Counts, Flags

Codes = npt.NDArray[np.intp]
ON_A_MARK, ALL = "on a mark", "all"
NOT_READ = ("off step", "missing", "out of range", "unreadable")
LEVELS = ("everybody", "site", "instrument", "measurer")
FEWEST = 50  # readings below which nobody is judged; common practice, no source
NEEDED = ["site", "measurer", "instrument", "measure", "step", "kind", "position", "period", "n"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Cells:
    """The counts of one measure, every name as a number."""

    measure: str
    step: Step
    names: dict[str, tuple[str, ...]]  # of site, measurer, kind ...: sorted, of this measure
    codes: dict[str, Codes]  # which name each cell has
    sums: dict[str, Counts]  # n and what else was counted of each cell

    @cached_property
    def cycle(self) -> int | None:
        """Positions between two whole marks."""
        return self.step.cycle()

    @cached_property
    def marks(self) -> dict[int, str]:
        """Coarse marks in steps, and what each is called."""
        return self.step.coarse_marks()

    def of_kind(self, kind: str) -> Flags:
        """Which cells are of a kind."""
        names = self.names["kind"]
        if kind not in names:
            return np.zeros(len(self.sums["n"]), dtype=bool)
        return self.codes["kind"] == names.index(kind)

    def by(self, level: str) -> tuple[tuple[str, ...], Codes]:
        """Who there is at a level, and whose each cell is (-1: of nobody with a code)."""
        if level == "everybody":
            return (EVERYBODY,), np.zeros(len(self.sums["n"]), dtype=np.intp)
        return self._coded(self.names[level], self.codes[level])

    @staticmethod
    def _coded(names: tuple[str, ...], code: Codes) -> tuple[tuple[str, ...], Codes]:
        """Without the blank code, which sorts first."""
        return (names[1:], code - 1) if names and names[0] == "" else (names, code)

    def instruments_at_sites(self) -> set[tuple[str, str]]:
        """Each instrument, as it is told apart, with each site where it was read."""
        pairs = np.unique([self.codes["instrument"], self.codes["site"]], axis=1).T
        return {(self.names["instrument"][i], self.names["site"][s]) for i, s in pairs}

    def where(self, keep: Flags) -> Cells:
        """These cells only."""
        return replace(
            self, codes={k: v[keep] for k, v in self.codes.items()},
            sums={k: v[keep] for k, v in self.sums.items()},
        )  # fmt: skip

    def sum(self, column: str, of: Flags, *by: tuple[Codes, int]) -> Counts:
        """Sums of a column over some cells, by one number or several, each below its size."""
        keep, flat, sizes = of.copy(), np.zeros(len(of), dtype=np.int64), [size for _, size in by]
        for code, size in by:
            keep &= code >= 0
            flat = flat * size + code
        # float64 weights are exact below 2**53
        total = np.bincount(
            flat[keep], weights=self.sums[column][keep], minlength=int(np.prod(sizes))
        )
        return total.astype(np.int64).reshape(sizes)

    def positions(self, column: str, level: str) -> Counts:
        """Sums at each position, by who."""
        who, code = self.by(level)
        assert self.cycle is not None
        return self.sum(
            column, self.of_kind(ON_A_MARK), (code, len(who)), (self.sums["position"], self.cycle)
        )


def cells(counts: pd.DataFrame) -> list[Cells]:
    """The counts of each measure, in the order in which measures first stand there.

    Raises
    ------
    ValueError
        If a column is lacking, or a measure is counted in two steps.
    """
    lacking = [c for c in NEEDED if c not in counts.columns]
    if lacking:
        raise ValueError(f"counts lack {', '.join(lacking)}; read them with read_counts()")
    named = {c: pd.factorize(counts[c].astype("str").fillna(""), sort=True)
             for c in ("site", "measurer", "instrument", "kind", "period")}  # fmt: skip
    measure, measures = pd.factorize(counts["measure"])
    steps, step_texts = pd.factorize(counts["step"])
    wanted = ("position", "n", "days", "squares", "on_comb", "followed", "same")
    sums = {
        c: pd.to_numeric(counts[c]).fillna(-1 if c == "position" else 0).to_numpy(dtype=np.int64)
        for c in wanted if c in counts.columns and counts[c].notna().any()
    }  # fmt: skip
    sums.setdefault("position", np.full(len(counts), -1))
    named["code"] = named["instrument"]
    named["instrument"] = _told_apart(*named["instrument"], *named["site"])
    found = []
    for i, name in enumerate(measures):
        own = np.flatnonzero(measure == i)
        texts = np.unique(steps[own])
        if len(texts) > 1:
            raise ValueError(f"{name} is counted in several steps: {', '.join(step_texts[texts])}")
        mine = {c: _present(codes[own], names) for c, (codes, names) in named.items()}
        found.append(Cells(
            measure=str(name), step=step_of(str(step_texts[texts[0]])),
            names={c: names for c, (names, _) in mine.items()},
            codes={c: codes for c, (_, codes) in mine.items()},
            sums={c: values[own] for c, values in sums.items()},
        ))  # fmt: skip
    return found


def _present(codes: Codes, names: Sequence[str]) -> tuple[tuple[str, ...], Codes]:
    """The names that there are, and which each cell has."""
    there, code = _numbered(codes, len(names))
    return tuple(str(names[i]) for i in there), code


def _numbered(codes: Codes, size: int) -> tuple[Codes, Codes]:
    """The codes below `size` that there are, in order, and the place of each among them."""
    seen = np.bincount(codes, minlength=size) > 0
    return np.flatnonzero(seen), (np.cumsum(seen) - 1)[codes]


def _told_apart(
    code: Codes, codes: Sequence[str], site: Codes, sites: Sequence[str]
) -> tuple[Codes, list[str]]:
    """Instruments by code; the same code in two sites is two, named with their sites."""
    pairs, which = _numbered(code * len(sites) + site, len(codes) * len(sites))
    at, of = pairs // max(len(sites), 1), pairs % max(len(sites), 1)
    twice = np.bincount(at, minlength=len(codes)) > 1
    said = [
        f"{codes[i]} ({sites[c]})" if codes[i] and twice[i] else str(codes[i])
        for i, c in zip(at, of, strict=True)
    ]  # fmt: skip
    names, place = np.unique(np.array(said, dtype=object), return_inverse=True)
    return place[which] if len(said) else which, list(names)


def step_of(text: str) -> Step:
    """The step that `str(step)` wrote.

    Examples
    --------
    >>> step_of("1/8 in") == Step(Fraction(1, 8), "in")
    True
    """
    size, _, unit = text.strip().rpartition(" ")
    return Step(Fraction(size), unit)
