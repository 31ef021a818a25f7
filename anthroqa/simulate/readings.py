"""Readings of people and subjects whose truth is known, and the sheets they are written on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import Step

Counts = npt.NDArray[np.int64]


def draw(
    true: npt.ArrayLike,
    *,
    tem: npt.ArrayLike,
    bias: npt.ArrayLike = 0.0,
    shift: npt.ArrayLike = (0.0, 0.0),
    rng: np.random.Generator,
) -> npt.NDArray[np.float64]:
    """Unrounded readings, in steps: people x subjects x rounds.

    Parameters
    ----------
    true : array, subjects
        Where each subject really is, in steps.
    tem : array, people
        Repeat error of each person, in steps (normal).
    bias : array, people or people x subjects
        What a person adds to every reading.
    shift : array, rounds
        What a round adds for everybody; its length is the number of rounds.
    """
    true, tem, shift = (np.asarray(a, dtype=float) for a in (true, tem, shift))
    bias = np.broadcast_to(np.asarray(bias, dtype=float).T, (len(true), len(tem))).T
    noise = rng.normal(size=(len(tem), len(true), len(shift)))
    return (
        true[None, :, None] + bias[:, :, None] + tem[:, None, None] * noise + shift[None, None, :]
    )


def nearest(values: npt.NDArray[np.float64], mark: int = 1) -> Counts:
    """Values in steps read to the nearest of every `mark`-th step."""
    return (mark * np.floor(values / mark + 0.5)).astype(np.int64)


@dataclass(slots=True, kw_only=True)
class Sheet:
    """The readings of one measure while a sample is drawn, and what was planted in them."""

    measure: str
    step: Step
    people: Sequence[str]
    subjects: Sequence[str]
    counts: Counts  # people x subjects x rounds, as read from the display
    group: str = ""
    tare: Counts | None = None
    instrument: Mapping[str, str] = field(default_factory=dict)
    left: set[tuple[str, str, int]] = field(default_factory=set)
    condition: dict[tuple[str, str, int], str] = field(default_factory=dict)
    planted: list[dict[str, str | int]] = field(default_factory=list)

    def at(self, person: str, subject: str, turn: int) -> tuple[int, int, int]:
        """Where a reading stands in `counts`."""
        return self.people.index(person), self.subjects.index(subject), turn - 1

    def plant(self, kind: str, person: str, subject: str, turn: int, count: int) -> None:
        """Write `count` where the person read something else, and keep what that was."""
        place = self.at(person, subject, turn)
        self.planted.append({
            "kind": kind, "measurer": person, "subject": subject, "measure": self.measure,
            "round": turn, "meant": as_written(int(self.counts[place]), self.step),
            "written": as_written(count, self.step),
        })  # fmt: skip
        self.counts[place] = count

    def rows(self) -> list[dict[str, str]]:
        """The rows of `readings.csv`, in the order in which sheets are typed in."""
        out = []
        for p, person in enumerate(self.people):
            for turn in range(self.counts.shape[2]):
                for s, subject in enumerate(self.subjects):
                    key = (person, subject, turn + 1)
                    tare = (
                        ""
                        if self.tare is None
                        else as_written(int(self.tare[p, s, turn]), self.step)
                    )
                    gone = key in self.left
                    out.append({
                        "group": self.group, "measurer": person, "subject": subject,
                        "measure": self.measure, "round": str(turn + 1),
                        "reading": "" if gone
                        else as_written(int(self.counts[p, s, turn]), self.step),
                        "tare": "" if gone else tare,
                        "instrument": self.instrument.get(person, ""),
                        "condition": "left" if gone else self.condition.get(key, ""),
                    })  # fmt: skip
        return out


def csv_of(rows: list[dict[str, str]], *, end: str = "\n") -> str:
    """Rows as the text of a CSV file, without the columns that are empty throughout."""
    columns = [c for c in rows[0] if any(row[c] for row in rows)]
    return "".join(
        ",".join(cells) + end for cells in [columns, *([r[c] for c in columns] for r in rows)]
    )


def truth_of(seed: int, sheets: list[Sheet], staff: dict[str, str]) -> str:
    """The text of `truth.toml`: what was said of the staff, and every slip planted."""
    lines = ["# What was planted in this invented session.", f"seed = {seed}", "", "[staff]"]
    lines += [f'{code} = "{what}"' for code, what in staff.items()]
    for planted in (p for sheet in sheets for p in sheet.planted):
        lines += ["", "[[slip]]"]
        lines += [
            f"{k} = {v}" if isinstance(v, int) else f'{k} = "{v}"' for k, v in planted.items()
        ]
    return "\n".join(lines) + "\n"
