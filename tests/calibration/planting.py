"""Drawn sessions of ten measures, and slips made in them by hand, on the texts.

Nothing here knows the catalogue that is to find them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import pandas as pd

import anthroqa
from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import Step
from anthroqa.simulate import draw, nearest

STAFF, SUBJECTS = 7, 12
LB = 0.45359237


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One measure: its step, a usual repeat error, and where its subjects lie, in the unit."""

    step: str
    tem: float
    low: float
    high: float
    tare: tuple[float, float] | None = None

    @property
    def mark(self) -> Step:
        """The step."""
        size, unit = self.step.split()
        return Step(Fraction(size), unit)


SHEETS: Mapping[str, Sheet] = {
    "length": Sheet(step="0.1 cm", tem=0.3, low=60, high=85),
    "weight": Sheet(step="0.1 kg", tem=0.03, low=6, high=13),
    "adult": Sheet(step="0.1 kg", tem=0.1, low=45, high=95),
    "held": Sheet(step="0.1 kg", tem=0.05, low=6, high=13, tare=(50, 90)),
    "wrapped": Sheet(step="0.01 kg", tem=0.02, low=4, high=9, tare=(0.3, 1.9)),
    "infant_lb": Sheet(step="1 oz", tem=1.0, low=96, high=384),
    "digital_lb": Sheet(step="0.01 lb", tem=0.01, low=8, high=24),
    "infant_in": Sheet(step="1/8 in", tem=0.12, low=20, high=33),
    "adult_lb": Sheet(step="1/4 lb", tem=0.3, low=110, high=200),
    "held_lb": Sheet(step="1/4 lb", tem=0.15, low=8, high=24, tare=(110, 200)),
}
Place = tuple[int, int, int]


def repeat_sd(sheet: Sheet) -> float:
    """One repeat SD in steps, with what rounding adds on each display."""
    return float(
        np.sqrt((sheet.tem / float(sheet.mark.size)) ** 2 + (1 + (sheet.tare is not None)) / 12)
    )


