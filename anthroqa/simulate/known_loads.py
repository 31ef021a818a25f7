"""Kit files of the sample sessions: what instruments of known error showed for known loads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from anthroqa.intake.written.grammar import Refusal, as_written, read_amount
from anthroqa.intake.written.steps import Step

HEADER = "instrument,measure,check,load,reading,position,taken_at"
_REPEATS = 5
_NOISE = 0.2  # steps, SD


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested:
    """Instruments of one measure that are checked alike."""

    codes: Sequence[str]
    measure: str
    step: Step
    loads: Sequence[str]  # with their unit
    again: str  # the load that is repeated, put off the centre, and read at the end of the day
    positions: Sequence[str]  # off the centre; of rods, the sides of a joint
    rods: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """The instruments of a sample session."""

    kinds: Sequence[Tested]
    day: str
    described: str  # the [instrument.CODE] tables of session.toml
    high: Mapping[str, float] = field(default_factory=dict)  # what one reads high, in steps


def known_loads_csv(tested: Kit, seed: int) -> str:
    """The text of `known_loads.csv`, drawn apart from the readings: those stay as they are."""
    rng = np.random.default_rng([seed, 1])
    lines = [HEADER]
    for kind in tested.kinds:
        for code in kind.codes:
            for check, load, position, hour in _checks(kind):
                amount = read_amount(load or "0", kind.step)
                assert not isinstance(amount, Refusal)
                shown = float(amount) + tested.high.get(code, 0.0) + rng.normal(0, _NOISE)
                reading = as_written(max(int(np.floor(shown + 0.5)), 0), kind.step)
                lines.append(
                    f"{code},{kind.measure},{check},{load},{reading},{position},{tested.day}T{hour}"
                )
    return "\n".join(lines) + "\n"


def _checks(kind: Tested) -> list[tuple[str, str, str, str]]:
    """Check, load, position and hour of every reading of an instrument."""
    if kind.rods:
        below, above = kind.positions
        half = len(kind.loads) // 2
        rods = [("rod", rod, below, "07:30") for rod in kind.loads[:half]]
        rods += [("rod", kind.again, side, "07:40") for side in (below, above) for _ in range(2)]
        return rods + [("rod", rod, above, "07:50") for rod in kind.loads[half:]]
    return [
        ("zero", "", "", "07:30"),
        *(("load", load, "", "07:30") for load in kind.loads),
        *(("repeat", kind.again, "", "07:30") for _ in range(_REPEATS)),
        *(("off_centre", kind.again, position, "07:40") for position in kind.positions),
        ("zero", "", "", "13:00"),
        ("load", kind.again, "", "13:00"),
    ]


def _described(code: str, uncertainty: str, *more: str) -> str:
    lines = [f"[instrument.{code}]", *more, f'uncertainty = "{uncertainty}"']
    return "\n" + "\n".join(lines) + "\n"


_III = 'accuracy_class = "III"'
_MM, _KG = Step(Fraction(1, 10), "cm"), Step(Fraction(1, 10), "kg")
_PLATFORM = ["front", "back", "left", "right"]
_JOINT = ["below", "above"]
OUTREACH = Kit(
    day="2026-04-14",
    described=_described("SCALE-1", "1 g", _III) + _described("BOARD-1", "0.3 mm")
    + _described("STAND-1", "0.3 mm"),
    kinds=(
        Tested(codes=["BOARD-1"], measure="length", step=_MM, rods=True, positions=_JOINT,
               loads=["50 cm", "60 cm", "80 cm", "100 cm"], again="70 cm"),
        Tested(codes=["STAND-1"], measure="height", step=_MM, rods=True, positions=_JOINT,
               loads=["70 cm", "80 cm", "110 cm", "130 cm"], again="100 cm"),
        Tested(codes=["SCALE-1"], measure="weight", step=_KG, positions=_PLATFORM,
               loads=["5 kg", "10 kg", "15 kg", "20 kg"], again="10 kg"),
    ),
)  # fmt: skip
_OF_CLINICS = {  # uncertainty of the standard, and what else is said
    "BOARD": ("0.3 mm",), "BEAM": ("10 g", _III, 'division = "1/4 lb"'),
}  # fmt: skip
_QUARTER = Step(Fraction(1, 4), "lb")
_MASSES = [f"{mass} lb" for mass in (50, 100, 150, 200, 250)]


def _of_clinics(kind: str) -> list[str]:
    return [f"{kind}-{clinic}" for clinic in "ABC"]


CLINICS = Kit(
    day="2026-10-06", high={"BEAM-B": 2.0},
    described=_described("PORT-1", "10 g", _III) + "".join(
        _described(code, *said) for kind, said in _OF_CLINICS.items() for code in _of_clinics(kind)
    ),
    kinds=(
        Tested(codes=_of_clinics("BOARD"), measure="infant_length", rods=True, positions=_JOINT,
               step=Step(Fraction(1, 8), "in"), loads=["18 in", "22 in", "28 in", "34 in"],
               again="25 in"),
        Tested(codes=[*_of_clinics("BEAM"), "PORT-1"], measure="adult_weight", step=_QUARTER,
               loads=_MASSES, again="150 lb", positions=_PLATFORM),
    ),
)  # fmt: skip
