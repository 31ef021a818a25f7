"""Would another reading of the table explain a far one?

Two subjects or two measures exchanged, a tare of another caregiver, a value carried forward, a
sheet shifted by a row: kinds that leave a trace in a second place. What is explained in several
places must be near in all of them together (chi-squared, as one within two standard deviations).
The order of measuring is that of `taken_at` where it is given throughout, else that of the rows.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from anthroqa.intake.written.grammar import Count, as_written, read_count
from anthroqa.intake.written.slip_catalogue import TABLE, style_of
from anthroqa.intake.written.steps import Step
from anthroqa.notes.scores.odd import Explanation
from anthroqa.notes.scores.slips import Slipped
from anthroqa.scores.layout.cube import Array, Counts, Cube
from anthroqa.scores.odd.expectation import Expected, of_subjects
from anthroqa.scores.odd.explanations import FITS, Odd, Offer, likelihood, moved, near, reach

_RUN = 3  # rows from which on a run counts as a shift of the sheet
Place = tuple[int, int, int]  # person, subject, round


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """One measure with its expectations, and its readings in the order in which they stand."""

    cube: Cube
    of: Expected
    frame: pd.DataFrame  # first readings of the measure
    rows: Mapping[Place, int]  # of `frame`
    _order: dict[tuple[int, int], list[int]] = field(default_factory=dict)

    @property
    def step(self) -> Step:
        """The finest mark."""
        return self.cube.measure.step

    @property
    def x(self) -> Array:
        """Net readings in steps from zero, NaN where nothing was read."""
        return np.where(self.cube.seen, self.cube.x + self.cube.shift, np.nan)

    def text(self, at: Place) -> str:
        """What was written, as it was written."""
        return str(self.frame["written"].iloc[self.rows[at]])

    def shown(self, at: Place) -> str:
        """What the display showed: as written, unless a correction says otherwise."""
        text, gross = self.text(at), int(self.cube.gross[at])
        read = read_count(text, self.step)
        same = isinstance(read, Count) and read.steps == gross
        return text if same else as_written(gross, self.step)

    def odd(self, at: Place) -> Odd:
        """One reading, ready to be explained."""
        gross = int(self.cube.gross[at])
        return Odd(
            x=gross - int(self.cube.tare[at]), gross=gross, tare=int(self.cube.tare[at]),
            style=style_of(self.shown(at), self.step), value=float(self.of.value[at]),
            spread=float(self.of.spread[at]), limit=float(self.of.limit[at]),
        )  # fmt: skip

    def place(self, measure: Laid, at: Place) -> Place | None:
        """Where this measure has the reading of the same person, subject and round."""
        try:
            there = (
                self.cube.people.index(measure.cube.people[at[0]]),
                self.cube.subjects.index(measure.cube.subjects[at[1]]),
                self.cube.rounds.tolist().index(measure.cube.rounds[at[2]]),
            )
        except ValueError:
            return None
        return there if there in self.rows else None

    def order(self, person: int, turn: int) -> list[int]:
        """The subjects of a person's round in the order of measuring."""
        if (person, turn) not in self._order:
            mine = sorted(
                (row, s) for (p, s, k), row in self.rows.items() if (p, k) == (person, turn)
            )
            self._order[person, turn] = [s for _, s in self._by_time(mine)]
        return self._order[person, turn]

    def _by_time(self, mine: list[tuple[int, int]]) -> list[tuple[int, int]]:
        if "taken_at" not in self.frame:
            return mine
        texts = [str(self.frame["taken_at"].iloc[row]) for row, _ in mine]
        try:
            times = [dt.datetime.fromisoformat(text) for text in texts]
            return [pair for _, pair in sorted(zip(times, mine, strict=True))]
        except (ValueError, TypeError):  # some are empty, or some only have a time zone
            return mine


