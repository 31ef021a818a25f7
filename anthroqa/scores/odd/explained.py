"""Which odd readings were slips, and of what kind?

Every first reading that lies far from its expectation (`expected`) is held against the catalogue
of slips (`intake.slips`): on the display as it was written, and on the table of readings. What a
reading is consistent with is no finding: a person looks at the paper and decides. How often
chance alone would fit as well is always beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import pandas as pd

from anthroqa.intake import Session
from anthroqa.intake.written.slip_catalogue import place
from anthroqa.notes import notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.scores.odd import Explanation
from anthroqa.notes.scores.slips import Slip
from anthroqa.scores.layout.cube import Cube, cubes
from anthroqa.scores.odd.exchanges import Laid, Place, in_table, laid
from anthroqa.scores.odd.expectation import expected
from anthroqa.scores.odd.explanations import Odd, Offer, chance, on_displays

COLUMNS = (
    "measure", "measurer", "subject", "round", "written", "value", "expected", "off_by", "spread",
    "unit", "place", "consistent_with", "would_have_been", "left_over", "chance", "partner", "note",
)  # fmt: skip
_TEXTS = {"measure", "measurer", "subject", "written", "unit", "partner"}
_CODES = ("consistent_with", "note")


def slips(session: Session) -> pd.DataFrame:
    """Every reading far from its expectation, with the slips that it is consistent with.

    Parameters
    ----------
    session : Session

    Returns
    -------
    pandas.DataFrame
        One row a far first reading and kind of slip, best first: `measure, measurer, subject,
        round, written, value, expected, off_by, spread, unit, place, consistent_with,
        would_have_been, left_over, chance, partner, note`. Amounts are in `unit`, that of the
        step. `off_by` is the value less the expectation, `left_over` what would have been less
        the expectation; both are NaN where what was read is lost. `chance` is the share of gross
        errors of about this size that the catalogue would explain too (by a kind that explains as
        many other far readings). `partner` is the other subject or measure of an exchange.
        Where nothing fits there is one row, `place` 1, with a blank `consistent_with`.

    References
    ----------
    The expectation and its spread: `anthroqa.scores.expected`. That a short catalogue explains
    many gross errors by chance alone, and must say how many: common practice, no source.

    Examples
    --------
    Five people read two children; E turns 73.5 into 37.5.

    >>> import anthroqa
    >>> rows = [(p, s, 1, r) for p in "ABCD" for s, r in (("1", "73.5"), ("2", "61.2"))]
    >>> rows += [("E", "1", 1, "37.5"), ("E", "2", 1, "61.2")]
    >>> frame = pd.DataFrame(rows, columns=["measurer", "subject", "round", "reading"])
    >>> session = anthroqa.Session.from_frame(
    ...     frame.assign(measure="length"), measures={"length": {"recorded_to": "0.1 cm"}})
    >>> anthroqa.slips(session)[["measurer", "written", "consistent_with", "would_have_been"]]
      measurer written                consistent_with  would_have_been
    0        E    37.5  two adjacent digits exchanged             73.5
    """
    return worded(slip_rows(lay_out(session, cubes(session))), *_CODES)


def slip_rows(measures: Mapping[str, Laid]) -> pd.DataFrame:
    """The far readings of the measures of `lay_out`, as `slips` gives them, with codes."""
    rows = [
        row
        for measure in measures.values()
        for at in zip(*(a.tolist() for a in np.nonzero(measure.of.far)), strict=True)
        for row in _rows(measure, at, measures)
    ]
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    if not rows:
        kinds = {c: "str" if c in _TEXTS else "int64" if c in ("round", "place") else "float64"
                 for c in COLUMNS if c not in _CODES}  # fmt: skip
        return frame.astype(kinds)
    return frame


def lay_out(session: Session, of: Iterable[Cube]) -> dict[str, Laid]:
    """Each measure with its expectations; the frame holds first readings only."""
    frame = session.readings
    if "retake" in frame:
        frame = frame[frame["retake"].isna()]
    by_measure = dict(list(frame.groupby("measure", sort=False)))
    return {
        cube.measure.name: laid(cube, expected(cube), by_measure[cube.measure.name]) for cube in of
    }


def offers_of(measure: Laid, at: Place, odd: Odd, measures: Mapping[str, Laid]) -> list[Offer]:
    """All kinds that are offered for one reading, whether they explain it or not."""
    return [*on_displays(odd, measure.step), *in_table(measure, at, odd, measures)]


def _rows(measure: Laid, at: Place, measures: Mapping[str, Laid]) -> Iterator[dict[str, object]]:
    """The rows of one far reading."""
    cube, size = measure.cube, measure.step.size
    odd = measure.odd(at)
    offers = offers_of(measure, at, odd, measures)
    either = Explanation.EITHER if _cannot_be_told(measure, at) else None
    found: dict[tuple[Slip, str], Offer] = {}
    for offer in sorted(offers, key=lambda o: (-o.weight, place(o.slip), o.partner)):
        if offer.explains:
            found.setdefault((offer.slip, offer.partner), offer)

    def amount(steps: float) -> float:
        return float(steps * size.numerator / size.denominator)

    nothing = Offer(slip=None, windows=(), explains=False, clears=-1)
    for number, offer in enumerate(found.values() or [nothing], start=1):
        yield {
            "measure": cube.measure.name, "measurer": cube.people[at[0]],
            "subject": cube.subjects[at[1]], "round": int(cube.rounds[at[2]]),
            "written": measure.text(at), "value": amount(odd.x), "expected": amount(odd.value),
            "off_by": amount(odd.x - odd.value), "spread": amount(odd.spread),
            "unit": cube.measure.step.unit, "place": number,
            "consistent_with": notes_of(offer.slip),
            "would_have_been": amount(offer.would),
            "left_over": amount(offer.would - odd.value),
            "chance": chance(odd, offers, offer.clears), "partner": offer.partner,
            "note": notes_of(offer.note, either),
        }  # fmt: skip


def _cannot_be_told(measure: Laid, at: Place) -> bool:
    """Whether all that another person read of the subject is as far off as this."""
    seen, far = measure.cube.seen[:, at[1]], measure.of.far[:, at[1]]
    others = np.arange(len(seen)) != at[0]
    return bool(measure.of.readers[at[1]] == 2 and far[others][seen[others]].all())
