"""What is a far reading consistent with, and how often would chance alone fit as well?

A kind of slip is offered for a reading as windows: what may be written, by this kind, where the
subject's reading lay within two standard deviations of what was expected. The reading is
consistent with the kind if it stands in a window, and how often a gross error of about that size
would stand in one is the share of sizes, from two thirds of it to half as much again, of either
sign, that windows cover; sizes too small to be far are not counted.

Candidates are ordered by their likelihood: the density of what would have been, over the number
of ways in which the kind could have acted, times how often the kind occurs; a kind that explains
other far readings too counts for what it would take to explain them one by one. Assumes normal
readings about the expectation.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

import numpy as np
from scipy import special

from anthroqa.intake.written.slip_catalogue import Interval, Kind, meant, on_display, written_for
from anthroqa.intake.written.steps import Step
from anthroqa.notes import Note
from anthroqa.notes.scores.odd import Explanation
from anthroqa.notes.scores.slips import Slip

FITS = 2.0  # standard deviations within which what would have been is near enough
_ABOUT = 1.5  # sizes from so many times less to so many times more are about the same
_SAME = 1e-9  # steps; windows that touch a mark hold it
_TAIL = special.chdtrc(1, FITS**2)
_ANOTHER = 10.0  # log odds against one more slip of any size: 1 in 500, over 40 spreads


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd:
    """One far reading; in steps."""

    x: int  # the net reading
    gross: int
    tare: int
    style: str  # how the display was written down
    value: float
    spread: float
    limit: float

    def z(self, would: float) -> float:
        """How many spreads what would have been lies from what was expected."""
        return (would - self.value) / self.spread

    def window(self, moved: float) -> Interval:
        """Where the reading stands if it was moved by so many steps."""
        at, reach = self.value + moved, FITS * self.spread
        return at - reach, at + reach


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A kind of slip as it could have acted on one reading."""

    slip: Slip | None  # None where nothing fits
    windows: tuple[Interval, ...]  # net readings that it explains
    explains: bool  # whether it explains this one
    would: float = np.nan  # what this reading would have been; NaN where it is lost
    weight: float = -np.inf  # log likelihood, up to what is common to all kinds
    clears: int = 0  # other far readings that it explains too; -1: it would explain any
    partner: str = ""
    note: Note | None = None


def near(squares: float, n: int) -> bool:
    """Whether n distances are as near together as one within two standard deviations."""
    return bool(special.chdtrc(n, squares) >= _TAIL)


def reach(squares: float, n: int) -> float:
    """How many standard deviations one more may lie off beside n distances; 0 if nowhere."""
    return float(np.sqrt(max(special.chdtri(n + 1, _TAIL) - squares, 0.0)))


def likelihood(z: float, spread: float, ways: int, kind: Kind, clears: int = 0) -> float:
    """Log likelihood of a reading that would have been z spreads off, in one of so many ways."""
    one = -(z**2) / 2 - np.log(np.sqrt(2 * np.pi) * spread * ways)
    return float(one + np.log(kind.often) + _ANOTHER * max(clears, 0))


def moved(odd: Odd, kind: Kind, by: float, note: Note | None = None) -> Offer:
    """The offer of a kind that moved the reading by a known number of steps."""
    would = odd.x - by
    return Offer(
        slip=kind.slip, windows=(odd.window(by),), explains=near(odd.z(would) ** 2, 1),
        would=would, weight=likelihood(odd.z(would), odd.spread, 1, kind), note=note,
    )  # fmt: skip


def on_displays(odd: Odd, step: Step) -> Iterator[Offer]:
    """Offers of the kinds that act on what one display showed: the reading's, or the tare's."""
    size = float(step.size)
    for kind in on_display(step):
        if kind.way == "point" and (step.by_halves or step.unit == "oz"):
            continue  # no point is written there
        mark = float(kind.mark / step.size)
        at = replace(odd, spread=float(np.hypot(odd.spread, mark / np.sqrt(12))))
        low, high = (size * (end + odd.tare) for end in at.window(0.0))
        would = [_on_mark(m, step) - odd.tare
                 for m in meant(kind, odd.gross * step.size, step, odd.style)]  # fmt: skip
        best = min(would, key=lambda w: abs(at.z(w)), default=np.nan)
        yield Offer(
            slip=kind.slip,
            windows=tuple((start / size - odd.tare, end / size - odd.tare)
                          for start, end in written_for(kind, low, high, step, odd.style)),
            explains=bool(would) and near(at.z(best) ** 2, 1),
            would=best,
            weight=likelihood(at.z(best), at.spread, max(len(would), 1), kind),
        )  # fmt: skip
        if odd.tare and kind.way != "added":  # what is added to a tare is taken from the reading
            for m in meant(kind, odd.tare * step.size, step, odd.style):
                by = _on_mark(m, step) - odd.tare
                yield moved(odd, kind, by, note=Explanation.ON_THE_TARE)


def _on_mark(amount: Fraction, step: Step) -> int:
    return round(amount / step.size)


def chance(odd: Odd, offers: Iterable[Offer], clears: int) -> float:
    """The share of gross errors of about this size that some offer explains.

    Counted are offers that explain at least so many other far readings.
    """
    size = abs(odd.x - odd.value)
    least, most = max(odd.limit, size / _ABOUT), size * _ABOUT
    windows = sorted(w for offer in offers if offer.clears >= clears for w in offer.windows)
    marks = covered = 0
    for sign in (-1, 1):  # marks that may have been read, below the expectation and above it
        first, last = _marks(*sorted((odd.value + sign * least, odd.value + sign * most)))
        marks += last - first + 1
        for window in windows:
            low, high = _marks(*np.clip(window, first - 1, last + 1))
            low, high = max(low, first), min(high, last)
            if high >= low:
                covered += high - low + 1
                first = high + 1
    return covered / marks


def _marks(low: float, high: float) -> tuple[int, int]:
    """The first and the last whole step from `low` to `high`."""
    return ceil(low - _SAME), floor(high + _SAME)
