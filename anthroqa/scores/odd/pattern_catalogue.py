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

BIAS, SKEWNESS, REPEAT, INSTRUMENT = "bias", "skewness", "repeat error", "instrument"
ALL_KINDS = ("weight", "length", "height", "circumference", "skinfold")
_LENGTHS = ("length", "height")
_NO_KIND = {"mass": ("weight",), "length": _LENGTHS}  # what a measure without a kind may be


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """A fault, the figure it shows in, and the step of technique that it points to.

    `least` and `most` are sizes without their sign, such as "0.1 kg" or "1 step"; no
    unit where the figure has none.
    """

    words: str
    kinds: tuple[str, ...]
    figure: str
    direction: int  # 1 high, -1 low, 0 either
    least: str
    most: str
    technique: str

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
        words="shoes or headwear left on", kinds=("height", "length"), figure=BIAS, direction=1,
        least="0.5 cm", most="4 cm", technique="take shoes, headwear and hair pieces off first",
    ),
    Pattern(
        words="shoes or headwear left on", kinds=("weight",), figure=BIAS, direction=1,
        least="0.05 kg", most="1 kg", technique="take shoes and headwear off first",
    ),
    Pattern(
        # a wet diaper usually 0.1 to 0.3 kg, a full one up to 2 lb
        words="clothing or a wet diaper", kinds=("weight",), figure=BIAS, direction=1,
        least="0.1 kg", most="2 lb", technique="undress to the same clothing, with a dry diaper",
    ),
    Pattern(
        words="board loose: head or foot-piece not pressed home", kinds=_LENGTHS, figure=BIAS,
        direction=1, least="0.3 cm", most="2 cm",
        technique="press the moving piece firmly, and check that the board is tight",
    ),
    Pattern(
        words="knees bent", kinds=_LENGTHS, figure=BIAS, direction=-1,
        least="0.3 cm", most="3 cm", technique="hold both knees straight",
    ),
    Pattern(
        words="knees bent at some readings", kinds=_LENGTHS, figure=SKEWNESS, direction=-1,
        least="1", most="9", technique="hold both knees straight at every reading",
    ),
    Pattern(
        words="head tilted", kinds=_LENGTHS, figure=BIAS, direction=-1,
        least="0.2 cm", most="1.5 cm", technique="line of sight at a right angle to the board",
    ),
    Pattern(
        words="tape pulled tight", kinds=("circumference",), figure=BIAS, direction=-1,
        least="0.2 cm", most="2 cm", technique="tape flat on the skin without a dent",
    ),
    Pattern(
        words="tape loose or not level", kinds=("circumference",), figure=BIAS, direction=1,
        least="0.2 cm", most="2 cm", technique="tape snug and level all round",
    ),
    Pattern(
        # rounding down is half a step; an eye to one side of the mark is mostly under 3 mm
        words="marks read from one side, or rounded one way", figure=BIAS,
        kinds=(*_LENGTHS, "circumference"), direction=0, least="0.04 cm", most="0.3 cm",
        technique="eye level with the mark, then the nearest mark",
    ),
    Pattern(
        words="marks read from one side, or rounded one way", kinds=("weight",),
        figure=BIAS, direction=0, least="1/3 step", most="1 step",
        technique="eye level with the mark, then the nearest mark",
    ),
    Pattern(
        words="movement: repeats far apart, no bias", kinds=ALL_KINDS, figure=REPEAT, direction=1,
        least="1.5", most="9", technique="wait until the subject is still before reading",
    ),
    Pattern(
        words="zero offset of the instrument", kinds=ALL_KINDS, figure=INSTRUMENT, direction=0,
        least="1/2 step", most="99 step",
        technique="set to zero and check with a test mass or a rod before the next session",
    ),
)  # fmt: skip
