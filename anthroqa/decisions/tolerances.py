"""Which error does legal metrology allow a scale, by its class and the load, once it is in use?

Two published tables, as data, in divisions of the instrument:

NIST Handbook 44, section 2.20, Table 6, maintenance tolerances (acceptance is one half): from
memory, the third and fourth band of class III confirmed in public pages.

OIML R 76-1:2006, Table 6, at verification, doubled in use (3.5.2). The same bands stand in
Council Directive 90/384/EEC, Annex I, Table 3 and 4.2, read in UK SI 1995 No. 1907, schedule 2
(which misprints the end of the first band of class II as 20 000 e) and in 2014/31/EU.

Neither has a class for boards and tapes. Whether a clinic's scale falls under either is for the
office of weights and measures to say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

HANDBOOK_44, OIML_R76 = "handbook 44", "oiml r76"
# class -> (load in divisions up to and with it, divisions allowed)
_Bands = dict[str, tuple[tuple[float, float], ...]]
_END = math.inf
_MAINTENANCE: _Bands = {
    "I": ((50_000, 1), (200_000, 2), (_END, 3)),
    "II": ((5_000, 1), (20_000, 2), (_END, 3)),
    "III": ((500, 1), (2_000, 2), (4_000, 3), (_END, 5)),
    "IIII": ((50, 1), (200, 2), (400, 3), (_END, 5)),
}
_VERIFICATION: _Bands = {
    "I": ((50_000, 0.5), (200_000, 1), (_END, 1.5)),
    "II": ((5_000, 0.5), (20_000, 1), (100_000, 1.5)),
    "III": ((500, 0.5), (2_000, 1), (10_000, 1.5)),
    "IIII": ((50, 0.5), (200, 1), (1_000, 1.5)),
}
_IN_USE = 2  # of what is allowed at verification; R 76-1:2006, 3.5.2
_SOURCES = {
    HANDBOOK_44: "NIST Handbook 44, 2.20, Table 6, maintenance",
    OIML_R76: "OIML R 76-1:2006, Table 6 and 3.5.2, in use",
}


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What is allowed either way at one load, in divisions; None past the end of the table."""

    divisions: float | None
    source: str


def tolerance(load: float, accuracy_class: str, table: str) -> Tolerance:
    """The tolerance at a load in divisions; the end of a band belongs to it.

    Examples
    --------
    150 lb on a class III scale with divisions of 0.05 lb is 3,000 divisions.

    >>> tolerance(3000, "III", "handbook 44").divisions
    3
    >>> tolerance(3000, "III", "oiml r76").divisions
    3.0
    """
    bands = (_MAINTENANCE if table == HANDBOOK_44 else _VERIFICATION)[accuracy_class]
    source = f"{_SOURCES[table]}, class {accuracy_class}"
    size = round(load, 9)  # amounts come from exact fractions through one division
    for end, allowed in bands:
        if size <= end:
            return Tolerance(allowed if table == HANDBOOK_44 else _IN_USE * allowed, source)
    return Tolerance(None, source)
