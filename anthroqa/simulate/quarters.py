"""Four quarters of one invented program: who drifts, who was retrained, what the scale did.

A folder of four session folders with `retraining.csv` and `truth.toml` beside them. Two clinics
share one lead; every quarter has infants of its own. All of it is drawn: a person's readings hold
an error of their own with each child and one with each session, beside the repeat error.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from anthroqa.intake.written.steps import Step
from anthroqa.simulate.known_loads import Kit, Tested, known_loads_csv
from anthroqa.simulate.readings import Sheet, csv_of, draw, nearest

_QUARTERS = {  # folder -> title, date
    "2026_1_winter": ("Winter standardisation, two clinics", "2026-01-20"),
    "2026_2_spring": ("Spring standardisation, two clinics", "2026-04-21"),
    "2026_3_summer": ("Summer standardisation, two clinics", "2026-07-21"),
    "2026_4_autumn": ("Autumn standardisation, two clinics", "2026-10-20"),
}
_SESSION = """\
title = "{title}"
date = {date}
exercise = "session"
reference = "LEAD"
handling_cap = 12

[measure.infant_weight]
recorded_to = "1 oz"
kind = "weight"
range = ["4 lb", "45 lb"]
expected_tem = "1.2 oz"
limit_tem = "2.5 oz"
limit_bias = "2 oz"
limit_source = "Larkspur Valley program manual (invented), chapter 4"

