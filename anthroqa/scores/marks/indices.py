"""What are the published indices of terminal digits, for those who must report them?

Digit preference score: 100 sqrt(chi2 / (N (k - 1))), Kuulasmaa et al. (1998), Quality assessment
of data on blood pressure in the WHO MONICA Project. Index of dissimilarity: half the sum of
|p - 100 / k|, Duncan & Duncan (1955) Am. Sociol. Rev. 20:210-217. Blended index: Myers (1940)
Trans. Actuar. Soc. Am. 41:395-415. (All three from memory.) They take even digits for granted and
call chance, few subjects and converted readings preference; `digits` does not. Nothing is decided
on them, and they are never added up. Here the digits are the k positions between two whole marks.

By chance: the mean absolute deviation of a binomial (de Moivre; Diaconis & Zabell 1991, Stat. Sci.
6:284-302, from memory) gives the mean of the index of dissimilarity exactly.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from anthroqa.intake import EVERYBODY, Measure, Session
from anthroqa.notes import Note, Notes, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.scores.marks import BlendedOver, Conversion, Index, LeftOutOfIndex
from anthroqa.scores.layout.cube import Counts, Cube, Flags, cubes
from anthroqa.scores.layout.shown import displays
from anthroqa.scores.marks.combs import comb

WHOLE_RANGE, EQUAL_CYCLES = "whole range", "equal cycles"  # conventions of the blended index
_DIGITS, _APART, _BLENDED = (
    "digit preference score", "index of dissimilarity", "Myers' blended index",
)  # fmt: skip
_SOURCES = {
    _DIGITS: "Kuulasmaa et al. (1998), WHO MONICA Project",
    _APART: "Duncan & Duncan (1955) Am. Sociol. Rev. 20:210-217",
    _BLENDED: "Myers (1940) Trans. Actuar. Soc. Am. 41:395-415",
}
_COLUMNS = [
    "measure", "measurer", "index", "value", "expected_by_chance", "readings", "source", "note",
]  # fmt: skip


def published_indices(session: Session) -> pd.DataFrame:
    """Published indices of each person's terminal digits, and of all staff together.

    Parameters
    ----------
    session : Session

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, index, value, expected_by_chance, readings, source, note`: one row a
        measure, a measurer (`(all)`: the staff, without the reference) and an index. All three
        are 0 for even digits; the largest value of the digit preference score is 100, of the
        others 100 - 100 / k. `readings` are displays as read: gross and tare each.

    Examples
    --------
    >>> import anthroqa
    >>> frame = pd.DataFrame({"measurer": "A", "subject": list("1234"), "measure": "length",
    ...                       "round": 1, "reading": ["70.0", "75.5", "80.0", "83.1"]})
    >>> session = anthroqa.Session.from_frame(
    ...     frame, measures={"length": {"recorded_to": "0.1 cm"}})
    >>> published_indices(session)[["index", "value"]].head(2).round(1).values.tolist()
    [['digit preference score', 55.3], ['index of dissimilarity', 70.0]]
    """
    return worded(index_rows(cubes(session)))


def index_rows(of: Iterable[Cube]) -> pd.DataFrame:
    """The indices of the cubes of a session, as `published_indices` gives them, with codes."""
    rows: list[dict[str, object]] = []
    for cube in of:
        d = displays(cube)
        everybody = np.arange(len(d.people))
        for name, who in [*zip(d.people, everybody[:, None], strict=True),
                          (EVERYBODY, everybody[cube.staff])]:  # fmt: skip
            left = int(d.converted[who].sum())
            rows.extend(_rows(cube.measure, name, d.x[who], d.seen[who], left))
    return pd.DataFrame(rows, columns=_COLUMNS)


def digit_preference_score(counts: npt.ArrayLike) -> float:
    """100 sqrt(chi2 / (N (k - 1))) of the counts at the k positions; NaN without readings.

    Examples
    --------
    >>> digit_preference_score([5, 5, 5, 5]), digit_preference_score([20, 0, 0, 0])
    (0.0, 100.0)
    """
    at = _counts(counts)
    n, k = int(at.sum()), len(at)
    if n == 0:
        return np.nan
    # chi2 / n = k sum(count^2) / n^2 - 1, in whole numbers up to the one division
    over = k * sum(int(c) ** 2 for c in at) - n**2
    return float(100 * np.sqrt(over / (n**2 * (k - 1))))


def index_of_dissimilarity(counts: npt.ArrayLike) -> float:
    """Half the sum of |share - 100 / k|, percentage points; NaN without readings.

    Examples
    --------
    >>> index_of_dissimilarity([20, 0, 0, 0])
    75.0
    """
    at = _counts(counts)
    n, k = int(at.sum()), len(at)
    return float(50 * np.abs(k * at - n).sum() / (n * k)) if n else np.nan


def expected_by_chance(n: int, k: int) -> float:
    """Mean index of dissimilarity of `n` independent readings that prefer none of `k` positions.

    Exact. The root of the mean square of the digit preference score is 100 / sqrt(n), exactly.

    Examples
    --------
    >>> round(expected_by_chance(50, 10), 4), round(expected_by_chance(1000, 10), 4)
    (16.6432, 3.7815)
    """
    return _mean_dissimilarity(float(n), k) if n else np.nan


def myers_blended_index(
    values: npt.ArrayLike,
    counts: npt.ArrayLike | None = None,
    *,
    lowest: int,
    highest: int,
    cycle: int = 10,
    convention: str,
    halved: bool = True,
) -> float:
    """Myers' blended index of whole numbers from `lowest` to `highest`, percentage points.

    Each position is summed twice, from `lowest` on with weights 1, 2 ... k and from one cycle
    higher on with weights k - 1 ... 1, 0; the index is the sum of |share - 100 / k|.

    Parameters
    ----------
    values, counts : array of int
        Whole numbers (years, steps), and how often each was read; once each without `counts`.
    lowest, highest : int
        The range, both included: whole cycles, two or more.
    convention : {"whole range", "equal cycles"}
        Whether the first sums run to `highest`, or to one cycle below, so that both cover
        equally many cycles.
    halved : bool, default True
        Whether the half of the sum is given.

    Examples
    --------
    >>> myers_blended_index([10, 20, 30], lowest=10, highest=39, convention="equal cycles")
    90.0
    """
    x = np.asarray(values, dtype=np.int64)
    n = np.ones_like(x) if counts is None else np.asarray(counts, dtype=np.int64)
    weight = n * _weights(x, lowest, highest, cycle, convention)
    blended = np.zeros(cycle, dtype=np.int64)
    np.add.at(blended, (x - lowest) % cycle, weight)
    return index_of_dissimilarity(blended) * (1 if halved else 2)


def _weights(x: Counts, lowest: int, highest: int, cycle: int, convention: str) -> Counts:
    """How often each value enters the blended sums."""
    cycles, rest = divmod(highest + 1 - lowest, cycle)
    if rest or cycles < 2:
        raise ValueError(f"{lowest} to {highest} is not two or more whole cycles of {cycle}")
    if convention not in (WHOLE_RANGE, EQUAL_CYCLES):
        raise ValueError(f"unknown convention {convention!r}: {WHOLE_RANGE} or {EQUAL_CYCLES}")
    position = (x - lowest) % cycle
    end = highest - (cycle if convention == EQUAL_CYCLES else 0)
    first = (x >= lowest) & (x <= end)
    second = (x >= lowest + cycle) & (x <= highest)
    return first * (position + 1) + second * (cycle - 1 - position)


def _counts(counts: npt.ArrayLike) -> Counts:
    at = np.asarray(counts, dtype=np.int64)
    if len(at) < 2 or (at < 0).any():
        raise ValueError("counts of two positions or more are needed, none below 0")
    return at


def _mean_dissimilarity(n: float, k: int) -> float:
    """As `expected_by_chance`; between whole numbers of readings too."""
    above = np.floor(n / k) + 1
    log = special.gammaln(n + 1) - special.gammaln(above + 1) - special.gammaln(n - above + 1)
    log += special.xlogy(above, 1 / k) + special.xlogy(n - above, 1 - 1 / k)
    return float(100 * k * above * (1 - 1 / k) * np.exp(log) / n)


def _rows(
    measure: Measure, measurer: str, x: Counts, seen: Flags, converted: int
) -> Iterator[dict[str, object]]:
    """The rows of one measurer, from the displays (person, item, round) that are theirs."""
    cycle, mine = measure.cycle, x[seen]
    shared = _notes(measure, x, seen, converted)
    if cycle is None:
        found = dict.fromkeys(_SOURCES, (np.nan, np.nan, Index.NO_WHOLE_MARK))
    elif not len(mine):
        found = dict.fromkeys(_SOURCES, (np.nan, np.nan, Index.NO_READINGS))
    else:
        at = np.bincount(mine % cycle, minlength=cycle)
        found = {
            _DIGITS: (digit_preference_score(at), 100 / np.sqrt(len(mine)), Index.ROOT_BY_CHANCE),
            _APART: (index_of_dissimilarity(at), expected_by_chance(len(mine), cycle), None),
            _BLENDED: _blended(measure, mine, cycle),
        }
    for index, (value, chance, note) in found.items():
        yield {
            "measure": measure.name, "measurer": measurer, "index": index, "value": value,
            "expected_by_chance": chance, "readings": len(mine), "source": _SOURCES[index],
            "note": notes_of(note, shared),
        }  # fmt: skip


def _blended(measure: Measure, x: Counts, cycle: int) -> tuple[float, float, Note]:
    """The blended index over the whole cycles that hold every reading."""
    if x.max() - x.min() + 1 < 2 * cycle:
        return np.nan, np.nan, Index.UNDER_TWO_CYCLES
    lowest = int(x.min()) // cycle * cycle
    highest = (int(x.max()) // cycle + 1) * cycle - 1
    weight = _weights(x, lowest, highest, cycle, EQUAL_CYCLES)
    worth = float(weight.sum()) ** 2 / float((weight**2).sum())  # in readings of equal weight
    return (
        myers_blended_index(
            x, lowest=lowest, highest=highest, cycle=cycle, convention=EQUAL_CYCLES
        ),
        _mean_dissimilarity(worth, cycle),
        BlendedOver(cycle=cycle, lowest=lowest, highest=highest, step=measure.step),
    )


def _notes(measure: Measure, x: Counts, seen: Flags, converted: int) -> Notes:
    """What a reader of any of these indices should know of the readings behind it."""
    item = np.broadcast_to(np.arange(x.shape[1])[:, None], x.shape)[seen]
    found = comb(x[seen], measure.step, subjects=item)
    return notes_of(
        Conversion(on=found.on, of=found.of, step=found.step) if found else None,
        Index.REPEATS_NEARLY_EQUAL if len(np.unique(item)) < len(item) else None,
        LeftOutOfIndex(readings=converted) if converted else None,
    )
