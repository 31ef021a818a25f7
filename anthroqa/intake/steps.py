"""Which marks does the instrument have, and what is each worth, exactly?

Units are the exact legal ones (international yard and pound agreement of 1959:
1 lb = 0.453 592 37 kg, 1 in = 2.54 cm). Everything here is a fraction; no float.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

_POUND = Fraction(45_359_237, 100_000_000)  # in kg

# unit -> (kind, size in kg or cm)
UNITS: dict[str, tuple[str, Fraction]] = {
    "kg": ("mass", Fraction(1)),
    "g": ("mass", Fraction(1, 1000)),
    "lb": ("mass", _POUND),
    "oz": ("mass", _POUND / 16),
    "cm": ("length", Fraction(1)),
    "mm": ("length", Fraction(1, 10)),
    "in": ("length", Fraction(254, 100)),
}


def same_kind(unit: str, other: str) -> bool:
    """Whether both units measure mass, or both length."""
    return UNITS[unit][0] == UNITS[other][0]


def convert(amount: Fraction, unit: str, to: str) -> Fraction:
    """`amount` of `unit` in the unit `to`, exactly; the kinds must agree."""
    if not same_kind(unit, to):
        raise ValueError(f"{unit} and {to} do not measure the same thing")
    return amount * UNITS[unit][1] / UNITS[to][1]


@dataclass(frozen=True, slots=True)
class Step:
    """The finest mark that readings are recorded to, such as 1/8 in."""

    size: Fraction  # in `unit`
    unit: str

    @property
    def by_halves(self) -> bool:
        """Whether the marks halve the unit (1/2, 1/4, 1/8 ...) and are written as fractions."""
        denominator = self.size.denominator
        return denominator > 1 and denominator & (denominator - 1) == 0

    @property
    def decimals(self) -> int:
        """Decimals that write any whole count of steps exactly (3 for eighths)."""
        places = 0
        while (self.size * 10**places).denominator != 1 and places < 12:
            places += 1
        return places

    def __str__(self) -> str:
        if self.by_halves:
            return f"{self.size} {self.unit}"
        return f"{float(self.size):g} {self.unit}"