def laid(cube: Cube, of: Expected, frame: pd.DataFrame) -> Laid:
    """The readings of one measure laid beside their expectations."""
    places = (
        pd.Index(cube.people).get_indexer(frame["measurer"]),
        pd.Index(cube.subjects).get_indexer(frame["subject"]),
        pd.Index(cube.rounds).get_indexer(frame["round"]),
    )
    rows = {place: i for i, place in enumerate(zip(*(p.tolist() for p in places), strict=True))}
    return Laid(cube=cube, of=of, frame=frame, rows=rows)


def in_table(measure: Laid, at: Place, odd: Odd, others: Mapping[str, Laid]) -> Iterator[Offer]:
    """Offers of the kinds that another reading of the table bears out."""
    yield from _subjects(measure, at, odd)
    yield from _measures(measure, at, odd, others)
    yield from _tares(measure, at, odd)
    yield from _carried(measure, at, odd)
    yield from _shifted(measure, at, odd)


def _subjects(m: Laid, at: Place, odd: Odd) -> Iterator[Offer]:
    """Another subject of the same person and round whose reading fits here, and this one there."""
    p, own, k = at
    kind = TABLE[Slipped.SUBJECTS_EXCHANGED]
    here, there = odd.z(m.x[p, :, k]), (odd.x - m.of.value[p, :, k]) / m.of.spread[p, :, k]
    ways = max(int((~np.isnan(there)).sum()) - 1, 1)
    for s in np.flatnonzero(np.abs(here) <= reach(0.0, 1)):
        if s == own or np.isnan(there[s]):
            continue
        half = reach(here[s] ** 2, 1) * m.of.spread[p, s, k]
        clears = int(m.of.far[p, s, k])
        yield Offer(
            slip=kind.slip,
            windows=((m.of.value[p, s, k] - half, m.of.value[p, s, k] + half),),
            explains=near(here[s] ** 2 + there[s] ** 2, 2),
            would=m.x[p, s, k],
            weight=likelihood(there[s], odd.spread, ways, kind, clears),
            clears=clears, partner=str(m.cube.subjects[s]),
        )  # fmt: skip


def _measures(m: Laid, at: Place, odd: Odd, others: Mapping[str, Laid]) -> Iterator[Offer]:
    """The same subject's other measures whose number fits here, and this number there."""
    kind = TABLE[Slipped.MEASURES_EXCHANGED]
    for name, other in others.items():
        there = other.place(m, at) if other is not m else None
        if there is None or np.isnan(other.of.value[there]):
            continue
        mine = read_count(other.shown(there), m.step)
        theirs = read_count(m.shown(at), other.step)
        if not (isinstance(mine, Count) and isinstance(theirs, Count)):
            continue
        second = other.odd(there)
        z1, z2 = odd.z(mine.steps - odd.tare), second.z(theirs.steps - second.tare)
        # one step of the other measure's number is so many of this one's
        times = float(other.step.size / m.step.size)
        half = reach(z1**2, 1) * second.spread * times
        middle_ = (second.value + second.tare) * times - odd.tare
        clears = int(other.of.far[there])
        yield Offer(
            slip=kind.slip, windows=((middle_ - half, middle_ + half),) if half else (),
            explains=near(z1**2 + z2**2, 2), would=mine.steps - odd.tare,
            weight=likelihood(z1, odd.spread, max(len(others) - 1, 1), kind, clears),
            clears=clears, partner=name,
        )  # fmt: skip


