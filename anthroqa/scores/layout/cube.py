"""The readings of one measure laid out by person, subject and round, in whole steps.

Statistics see nothing else of a session. Counts are shifted so that the least is 0;
with what intake lets through, every sum of squares then fits in int64.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from anthroqa.intake import Measure, Session

Array = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cube:
    """First readings of one measure; axes are person, subject, round.

    `people` has the reference (if it measured) first, then staff by code. `x` holds
    counts less `shift`, 0 where nothing was read; `seen` says where something was.
    """

    measure: Measure
    people: list[str]
    subjects: list[str]
    rounds: Counts  # the round numbers, ascending
    referenced: bool  # whether people[0] is the reference
    x: Counts
    seen: Flags
    shift: int
    group: npt.NDArray[np.int64]  # of each subject
    gross: Counts  # what the display showed, from zero
    tare: Counts  # what it showed for the caregiver alone; 0 where there was none
    converted: Flags  # written in the other system of units: other marks were read
    instruments: list[str] = field(default_factory=list)  # codes, ascending
    # which of them each reading was taken on, -1 none
    instrument: Counts = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    # what these instruments showed for known loads: rows of `Session.known_loads`
    known_loads: pd.DataFrame = field(default_factory=pd.DataFrame)
    # what was set for each subject of a drill, in steps from zero; empty in a session
    true: Array = field(default_factory=lambda: np.empty(0))

    @property
    def size(self) -> float:
        """One step in the measure's unit."""
        return float(self.measure.step.size)

    @property
    def staff(self) -> Flags:
        """Which people are not the reference."""
        staff = np.ones(len(self.people), dtype=bool)
        staff[:1] = not self.referenced
        return staff

    @property
    def repeats(self) -> Counts:
        """How often each person read each subject."""
        return self.seen.sum(axis=2)

    def from_first(self) -> tuple[Counts, Flags] | None:
        """Each round less round 1, and where both were read; None without a round 1."""
        if not len(self.rounds) or self.rounds[0] != 1:
            return None
        both = self.seen & self.seen[:, :, :1]
        return np.where(both, self.x - self.x[:, :, :1], 0), both

    def others(self, values: Array | Counts, valid: Flags) -> tuple[Array, Counts]:
        """Mean of the other staff (without self, without the reference), and how many.

        `values` and `valid` have people on axis 0; so do both results.
        """
        staff = self.staff.reshape(-1, *[1] * (values.ndim - 1))
        counted = valid & staff
        own = np.where(counted, values, 0)
        n = counted.sum(axis=0) - counted
        total = own.sum(axis=0) - own
        return np.divide(total, n, out=np.full(n.shape, np.nan), where=n > 0), n


def cubes(session: Session) -> Iterator[Cube]:
    """One cube for each measure with readings, in the order of the session's measures."""
    readings = session.readings
    if "retake" in readings:
        readings = readings[readings["retake"].isna()]
    for name, measure in session.measures.items():
        mine = readings[readings["measure"] == name]
        if len(mine):
            known = session.true_values[session.true_values["measure"] == name]
            tested = session.known_loads[session.known_loads["measure"] == name]
            yield _cube(mine, measure, session.reference, known, tested)


def _cube(
    readings: pd.DataFrame, measure: Measure, reference: str | None, known: pd.DataFrame,
    tested: pd.DataFrame,
) -> Cube:  # fmt: skip
    person, people = pd.factorize(readings["measurer"], sort=True)
    subject, subjects = pd.factorize(readings["subject"], sort=True)
    turn, rounds = pd.factorize(readings["round"], sort=True)
    names = list(people)
    referenced = reference in names
    if referenced:
        names.remove(reference)
        names.insert(0, reference)
        person = pd.Index(names).get_indexer(people)[person]
    count = readings["count"].to_numpy()
    shift = int(count.min())
    shape = (len(names), len(subjects), len(rounds))
    x = np.zeros(shape, dtype=np.int64)
    seen = np.zeros(shape, dtype=bool)
    x[person, subject, turn] = count - shift
    seen[person, subject, turn] = True

    def lay_out(column: str, otherwise: object) -> np.ndarray:
        values = readings[column].to_numpy() if column in readings else otherwise
        out = np.zeros(shape, dtype=np.asarray(values).dtype)
        out[person, subject, turn] = values
        return out

    on, instruments = _instruments(readings)
    instrument = np.full(shape, -1, dtype=np.int64)
    instrument[person, subject, turn] = on

    staff = seen[1:] if referenced else seen
    group = (
        _given_groups(readings["group"], subject, len(subjects))
        if "group" in readings
        else _connected(staff.any(axis=2))
    )
    return Cube(
        measure=measure, people=names, subjects=list(subjects), rounds=np.asarray(rounds),
        referenced=referenced, x=x, seen=seen, shift=shift, group=group,
        gross=lay_out("count_read", count), tare=lay_out("count_tare", 0),
        converted=lay_out("converted", False),
        instruments=instruments, instrument=instrument, known_loads=tested,
        true=known.set_index("subject")["steps"].reindex(subjects).to_numpy(float)
        if len(known) else np.empty(0),
    )  # fmt: skip


def _instruments(readings: pd.DataFrame) -> tuple[Counts, list[str]]:
    """The instrument of each reading as a place in the list of their codes, -1 for none."""
    if "instrument" not in readings:
        return np.full(len(readings), -1, dtype=np.int64), []
    named = readings["instrument"].where(~readings["instrument"].isin(["", "NA"]))
    codes, names = pd.factorize(named, sort=True)
    return codes.astype(np.int64), [str(name) for name in names]


def _given_groups(groups: pd.Series, subject: Counts, n_subjects: int) -> Counts:
    codes, _ = pd.factorize(groups, sort=True)
    group = np.zeros(n_subjects, dtype=np.int64)
    group[subject] = codes
    return group


def _connected(met: Flags) -> Counts:
    """Sets of subjects that are tied by staff who measured them (staff x subjects)."""
    n = met.shape[1]
    label = np.arange(n)
    while True:
        of_staff = np.where(met, label, n).min(axis=1, initial=n)
        spread = np.where(met, of_staff[:, None], n).min(axis=0, initial=n)
        new = np.minimum(label, spread)
        if (new == label).all():
            return label
        label = new
