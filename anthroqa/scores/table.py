"""All figures of a session in one tidy table.

A new statistic is one more name in `ORDER` and one more function in `_PEOPLE` or
`_EVERYBODY`, or in the lists of those that draw; nothing else here changes.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Collection, Sequence
from functools import partial

import numpy as np
import pandas as pd

from anthroqa.intake import EVERYBODY, Session
from anthroqa.notes.cells import worded
from anthroqa.scores.agreement import bias, less_instrument
from anthroqa.scores.components import between, crossed
from anthroqa.scores.drill import read_back
from anthroqa.scores.layout.cube import Cube, cubes
from anthroqa.scores.layout.figures import Figures, check_confidence
from anthroqa.scores.marks import digits, habit
from anthroqa.scores.repeats import likeness, repeatability, resolved, rounds

ORDER = (
    "within_tem",
    "within_tem_percent",
    "within_tem_resolved",
    "within_tem_less_shift",
    "own_round_shift",
    "reliability",
    "bias",
    "bias_less_instrument",
    "agreement_lower",
    "agreement_upper",
    "bias_from_others",
    "rms_error",
    "digit_dissimilarity",
    "coarse_share",
    "rounding_shift",
    "identical_repeats",
    "between_tem",
    "total_tem",
    "round_shift",
    "sd_subject",
    "sd_measurer",
    "sd_measurer_subject",
    "sd_instrument",
    "sd_repeat",
    "sd_reproducibility",
    "icc_agreement",
    "icc_consistency",
)
_BY_ROUND = ("own_round_shift", "round_shift")
_BY_MARK = ("coarse_share",)
COLUMNS = [
    "measure", "measurer", "statistic", "estimate", "lower", "upper", "confidence", "unit",
    "subjects", "readings", "df", "p_value", "note",
]  # fmt: skip

_Compute = Callable[[Cube, float], list[Figures]]
_Draws = Callable[[Cube, float, np.random.Generator], list[Figures]]
_Sources = Sequence[tuple[tuple[str, ...], _Compute]]
_DrawnSources = Sequence[tuple[tuple[str, ...], _Draws]]
_PEOPLE: _Sources = (
    (repeatability.NAMES, repeatability.figures),
    (rounds.NAMES, rounds.figures),
    (bias.NAMES, bias.figures),
    (less_instrument.NAMES, less_instrument.figures),
    (read_back.NAMES, read_back.figures),
)
_EVERYBODY: _Sources = (
    (habit.NAMES, habit.group_figures),
    (rounds.NAMES, rounds.group_figures),
)
# those that draw random numbers
_PEOPLE_DRAWN: _DrawnSources = (
    (resolved.NAMES, resolved.figures),
    (likeness.NAMES, likeness.figures),
    (digits.NAMES, digits.figures),
)
_EVERYBODY_DRAWN: _DrawnSources = (
    (between.NAMES, between.group_figures),
    (crossed.NAMES, crossed.group_figures),
)


def score(
    session: Session,
    *,
    confidence: float = 0.90,
    seed: int = 0,
    only: Collection[str] | None = None,
) -> pd.DataFrame:
    """Every figure of a session, one a row.

    Parameters
    ----------
    session : Session
    confidence : float, default 0.90
        Coverage of every two-sided interval, between 0 and 1.
    seed : int, default 0
        For statistics that draw random numbers.
    only : collection of str, optional
        Names of the statistics wanted; `own_round_shift` stands for all its rounds,
        `coarse_share` for all its marks.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, statistic, estimate, lower, upper, confidence, unit, subjects,
        readings, df, p_value, note`, in a fixed order: measures as in the session, the
        reference, staff by code, `(all)`, statistics as in the design. A figure or an
        interval that cannot be had is NaN, with the reason in `note`. `p_value` is not adjusted
        for other people, measures or statistics (`anthroqa.mark_findings` is); that of
        `coarse_share:MARK` is against the largest contrast over the marks of that person.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1, or `only` names an unknown statistic.

    References
    ----------
    Bland & Altman (1996) BMJ 312:1654 (within TEM); (1986) Lancet i:307-310 and (1999) Stat.
    Methods Med. Res. 8:135-160 (limits of agreement); Ulijaszek & Kerr (1999) Br. J. Nutr.
    82:165-177 (between and total TEM); Heitjan & Rubin (1990) J. Am. Stat. Assoc. 85:304-314
    (coarse readings; from memory); Patterson & Thompson (1971) Biometrika 58:545-554 and Burdick,
    Borror & Montgomery (2005) Design and Analysis of Gauge R&R Studies (variance components and
    their intervals; from memory); McGraw & Wong (1996) Psychol. Methods 1:30-46 (intraclass
    correlations). Statistics of marks and repeats are defined here: `positions`,
    `digits`, `shares`, `habit`, `resolved`, `likeness` and `drill` say how.

    Examples
    --------
    Two pairs that differ by 2 and 0 steps: the root of (4 + 0) / (2 x 2) is 1 step.

    >>> import anthroqa
    >>> frame = pd.DataFrame({"measurer": "A", "subject": ["1", "1", "2", "2"],
    ...                       "measure": "length", "round": [1, 2, 1, 2],
    ...                       "reading": ["70.1", "70.3", "75.0", "75.0"]})
    >>> session = anthroqa.Session.from_frame(
    ...     frame, measures={"length": {"recorded_to": "0.1 cm"}})
    >>> anthroqa.score(session, only=["within_tem"])[["estimate", "unit", "df"]].values.tolist()
    [[0.1, 'cm', 2.0]]
    """
    return worded(score_rows(list(cubes(session)), confidence=confidence, seed=seed, only=only))


def score_rows(
    of: Sequence[Cube], *, confidence: float, seed: int, only: Collection[str] | None = None
) -> pd.DataFrame:
    """The figures of the cubes of a session, as `score` gives them, with codes in `note`."""
    check_confidence(confidence)
    names = set(ORDER) if only is None else {str(name) for name in only}
    unknown = sorted(name for name in names if not _known(name))
    if unknown:
        raise ValueError(f"unknown statistic {', '.join(unknown)}; known are {', '.join(ORDER)}")
    parts = [part for cube in of for part in _measure_rows(cube, confidence, names, seed)]
    return _frame(parts, confidence)


def _seeded(seed: int, measure: str, drawn: _DrawnSources, *of_all: int) -> _Sources:
    """Those that draw, with random numbers of their own whatever else is wanted or measured."""
    own = zlib.crc32(measure.encode())
    # cut-offs of a design are the same in every measure
    return [
        (names, partial(compute, rng=np.random.default_rng([seed, of, place, *of_all])))
        for place, (names, compute) in enumerate(drawn)
        for of in [0 if names == resolved.NAMES else own]
    ]


def _known(name: str) -> bool:
    base, colon, part = name.partition(":")
    if not colon:
        return base in ORDER
    return (base in _BY_ROUND and part.isdecimal()) or (base in _BY_MARK and part != "")


def _wanted(
    sources: _Sources,
    cube: Cube,
    confidence: float,
    names: set[str],
) -> list[Figures]:
    bases = {name.split(":")[0] for name in names}
    found = [
        figures
        for offered, compute in sources
        if bases & set(offered)
        for figures in compute(cube, confidence)
        if figures.statistic in names or figures.statistic.split(":")[0] in names
    ]
    return sorted(found, key=lambda f: ORDER.index(f.statistic.split(":")[0]))


def _measure_rows(
    cube: Cube, confidence: float, names: set[str], seed: int
) -> list[dict[str, np.ndarray]]:
    """The rows of one measure as columns: person by person, then those of everybody."""
    of_people = [*_PEOPLE, *_seeded(seed, cube.measure.name, _PEOPLE_DRAWN)]
    of_all = [*_EVERYBODY, *_seeded(seed, cube.measure.name, _EVERYBODY_DRAWN, 1)]
    parts = [
        (np.array(cube.people, dtype=object), _wanted(of_people, cube, confidence, names)),
        (np.array([EVERYBODY], dtype=object), _wanted(of_all, cube, confidence, names)),
    ]
    return [_stack(cube.measure.name, who, blocks) for who, blocks in parts if blocks]


def _stack(measure: str, who: np.ndarray, blocks: list[Figures]) -> dict[str, np.ndarray]:
    rows = np.stack([b.rows for b in blocks], axis=1)
    shape = rows.shape

    def spread(values: list[object], axis: int) -> np.ndarray:
        line = np.array(values, dtype=object)
        return np.broadcast_to(line[:, None] if axis == 0 else line, shape)[rows]

    columns = {
        "measure": np.full(int(rows.sum()), measure, dtype=object),
        "measurer": spread(list(who), 0),
        "statistic": spread([b.statistic for b in blocks], 1),
        "unit": spread([b.unit for b in blocks], 1),
    }
    for name in ("estimate", "lower", "upper", "subjects", "readings", "df", "p_value", "note"):
        columns[name] = np.stack([getattr(b, name) for b in blocks], axis=1)[rows]
    return columns


def _frame(parts: list[dict[str, np.ndarray]], confidence: float) -> pd.DataFrame:
    columns = {
        name: np.concatenate([part[name] for part in parts])
        for name in COLUMNS
        if name != "confidence" and parts
    }
    frame = pd.DataFrame(columns)
    frame["confidence"] = confidence
    return frame.reindex(columns=COLUMNS)
