"""Which faults of technique leave a mark on all of a person's readings, and which?

Directions follow from what each fault does to a body on an instrument. The amounts are common
practice, no source, unless said: they say how large such a mark usually is, never
how large it may be.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from anthroqa.intake import Measure
from anthroqa.intake.written.steps import UNITS, convert
from anthroqa.notes.scores.odd import Fault, Technique

BIAS, SKEWNESS, REPEAT, INSTRUMENT = "bias", "skewness", "repeat error", "instrument"
TIMES_THE_OTHERS = "times the others'"  # unit of a repeat error; skewness is its own
ALL_KINDS = ("weight", "length", "height", "circumference", "skinfold")
_LENGTHS = ("length", "height")
_NO_KIND = {"mass": ("weight",), "length": _LENGTHS}  # what a measure without a kind may be


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """A fault, the figure it shows in, and the step of technique that it points to.

    `least` and `most` are sizes without their sign, such as "0.1 kg" or "1 step"; no
    unit where the figure has none.
    """

    fault: Fault
    kinds: tuple[str, ...]
    figure: str
    direction: int  # 1 high, -1 low, 0 either
    least: str
    most: str
    technique: Technique

    def fits(self, measure: Measure) -> bool:
        """Whether a measure is of a kind that this can happen to."""
        kinds = (measure.kind,) if measure.kind else _NO_KIND[UNITS[measure.step.unit][0]]
        return bool(set(kinds) & set(self.kinds))

    def sizes(self, measure: Measure) -> tuple[float, float]:
        """The least and the most, in the measure's unit."""
        least, most = (float(_amount(text, measure)) for text in (self.least, self.most))
        return least, most


def _amount(text: str, measure: Measure) -> Fraction:
    number, _, unit = text.partition(" ")
    if unit == "step":
        return Fraction(number) * measure.step.size
    return convert(Fraction(number), unit, measure.step.unit) if unit else Fraction(number)


PATTERNS = (
    Pattern(
        fault=Fault.SHOES_ON, kinds=("height", "length"), figure=BIAS, direction=1,
        least="0.5 cm", most="4 cm", technique=Technique.SHOES_AND_HAIR_OFF,
    ),
    Pattern(
        fault=Fault.SHOES_ON, kinds=("weight",), figure=BIAS, direction=1,
        least="0.05 kg", most="1 kg", technique=Technique.SHOES_OFF,
    ),
    Pattern(
        # a wet diaper usually 0.1 to 0.3 kg, a full one up to 2 lb
        fault=Fault.CLOTHED, kinds=("weight",), figure=BIAS, direction=1,
        least="0.1 kg", most="2 lb", technique=Technique.SAME_CLOTHING,
    ),
    Pattern(
        fault=Fault.BOARD_LOOSE, kinds=_LENGTHS, figure=BIAS,
        direction=1, least="0.3 cm", most="2 cm",
        technique=Technique.PRESS_FIRMLY,
    ),
    Pattern(
        fault=Fault.KNEES_BENT, kinds=_LENGTHS, figure=BIAS, direction=-1,
        least="0.3 cm", most="3 cm", technique=Technique.KNEES_STRAIGHT,
    ),
    Pattern(
        fault=Fault.KNEES_AT_TIMES, kinds=_LENGTHS, figure=SKEWNESS, direction=-1,
        least="1", most="9", technique=Technique.KNEES_EVERY_TIME,
    ),
    Pattern(
        fault=Fault.HEAD_TILTED, kinds=_LENGTHS, figure=BIAS, direction=-1,
        least="0.2 cm", most="1.5 cm", technique=Technique.SIGHT_AT_RIGHT_ANGLE,
    ),
    Pattern(
        fault=Fault.TAPE_TIGHT, kinds=("circumference",), figure=BIAS, direction=-1,
        least="0.2 cm", most="2 cm", technique=Technique.TAPE_FLAT,
    ),
    Pattern(
        fault=Fault.TAPE_LOOSE, kinds=("circumference",), figure=BIAS, direction=1,
        least="0.2 cm", most="2 cm", technique=Technique.TAPE_SNUG,
    ),
    Pattern(
        # rounding down is half a step; an eye to one side of the mark is mostly under 3 mm
        fault=Fault.FROM_ONE_SIDE, figure=BIAS,
        kinds=(*_LENGTHS, "circumference"), direction=0, least="0.04 cm", most="0.3 cm",
        technique=Technique.NEAREST_MARK,
    ),
    Pattern(
        fault=Fault.FROM_ONE_SIDE, kinds=("weight",),
        figure=BIAS, direction=0, least="1/3 step", most="1 step",
        technique=Technique.NEAREST_MARK,
    ),
    Pattern(
        fault=Fault.MOVEMENT, kinds=ALL_KINDS, figure=REPEAT, direction=1,
        least="1.5", most="9", technique=Technique.WAIT_UNTIL_STILL,
    ),
    Pattern(
        fault=Fault.ZERO_OFFSET, kinds=ALL_KINDS, figure=INSTRUMENT, direction=0,
        least="1/2 step", most="99 step",
        technique=Technique.SET_TO_ZERO,
    ),
)  # fmt: skip