def _tares(m: Laid, at: Place, odd: Odd) -> Iterator[Offer]:
    """What was taken off for the caregiver is nothing, twice too much, or somebody else's."""
    if not m.cube.tare.any():
        return
    usual = _usual(m, m.cube.tare, at)
    own = usual[at[1]]
    if odd.tare:
        yield moved(odd, TABLE[Slipped.TARE_TWICE], -odd.tare)
    elif not np.isnan(own):
        yield moved(odd, TABLE[Slipped.TARE_FORGOTTEN], own)
    if not odd.tare or not abs(odd.tare - own) > FITS * odd.spread:
        return
    kind = TABLE[Slipped.ANOTHER_TARE]
    offer = moved(odd, kind, own - odd.tare)
    others = [int(s) for s in np.flatnonzero(~np.isnan(usual)) if s != at[1]]
    fits = [s for s in others if abs(odd.tare - usual[s]) <= FITS * odd.spread]
    for s in fits:
        yield replace(
            offer, windows=tuple(odd.window(own - usual[t]) for t in others),
            weight=likelihood(odd.z(offer.would), odd.spread, len(others), kind),
            partner=str(m.cube.subjects[s]),
        )  # fmt: skip
    gross = _usual(m, m.cube.gross, at)[at[1]]
    if not fits and abs(odd.gross - gross) <= FITS * odd.spread:
        nobodys, anything = Explanation.TARE_OF_NOBODY, ((-np.inf, np.inf),)
        yield replace(offer, windows=anything, clears=-1, note=nobodys)


def _usual(m: Laid, values: Counts, at: Place) -> Array:
    """The median of each subject's displays, 0 being none, without this one."""
    there = np.where(m.cube.seen & (values != 0), values, np.nan)
    there[at] = np.nan
    return of_subjects(there)


def _carried(m: Laid, at: Place, odd: Odd) -> Iterator[Offer]:
    """The reading before it, written again; what was read is lost."""
    order = m.order(at[0], at[2])
    place = order.index(at[1])
    if not place:
        return
    before = (at[0], order[place - 1], at[2])
    x = int(m.cube.gross[before] - m.cube.tare[before])
    kind = TABLE[Slipped.CARRIED_FORWARD]
    yield Offer(
        slip=kind.slip, windows=((x - 0.5, x + 0.5),), explains=x == odd.x,
        weight=float(np.log(kind.often)), partner=str(m.cube.subjects[before[1]]),
        note=Explanation.LOST,
    )  # fmt: skip


def _shifted(m: Laid, at: Place, odd: Odd) -> Iterator[Offer]:
    """A run of rows that each hold the reading of the row before, or after."""
    p, own, k = at
    order = np.array(m.order(p, k))
    x, value, spread = (a[p, order, k] for a in (m.x, m.of.value, m.of.spread))
    far = m.of.far[p, order, k]
    place = int(np.flatnonzero(order == own)[0])
    for by in (1, -1):
        z = np.full(len(order), np.inf)
        row = np.arange(len(order))[max(by, 0) : len(order) + min(by, 0)]
        z[row] = (x[row] - value[row - by]) / spread[row - by]
        fits = np.abs(z) <= 2 * FITS
        fits[place] = True
        start, end = _run(fits & far, fits, place)
        rest = [i for i in range(start, end) if i != place]
        if len(rest) + 1 < _RUN or not 0 <= place - by < len(order):
            continue
        squares = float((z[rest] ** 2).sum())
        half = reach(squares, len(rest)) * spread[place - by]
        clears = int(far[rest].sum())
        if not half > 0 or not clears:
            continue
        held = place + by  # the row that holds what was read of this subject
        lost = not start <= held < end
        kind = TABLE[Slipped.SHEET_SHIFTED]
        yield Offer(
            slip=kind.slip,
            windows=((value[place - by] - half, value[place - by] + half),),
            explains=abs(x[place] - value[place - by]) <= half,
            would=np.nan if lost else float(x[held]),
            weight=likelihood(z[place], spread[place], 2, kind, clears), clears=clears,
            partner=str(m.cube.subjects[order[place - by]]),
            note=Explanation.LOST if lost else None,
        )  # fmt: skip


def _run(firm: np.ndarray, fits: np.ndarray, place: int) -> tuple[int, int]:
    """The rows about a place that all fit, ending on either side with a far one."""
    ends = []
    for way in (-1, 1):
        last, i = place, place + way
        while 0 <= i < len(fits) and fits[i]:
            last = i if firm[i] else last
            i += way
        ends.append(last)
    return ends[0], ends[1] + 1