[measure.infant_length]
recorded_to = "1/8 in"
kind = "length"
range = ["15 in", "40 in"]
expected_tem = "0.15 in"
limit_tem = "0.3 in"
limit_bias = "1/4 in"
limit_source = "Larkspur Valley program manual (invented), chapter 4"
"""
_OZ, _EIGHTH = Step(Fraction(1), "oz"), Step(Fraction(1, 8), "in")
_INFANTS = 10  # a clinic and quarter
_TEM = 1.2  # steps, in both measures
_WITH_CHILD, _WITH_SESSION = 0.3, 0.2  # of the repeat error: what a person adds to a child, a day


@dataclass(frozen=True, slots=True, kw_only=True)
class _Person:
    """What was planted in one person, quarter by quarter."""

    clinic: str
    quarters: tuple[int, ...] = (0, 1, 2, 3)
    weight_tem: tuple[float, ...] = (1, 1, 1, 1)  # times the others'
    length_tem: tuple[float, ...] = (1, 1, 1, 1)
    weight_bias: tuple[float, ...] = (0, 0, 0, 0)  # in repeat errors
    length_bias: tuple[float, ...] = (0, 0, 0, 0)


_LEAD = _Person(clinic="AB", weight_bias=(0, 0, 1, 2))
_STAFF = {
    "V01": _Person(clinic="A"),
    "V02": _Person(clinic="A", quarters=(0, 1)),
    "V03": _Person(clinic="A", length_bias=(0, 2 / 3, 4 / 3, 2)),
    "V04": _Person(clinic="A"),
    "V05": _Person(clinic="A", length_tem=(2, 2, 2, 2)),
    "V06": _Person(clinic="B"),
    "V07": _Person(clinic="B", weight_tem=(2.5, 2.5, 1, 1)),
    "V08": _Person(clinic="B"),
    "V09": _Person(clinic="B"),
    "V10": _Person(clinic="B"),
    "V11": _Person(clinic="A", quarters=(2, 3)),
}
_RETRAINED = ("V07", "V09")
_RETRAINING = "".join((
    "measurer,date,measure,picked_in,note\n",
    *(f"{code},2026-05-12,infant_weight,2026_2_spring,half a day beside the lead\n"
      for code in _RETRAINED),
))  # fmt: skip
_HIGH = (0.0, 0.8, 1.6, 2.4)  # oz that the scale of clinic B reads high, by quarter
_KIT = Kit(
    day="",
    described="".join(
        f'\n[instrument.{code}]\naccuracy_class = "III"\nuncertainty = "2 g"\n'
        if code.startswith("BABY") else f'\n[instrument.{code}]\nuncertainty = "0.3 mm"\n'
        for code in ("BABY-A", "BABY-B", "BOARD-A", "BOARD-B")
    ),
    kinds=(
        Tested(codes=["BABY-A", "BABY-B"], measure="infant_weight", step=_OZ, again="10 lb",
               loads=["5 lb", "10 lb", "15 lb", "25 lb"],
               positions=["front", "back", "left", "right"]),
        Tested(codes=["BOARD-A", "BOARD-B"], measure="infant_length", step=_EIGHTH, rods=True,
               loads=["18 in", "22 in", "28 in", "34 in"], again="25 in",
               positions=["below", "above"]),
    ),
)  # fmt: skip
_TRUTH = {
    "LEAD": "reads weights higher from the summer on: by 1.2 oz, then by 2.4 oz",
    "V02": "left after the spring",
    "V03": "lengths drift up by two repeat errors (0.3 in) over the year",
    "V05": "twice the repeat error of the others in lengths, throughout",
    "V07": "2.5 times the repeat error in weights until the retraining, then as the others",
    "V09": "picked for a repeat error in weights that was high in the spring by chance alone",
    "V11": "came in the summer",
    "BABY-B": "the scale of clinic B reads 0, 0.8, 1.6 and 2.4 oz high in the four quarters",
}


def four_quarters(seed: int) -> dict[str, str]:
    """Lead and ten staff in two clinics, ten infants a clinic and quarter, two rounds; oz, in."""
    files = {"retraining.csv": _RETRAINING, "truth.toml": _truth(seed)}
    for quarter, (folder, (title, date)) in enumerate(_QUARTERS.items()):
        rng = np.random.default_rng([seed, quarter])
        sheets = [s for clinic in "AB" for s in _clinic(clinic, quarter, rng)]
        sheets.sort(key=lambda s: s.measure != "infant_weight")
        tested = replace(_KIT, day=date, high={"BABY-B": _HIGH[quarter]})
        settings = _SESSION.format(title=title, date=date) + _KIT.described
        files[f"{folder}/session.toml"] = settings
        files[f"{folder}/readings.csv"] = csv_of([row for s in sheets for row in s.rows()])
        files[f"{folder}/known_loads.csv"] = known_loads_csv(tested, seed + quarter)
    return files


def _clinic(clinic: str, quarter: int, rng: np.random.Generator) -> list[Sheet]:
    """The two sheets of a clinic in a quarter."""
    staff = {c: p for c, p in _STAFF.items() if p.clinic == clinic and quarter in p.quarters}
    everybody = {"LEAD": _LEAD, **staff}
    subjects = [f"{clinic}{quarter + 1}{i:02d}" for i in range(1, _INFANTS + 1)]
    scale = _HIGH[quarter] if clinic == "B" else 0.0
    kinds = (
        ("infant_weight", _OZ, (6 * 16, 24 * 16), f"BABY-{clinic}", scale),
        ("infant_length", _EIGHTH, (20 * 8, 33 * 8), f"BOARD-{clinic}", 0.0),
    )
    sheets = []
    for measure, step, span, instrument, high in kinds:
        what = measure.removeprefix("infant_")
        tem = _TEM * np.array([getattr(p, f"{what}_tem")[quarter] for p in everybody.values()])
        off = _TEM * np.array([getattr(p, f"{what}_bias")[quarter] for p in everybody.values()])
        day = _WITH_SESSION * _TEM * rng.normal(size=len(everybody))
        child = _WITH_CHILD * _TEM * rng.normal(size=(len(everybody), _INFANTS))
        readings = draw(
            rng.uniform(*span, _INFANTS), tem=tem, bias=(off + day)[:, None] + child + high, rng=rng
        )
        sheets.append(Sheet(
            measure=measure, step=step, people=list(everybody), subjects=subjects, group=clinic,
            counts=nearest(readings), instrument=dict.fromkeys(everybody, instrument),
        ))  # fmt: skip
    return sheets


def _truth(seed: int) -> str:
    """The text of `truth.toml`: what was planted, and how large the rest of the error is."""
    return "\n".join([
        "# What was planted in these four invented sessions.",
        f"seed = {seed}", f"quarters = {list(_QUARTERS)}".replace("'", '"'),
        f"tem = {_TEM}  # steps of 1 oz and of 1/8 in, everybody of whom nothing else is said",
        f"with_child = {_WITH_CHILD}  # repeat errors that a person adds to a child",
        f"with_session = {_WITH_SESSION}  # and to a session",
        "", "[said]", *(f'{code} = "{what}"' for code, what in _TRUTH.items()),
        "", "[[drift]]", 'measurer = "V03"', 'measure = "infant_length"',
        'what = "difference"', "change = 0.3  # in",
        "", "[[drift]]", 'measurer = "LEAD"', 'measure = "infant_weight"',
        'what = "reference"', "change = 2.4  # oz",
        "", "[[high]]", 'measurer = "V05"', 'measure = "infant_length"',
        f"tem = {2 * _TEM / 8}  # in, all four quarters",
        "", "[[retrained]]", 'measurer = "V07"', 'measure = "infant_weight"',
        f"before = {2.5 * _TEM}  # oz", f"after = {_TEM}", "improved = true",
        "", "[[retrained]]", 'measurer = "V09"', 'measure = "infant_weight"',
        f"before = {_TEM}  # oz", f"after = {_TEM}", "improved = false",
        "", "[[instrument]]", 'instrument = "BABY-B"', 'measure = "infant_weight"',
        f"high = {list(_HIGH)}  # oz",
    ]) + "\n"  # fmt: skip
