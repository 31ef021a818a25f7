"""Which slips of the pen would explain a reading that cannot be right?

The catalogue is data: what was meant, as a multiple of what was written. A slip is
only ever something that a reading is consistent with; a person decides.
"""

from __future__ import annotations

from fractions import Fraction

from anthroqa.intake.steps import Step, convert
from anthroqa.intake.written import nearest_mark

# (what may have happened, kind of quantity, what was meant / what was written)
CATALOGUE: tuple[tuple[str, str, Fraction], ...] = (
    ("kilograms written for pounds", "lb", 1 / convert(Fraction(1), "lb", "kg")),
    ("kilograms written for pounds", "oz", 16 / convert(Fraction(1), "lb", "kg")),
    ("pounds written for kilograms", "kg", convert(Fraction(1), "lb", "kg")),
    ("centimetres written for inches", "in", 1 / convert(Fraction(1), "in", "cm")),
    ("inches written for centimetres", "cm", convert(Fraction(1), "in", "cm")),
    ("pounds written for ounces", "oz", Fraction(16)),
    ("a decimal point left out", "", Fraction(1, 10)),
    ("a decimal point slipped", "", Fraction(10)),
)


def consistent_with(
    amount: Fraction, step: Step, low: Fraction | None, high: Fraction | None
) -> list[str]:
    """Slips that bring an amount in the step's unit inside `low` to `high`, in words.

    Each with the mark nearest to what would have been meant.
    """
    if low is None or high is None:
        return []
    found = []
    for slip, unit, factor in CATALOGUE:
        meant = amount * factor
        if unit in ("", step.unit) and low <= meant <= high:
            found.append(f"{slip} (near {nearest_mark(meant, step)})")
    return found
