"""Which measures of the records are wanted, and to which step is each recorded?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from anthroqa.intake.described.settings import Measure, read_measures
from anthroqa.intake.tables.problems import SessionError
from anthroqa.intake.written.steps import Step
from anthroqa.scores.marks.combs import leaves_gaps

_MOST = 2**40  # steps; no display shows more, and a double holds it exactly


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One measure of the records, in whole numbers of its step."""

    name: str
    measure: Measure
    cycle: int | None  # positions between two whole marks; None where the step has none
    low: int  # steps; anything below or above is out of range
    high: int
    comb: tuple[Step, Fraction] | None  # marks of the other system, and their distance in steps


def wanted(
    recorded_to: Mapping[str, str], *, ranges: Mapping[str, str] | None = None
) -> tuple[Wanted, ...]:
    """The measures to tally.

    Parameters
    ----------
    recorded_to : mapping
        Step of each measure, as in ``{"infant_weight": "1 oz"}``.
    ranges : mapping, optional
        Lowest and highest, as in ``{"infant_weight": "3 lb to 45 lb"}``. Without one, only
        negative readings are out of range.

    Raises
    ------
    ValueError
        With everything that cannot be understood.

    Examples
    --------
    >>> one = wanted({"infant_weight": "1 oz"}, ranges={"infant_weight": "3 lb to 45 lb"})[0]
    >>> one.cycle, one.low, one.high
    (16, 48, 720)
    """
    if not recorded_to:
        raise ValueError("no measure is given: write --recorded-to infant_weight='1 oz'")
    stray = sorted(set(ranges or {}) - set(recorded_to))
    if stray:
        raise ValueError(f"{', '.join(stray)}: give its step with --recorded-to too")
    raw: dict[str, dict[str, object]] = {
        name: {"recorded_to": step} for name, step in recorded_to.items()
    }
    for name, text in (ranges or {}).items():
        raw[name]["range"] = [part.strip() for part in text.split(" to ")]
    settings, problems = read_measures(raw, "--recorded-to", reference=None)
    if problems:
        raise ValueError(str(SessionError(problems)))
    return tuple(map(_wanted, settings.measures.values()))


def _wanted(measure: Measure) -> Wanted:
    size = measure.step.size
    return Wanted(
        name=measure.name, measure=measure, cycle=measure.cycle,
        low=0 if measure.low is None else int(-(-measure.low // size)),
        high=_MOST if measure.high is None else int(measure.high // size),
        comb=leaves_gaps(measure.step),
    )  # fmt: skip


def pairs(texts: Iterable[str]) -> dict[str, str]:
    """`NAME=VALUE` texts as a mapping; the first = parts them.

    Examples
    --------
    >>> pairs(["infant_weight=1 oz", "infant_length = 1/8 in"])
    {'infant_weight': '1 oz', 'infant_length': '1/8 in'}
    """
    found: dict[str, str] = {}
    for text in texts:
        name, sign, value = (part.strip() for part in text.partition("="))
        if not (sign and name and value):
            raise ValueError(f"{text!r} is not of the form NAME=VALUE")
        if name in found:
            raise ValueError(f"{name} is given twice")
        found[name] = value
    return found
