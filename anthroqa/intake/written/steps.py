"""Which marks does the instrument have, which does the eye rest on, and what are they worth?

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
CUSTOMARY = ("lb", "oz", "in")  # their marks halve the unit; the others are metric
# whole marks that the next power of ten of the unit does not give: (size, unit) of step, of mark
_WHOLE = {(Fraction(1, 20), "kg"): (Fraction(1), "kg"), (Fraction(50), "g"): (Fraction(1000), "g")}
# the larger unit in which a whole mark is said
_SAID_IN = {"oz": "lb", "g": "kg", "mm": "cm"}


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
        halved = denominator > 1 and denominator & (denominator - 1) == 0
        return halved and self.unit in CUSTOMARY

    @property
    def decimals(self) -> int:
        """Decimals that write any whole count of steps exactly (3 for eighths)."""
        places = 0
        while (self.size * 10**places).denominator != 1 and places < 12:
            places += 1
        return places

    def whole_mark(self) -> Fraction:
        """The next whole mark that a person reads from, in `unit`.

        A pound above ounces, a unit above halves of it, 1 kg above 0.05 kg, else the next
        power of ten of the unit (which need not be a whole number of steps).
        """
        if (self.size, self.unit) in _WHOLE:
            return _WHOLE[self.size, self.unit][0]
        if self.unit == "oz" and (self.by_halves or 16 % self.size == 0) and self.size < 16:
            return Fraction(16)
        if self.by_halves and self.size < 1:
            return Fraction(1)
        power = Fraction(1)
        while power > self.size:
            power /= 10
        while power <= self.size:
            power *= 10
        return power

    def cycle(self, whole_mark: Fraction | None = None) -> int | None:
        """How many steps make the whole mark; None where that is no whole number above one."""
        steps = (self.whole_mark() if whole_mark is None else whole_mark) / self.size
        return int(steps) if steps.denominator == 1 and steps > 1 else None

    def coarse_marks(self, whole_mark: Fraction | None = None) -> dict[int, str]:
        """The marks coarser than the step, in steps, and how each is called: divisors of the cycle.

        Examples
        --------
        >>> Step(Fraction(1), "oz").coarse_marks()
        {2: '2 oz', 4: '4 oz', 8: '8 oz', 16: '1 lb'}
        >>> Step(Fraction(1, 8), "in").coarse_marks()
        {2: '1/4 in', 4: '1/2 in', 8: '1 in'}
        """
        cycle = self.cycle(whole_mark)
        if cycle is None:
            return {}
        marks = {n: Step(n * self.size, self.unit) for n in range(2, cycle + 1) if cycle % n == 0}
        return {n: mark.in_larger().text(halves=self.by_halves) for n, mark in marks.items()}

    def in_larger(self) -> Step:
        """The same mark in pounds, kilograms or centimetres where that takes one decimal at most.

        Examples
        --------
        >>> str(Step(Fraction(16), "oz").in_larger()), str(Step(Fraction(50), "g").in_larger())
        ('1 lb', '50 g')
        """
        larger = _SAID_IN.get(self.unit)
        if larger is None:
            return self
        size = convert(self.size, self.unit, larger)
        small = size.denominator == 1 if larger != "kg" else (size * 10).denominator == 1
        return Step(size, larger) if small else self

    def text(self, *, halves: bool) -> str:
        """The mark with its unit, as a fraction of it or as a decimal."""
        return f"{self.size if halves else f'{float(self.size):g}'} {self.unit}"

    def __str__(self) -> str:
        return self.text(halves=self.by_halves)