class Session:
    """Texts of the readings of some measures, in which slips are made."""

    def __init__(self, names: Collection[str], rng: np.random.Generator, **how: float) -> None:
        self.rng, self.net, self.texts, self.tares = rng, {}, {}, {}
        self.sheets = {name: SHEETS[name] for name in names}
        for name, sheet in self.sheets.items():
            self._draw(name, sheet, **how)

    def _draw(
        self, name: str, sheet: Sheet, *, staff: int = STAFF, subjects: int = SUBJECTS,
        widest: float = 1.0, biased: float = 0.0, unequal: float = 1.0, missing: float = 0.0,
        tem: float | None = None,
    ) -> None:  # fmt: skip
        rng, mark = self.rng, sheet.mark
        size = float(mark.size)
        error = (sheet.tem if tem is None else tem) / size
        spread = np.full(staff, error)
        spread[0] *= widest  # one person with a larger repeat error
        bias = 0.5 * error * rng.standard_normal((staff, 1))
        bias = bias + 0.3 * error * rng.standard_normal((staff, subjects))
        bias[1] += biased * error
        shift = (0.0, 0.5 * error * rng.standard_normal())
        true = rng.uniform(sheet.low / size, sheet.high / size, subjects)
        if sheet.tare is None:
            value = draw(true, tem=spread, bias=bias, shift=shift, rng=rng)
            some = slice(0, subjects // 4)  # children who do not lie still
            middle = (true + bias)[:, some, None]
            value[:, some] = middle + (value[:, some] - middle) * unequal
            gross, tare = nearest(value), np.zeros(value.shape, dtype=int)
        else:
            holder = rng.uniform(sheet.tare[0] / size, sheet.tare[1] / size, subjects)
            half = spread / np.sqrt(2)
            tare = nearest(draw(holder, tem=half, rng=rng))
            gross = nearest(draw(holder + true, tem=half, bias=bias, shift=shift, rng=rng))
        self.net[name] = gross - tare
        self.texts[name] = np.vectorize(lambda n: as_written(int(n), mark), otypes=[object])(gross)
        self.tares[name] = (
            None if sheet.tare is None
            else np.vectorize(lambda n: as_written(int(n), mark), otypes=[object])(tare)
        )  # fmt: skip
        gone = rng.random(gross.shape[:2]) < missing
        self.texts[name][:, :, 1][gone] = ""

    def build(self) -> anthroqa.Session:
        """The session as intake reads it."""
        frames = []
        for name, texts in self.texts.items():
            person, turn, subject = np.meshgrid(*(range(texts.shape[i]) for i in (0, 2, 1)),
                                                indexing="ij")  # fmt: skip
            at = (person.ravel(), subject.ravel(), turn.ravel())
            frames.append(pd.DataFrame({
                "measurer": [f"P{p}" for p in at[0]], "subject": [f"S{s:02d}" for s in at[1]],
                "measure": name, "round": at[2] + 1, "reading": texts[at],
                "tare": "" if self.tares[name] is None else self.tares[name][at],
            }))  # fmt: skip
        measures = {name: {"recorded_to": sheet.step} for name, sheet in self.sheets.items()}
        return anthroqa.Session.from_frame(pd.concat(frames), measures=measures)

    def anywhere(self, name: str) -> Place:
        """A reading by chance."""
        return tuple(int(self.rng.integers(n)) for n in self.texts[name].shape)


def key(name: str, at: Place) -> tuple[str, str, str, int]:
    """How the table of slips calls a reading."""
    return name, f"P{at[0]}", f"S{at[1]:02d}", at[2] + 1


Planted = dict[Place, None]


def _number(text: str) -> float:
    """Amount in the unit, of a plain decimal or a whole number with a fraction."""
    whole, _, part = text.partition(" ")
    return float(whole) + (float(Fraction(part)) if part else 0.0)


def _moved(by: float) -> Callable[[Session, str], Planted | None]:
    """Another mark of the same display, so much higher or lower."""

    def plant(session: Session, name: str) -> Planted | None:
        at = session.anywhere(name)
        step = session.sheets[name].mark
        steps = round(by / float(step.size)) * int(session.rng.choice([-1, 1]))
        gross = count_of(session.texts[name][at], step) + steps
        if session.net[name][at] + steps <= 0:
            return None
        session.texts[name][at] = as_written(gross, step)
        return {at: None}

    return plant


def count_of(text: str, step: Step) -> int:
    if " lb " in text:
        pounds, ounces = text.removesuffix(" oz").split(" lb ")
        return round((int(pounds) * 16 + float(ounces)) / float(step.size))
    return round(_number(text) / float(step.size))


def _unit(factor: float, to: float) -> Callable[[Session, str], Planted | None]:
    """The number that the other unit's display shows, which has a mark every `to`."""

    def plant(session: Session, name: str) -> Planted | None:
        at = session.anywhere(name)
        shown = round(_number(session.texts[name][at]) * factor / to) * to
        step = session.sheets[name].mark
        if abs(shown / float(step.size) - round(shown / float(step.size))) > 1e-6:
            return None  # intake would refuse it
        session.texts[name][at] = as_written(round(shown / float(step.size)), step)
        return {at: None}

    return plant


def _point(session: Session, name: str, *, out: bool) -> Planted | None:
    at = session.anywhere(name)
    text = session.texts[name][at]
    if out:
        session.texts[name][at] = text.replace(".", "")
        return {at: None}
    if not text.endswith("0"):
        return None
    whole = text.replace(".", "").rstrip("0")
    places = len(text) - text.index(".") - 1
    if len(whole) > len(text) - 2:
        return None
    digits = text.replace(".", "")[:-1].zfill(places + 1)
    session.texts[name][at] = f"{digits[:-places]}.{digits[-places:]}"
    return {at: None}


def _digits(session: Session, name: str) -> Planted | None:
    at = session.anywhere(name)
    text = session.texts[name][at]
    end = text.index(" ") if " " in text else len(text)
    places = [i for i in range(end) if text[i].isdigit()]
    if len(places) < 2:
        return None
    n = int(session.rng.integers(len(places) - 1))
    i, j = places[n], places[n + 1]
    if text[i] == text[j] or (text[j] == "0" and n == 0):
        return None
    new = [*text]
    new[i], new[j] = new[j], new[i]
    session.texts[name][at] = "".join(new)
    return {at: None}


def _tenths(session: Session, name: str) -> Planted | None:
    """12 lb 7 oz as 12.70."""
    at = session.anywhere(name)
    whole, ounces = divmod(round(_number(session.texts[name][at]) * 16), 16)
    session.texts[name][at] = f"{whole}.{ounces}0" if ounces < 10 else f"{whole}.{ounces}"
    return {at: None} if ounces else None


def _ounces(session: Session, name: str) -> Planted | None:
    """12.7 lb as 12 lb 7 oz."""
    at = session.anywhere(name)
    count = count_of(session.texts[name][at], session.sheets[name].mark)
    whole, tenths = divmod(round(count / 1.6), 10)
    session.texts[name][at] = f"{whole} lb {tenths} oz"
    return {at: None} if tenths else None


def _subjects(session: Session, name: str) -> Planted | None:
    at = session.anywhere(name)
    there = (at[0], int(session.rng.integers(SUBJECTS)), at[2])
    for sheet in (session.texts, session.tares):
        if sheet[name] is not None:
            sheet[name][at], sheet[name][there] = sheet[name][there], sheet[name][at]
    return {at: None, there: None} if at != there else None


def _measures(session: Session, name: str) -> Planted | None:
    at = session.anywhere(name)
    other = next(n for n in session.sheets if n != name)
    texts = session.texts
    texts[name][at], texts[other][at] = texts[other][at], texts[name][at]
    return {at: None}


def _no_tare(session: Session, name: str) -> Planted | None:
    at = session.anywhere(name)
    session.tares[name][at] = ""
    return {at: None}


def _tare_twice(session: Session, name: str) -> Planted | None:
    at = session.anywhere(name)
    step = session.sheets[name].mark
    net = count_of(session.texts[name][at], step) - count_of(session.tares[name][at], step)
    if net < count_of(session.tares[name][at], step):
        return None
    session.texts[name][at] = as_written(net, step)
    return {at: None}


def _another_tare(session: Session, name: str) -> Planted | None:
    at = session.anywhere(name)
    step = session.sheets[name].mark
    tare = session.tares[name][at[0], int(session.rng.integers(SUBJECTS)), at[2]]
    if tare == session.tares[name][at]:
        return None
    if count_of(session.texts[name][at], step) <= count_of(tare, step):
        return None
    session.tares[name][at] = tare
    return {at: None}


def _carried(session: Session, name: str) -> Planted | None:
    at = session.anywhere(name)
    if at[1] == 0:
        return None
    session.texts[name][at] = session.texts[name][at[0], at[1] - 1, at[2]]
    return {at: None}


def _shifted(session: Session, name: str) -> Planted | None:
    """From one subject on, every row holds the reading of the one before, to the end."""
    p, s, k = session.anywhere(name)
    if not 1 <= s <= SUBJECTS - 4:
        return None
    session.texts[name][p, s:, k] = session.texts[name][p, s - 1 : -1, k].copy()
    return {(p, row, k): None for row in range(s, SUBJECTS)}


# what is planted, in which measure (and beside which), and what it is called
PLANTS: tuple[tuple[str, tuple[str, ...], Callable[[Session, str], Planted | None]], ...] = (
    *((f"one {n} kg notch of the poise", (m,), _moved(n))
      for n, m in ((1, "weight"), (10, "adult"), (20, "adult"), (1, "held"), (10, "weight"))),
    *((f"one {n} lb notch of the poise", (m,), _moved(n * of))
      for n, m, of in ((1, "infant_lb", 16), (10, "infant_lb", 16), (10, "adult_lb", 1),
                       (50, "adult_lb", 1), (10, "held_lb", 1))),
    ("misread by 10 cm", ("length",), _moved(10)),
    ("misread by 5 cm", ("length",), _moved(5)),
    ("misread by 5 kg", ("adult",), _moved(5)),
    ("misread by 0.5 kg", ("weight",), _moved(0.5)),
    ("misread by 1 in", ("infant_in",), _moved(1)),
    ("misread by 5 in", ("infant_in",), _moved(5)),
    ("misread by 5 lb", ("infant_lb",), _moved(80)),
    ("pounds written for kilograms", ("weight",), _unit(1 / LB, 0.1)),
    ("pounds written for kilograms", ("adult",), _unit(1 / LB, 0.1)),
    ("kilograms written for pounds", ("adult_lb",), _unit(LB, 0.1)),
    ("inches written for centimetres", ("length",), _unit(1 / 2.54, 0.1)),
    ("centimetres written for inches", ("infant_in",), _unit(2.54, 0.1)),
    ("a decimal point left out", ("length",), lambda s, n: _point(s, n, out=True)),
    ("a decimal point left out", ("weight",), lambda s, n: _point(s, n, out=True)),
    ("a decimal point slipped", ("length",), lambda s, n: _point(s, n, out=False)),
    *(("two adjacent digits exchanged", (m,), _digits)
      for m in ("length", "weight", "adult", "infant_lb", "infant_in", "adult_lb", "held_lb")),
    ("ounces entered as tenths of a pound", ("digital_lb",), _tenths),
    ("tenths of a pound entered as ounces", ("infant_lb",), _ounces),
    *(("two subjects exchanged", (m,), _subjects)
      for m in ("length", "weight", "infant_lb", "infant_in", "adult_lb")),
    ("two measures exchanged", ("length", "weight"), _measures),
    ("two measures exchanged", ("adult_lb", "infant_in"), _measures),
    *(("the tare forgotten", (m,), _no_tare) for m in ("held", "wrapped", "held_lb")),
    ("the tare taken twice", ("wrapped",), _tare_twice),
    *(("the tare of another caregiver", (m,), _another_tare)
      for m in ("held", "wrapped", "held_lb")),
    *(("a value carried forward", (m,), _carried) for m in ("length", "weight", "infant_lb")),
    *(("a sheet shifted by a row", (m,), _shifted) for m in ("length", "weight", "infant_in")),
)  # fmt: skip
