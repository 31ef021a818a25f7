"""Sessions whose truth is known: for tests, and for the sample sessions.

Nothing that judges real people imports this. A sample is drawn from a fixed seed and comes
with a `truth.toml` of what was planted; `python -m anthroqa.simulate NAME FOLDER` redraws it.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt

from anthroqa.intake.steps import Step
from anthroqa.intake.written import as_written

Counts = npt.NDArray[np.int64]


def draw(
    true: npt.ArrayLike,
    *,
    tem: npt.ArrayLike,
    bias: npt.ArrayLike = 0.0,
    shift: npt.ArrayLike = (0.0, 0.0),
    rng: np.random.Generator,
) -> npt.NDArray[np.float64]:
    """Unrounded readings, in steps: people x subjects x rounds.

    Parameters
    ----------
    true : array, subjects
        Where each subject really is, in steps.
    tem : array, people
        Repeat error of each person, in steps (normal).
    bias : array, people or people x subjects
        What a person adds to every reading.
    shift : array, rounds
        What a round adds for everybody; its length is the number of rounds.
    """
    true, tem, shift = (np.asarray(a, dtype=float) for a in (true, tem, shift))
    bias = np.broadcast_to(np.asarray(bias, dtype=float).T, (len(true), len(tem))).T
    noise = rng.normal(size=(len(tem), len(true), len(shift)))
    return (
        true[None, :, None] + bias[:, :, None] + tem[:, None, None] * noise + shift[None, None, :]
    )


def nearest(values: npt.NDArray[np.float64], mark: int = 1) -> Counts:
    """Values in steps read to the nearest of every `mark`-th step."""
    return (mark * np.floor(values / mark + 0.5)).astype(np.int64)


@dataclass(slots=True, kw_only=True)
class Sheet:
    """The readings of one measure while a sample is drawn, and what was planted in them."""

    measure: str
    step: Step
    people: Sequence[str]
    subjects: Sequence[str]
    counts: Counts  # people x subjects x rounds, as read from the display
    group: str = ""
    tare: Counts | None = None
    instrument: Mapping[str, str] = field(default_factory=dict)
    left: set[tuple[str, str, int]] = field(default_factory=set)
    condition: dict[tuple[str, str, int], str] = field(default_factory=dict)
    planted: list[dict[str, str | int]] = field(default_factory=list)

    def at(self, person: str, subject: str, turn: int) -> tuple[int, int, int]:
        """Where a reading stands in `counts`."""
        return self.people.index(person), self.subjects.index(subject), turn - 1

    def plant(self, kind: str, person: str, subject: str, turn: int, count: int) -> None:
        """Write `count` where the person read something else, and keep what that was."""
        place = self.at(person, subject, turn)
        self.planted.append({
            "kind": kind, "measurer": person, "subject": subject, "measure": self.measure,
            "round": turn, "meant": as_written(int(self.counts[place]), self.step),
            "written": as_written(count, self.step),
        })  # fmt: skip
        self.counts[place] = count

    def rows(self) -> list[dict[str, str]]:
        """The rows of `readings.csv`, in the order in which sheets are typed in."""
        out = []
        for p, person in enumerate(self.people):
            for turn in range(self.counts.shape[2]):
                for s, subject in enumerate(self.subjects):
                    key = (person, subject, turn + 1)
                    tare = (
                        ""
                        if self.tare is None
                        else as_written(int(self.tare[p, s, turn]), self.step)
                    )
                    gone = key in self.left
                    out.append({
                        "group": self.group, "measurer": person, "subject": subject,
                        "measure": self.measure, "round": str(turn + 1),
                        "reading": "" if gone
                        else as_written(int(self.counts[p, s, turn]), self.step),
                        "tare": "" if gone else tare,
                        "instrument": self.instrument.get(person, ""),
                        "condition": "left" if gone else self.condition.get(key, ""),
                    })  # fmt: skip
        return out


def _csv(rows: list[dict[str, str]], *, end: str = "\n") -> str:
    columns = [c for c in rows[0] if any(row[c] for row in rows)]
    return "".join(
        ",".join(cells) + end for cells in [columns, *([r[c] for c in columns] for r in rows)]
    )


def _truth(seed: int, sheets: list[Sheet], staff: dict[str, str]) -> str:
    lines = ["# What was planted in this invented session.", f"seed = {seed}", "", "[staff]"]
    lines += [f'{code} = "{what}"' for code, what in staff.items()]
    for planted in (p for sheet in sheets for p in sheet.planted):
        lines += ["", "[[slip]]"]
        lines += [
            f"{k} = {v}" if isinstance(v, int) else f'{k} = "{v}"' for k, v in planted.items()
        ]
    return "\n".join(lines) + "\n"


_OUTREACH = """\
title = "Spring standardisation, outreach team"
date = 2026-04-14
exercise = "session"
reference = "LEAD"
handling_cap = 12

[conditions]
stop = ["left"]
moving = ["mov"]

[measure.length]
recorded_to = "0.1 cm"
kind = "length"
range = ["45 cm", "110 cm"]
expected_tem = "0.3 cm"
limit_tem = "0.6 cm"
limit_bias = "0.4 cm"
limit_pair = "0.7 cm"
limit_source = "Larkspur Valley program manual (invented), chapter 4"

[measure.height]
recorded_to = "0.1 cm"
kind = "height"
range = ["65 cm", "130 cm"]
expected_tem = "0.3 cm"
limit_tem = "0.6 cm"
limit_bias = "0.4 cm"
limit_pair = "0.7 cm"
limit_source = "Larkspur Valley program manual (invented), chapter 4"

[measure.weight]
recorded_to = "0.1 kg"
kind = "weight"
range = ["2 kg", "30 kg"]
expected_tem = "0.02 kg"
limit_tem = "0.1 kg"
limit_bias = "0.1 kg"
limit_pair = "0.2 kg"
limit_source = "Larkspur Valley program manual (invented), chapter 4"
"""


def outreach_metric(seed: int) -> dict[str, str]:
    """Lead and five staff, twelve children (six lying, six standing), two rounds, metric."""
    rng = np.random.default_rng(seed)
    people = ["LEAD", "M1", "M2", "M3", "M4", "M5"]
    lying = [f"C{i}" for i in range(1, 7)]
    standing = [f"C{i}" for i in range(7, 13)]
    tem = np.array([3.0, 3.5, 3.5, 8.75, 3.5, 3.5])  # in steps of 0.1 cm
    step, kg = Step(Fraction(1, 10), "cm"), Step(Fraction(1, 10), "kg")

    def sheet(measure: str, subjects: list[str], values: np.ndarray, step: Step) -> Sheet:
        return Sheet(
            measure=measure, step=step, people=people, subjects=subjects, counts=nearest(values)
        )

    length = sheet("length", lying, draw(rng.uniform(620, 800, 6), tem=tem, rng=rng), step)
    low_standing = np.array([0, 0, 0, 0, 0, -6.0])
    height = sheet(
        "height", standing,
        draw(rng.uniform(850, 1050, 6), tem=tem, bias=low_standing, shift=(0.0, -3.0), rng=rng),
        step,
    )  # fmt: skip
    true = np.concatenate([rng.uniform(65, 105, 6), rng.uniform(115, 165, 6)])
    weight = sheet("weight", lying + standing, draw(true, tem=tem / 3.5 * 0.2, rng=rng), kg)

    for s, subjects in ((length, lying[:4]), (height, standing[:4])):
        for subject in subjects:
            first = int(s.counts[s.at("M2", subject, 1)])
            s.plant("second reading copied", "M2", subject, 2, first)
    misread = length.at("M4", "C4", 1)
    length.plant("misread by 10 cm", "M4", "C4", 1, int(length.counts[misread]) + 100)
    for s in (length, weight):  # a row of the sheet: everything on it goes with the child
        one, other = (int(s.counts[s.at("M1", c, 2)]) for c in ("C2", "C5"))
        s.plant("two subjects exchanged", "M1", "C2", 2, other)
        s.plant("two subjects exchanged", "M1", "C5", 2, one)
    for s in (length, weight):
        s.left |= {(person, "C6", 2) for person in ("M4", "M5")}
    for person, subject, turn in (("M1", "C3", 1), ("M3", "C3", 2), ("LEAD", "C3", 2)):
        length.condition[person, subject, turn] = "mov"
    sheets = [length, height, weight]
    staff = {
        "LEAD": "repeat error 0.30 cm",
        "M1": "repeat error 0.35 cm",
        "M2": "repeat error 0.35 cm; copied 8 of 12 second lengths and heights",
        "M3": "repeat error 0.875 cm, two and a half times the others",
        "M4": "repeat error 0.35 cm",
        "M5": "repeat error 0.35 cm; standing heights 0.6 cm low",
        "everybody": "second heights 0.3 cm low; child C6 left before M4 and M5 came back",
    }
    rows = [row for s in sheets for row in s.rows()]
    return {
        "session.toml": _OUTREACH,
        "readings.csv": _csv(rows),
        "truth.toml": _truth(seed, sheets, staff),
    }


_CLINICS = """\
title = "Autumn standardisation, three clinics"
date = 2026-10-06
exercise = "session"
reference = "LEAD"
handling_cap = 12

[measure.infant_weight]
recorded_to = "1 oz"
kind = "weight"
range = ["4 lb", "45 lb"]
expected_tem = "1 oz"
limit_tem = "2 oz"
limit_bias = "2 oz"
limit_source = "Larkspur Valley program manual (invented), chapter 4"

[measure.infant_length]
recorded_to = "1/8 in"
kind = "length"
range = ["15 in", "40 in"]
expected_tem = "1/8 in"
limit_tem = "0.3 in"
limit_bias = "1/4 in"
limit_source = "Larkspur Valley program manual (invented), chapter 4"

[measure.held_weight]
recorded_to = "1/4 lb"
kind = "weight"
range = ["4 lb", "45 lb"]
limit_tem = "0.6 lb"
limit_bias = "1/2 lb"
limit_source = "Larkspur Valley program manual (invented), chapter 4"

[measure.adult_weight]
recorded_to = "1/4 lb"
kind = "weight"
range = ["80 lb", "400 lb"]
limit_tem = "0.6 lb"
limit_bias = "1/2 lb"
limit_source = "Larkspur Valley program manual (invented), chapter 4"
"""
_CLINIC_STAFF = {"A": ["K1", "K2", "K3"], "B": ["K4", "K5", "K6"], "C": ["K7", "K8", "K9"]}


def _clinic(clinic: str, rng: np.random.Generator) -> list[Sheet]:
    """The four sheets of one clinic: twelve infants, and the adults who hold them."""
    people = ["LEAD", *_CLINIC_STAFF[clinic]]
    infants = [f"{clinic}{i}" for i in range(1, 13)]
    adults = [f"{clinic}P{i}" for i in range(1, 13)]
    oz, eighth = Step(Fraction(1), "oz"), Step(Fraction(1, 8), "in")
    quarter = Step(Fraction(1, 4), "lb")
    own = {p: np.array([q == p for q in people], dtype=float) for p in people}
    shoes = own.get("K7", np.zeros(4))
    down = own.get("K4", np.zeros(4)) / 2  # rounding down is half a step off the nearest

    mass = rng.uniform(6 * 16, 24 * 16, 12)
    weight = draw(mass, tem=np.full(4, 1.2), bias=3 * shoes - down, rng=rng)
    long = rng.uniform(20 * 8, 33 * 8, 12)
    lying = draw(long, tem=np.full(4, 1.2), bias=6 * shoes - down, rng=rng)
    lengths = nearest(lying)
    if "K2" in people:
        k2 = people.index("K2")
        lengths[k2] = nearest(lying[k2], mark=2)
    holder = rng.uniform(4 * 110, 4 * 200, 12)
    # the caregiver alone, then the caregiver with the child: two displays, each rounded
    alone = draw(holder, tem=np.full(4, 0.6), rng=rng)
    both = draw(holder + mass / 4, tem=np.full(4, 0.6), bias=0.5 * shoes, rng=rng)
    high = np.array([0.0, 2, 2, 2]) if clinic == "B" else np.zeros(4)  # 0.5 lb
    beam = draw(rng.uniform(4 * 110, 4 * 200, 12), tem=np.full(4, 1.2), bias=high, rng=rng)

    def sheet(measure: str, subjects: list[str], counts: Counts, step: Step, kit: str) -> Sheet:
        return Sheet(
            measure=measure, step=step, people=people, subjects=subjects, counts=counts,
            group=clinic, instrument=dict.fromkeys(people, f"{kit}-{clinic}"),
        )  # fmt: skip

    held = sheet("held_weight", infants, nearest(both), quarter, "PLATE")
    held.tare = nearest(alone)
    adult = sheet("adult_weight", adults, nearest(beam), quarter, "BEAM")
    adult.instrument = {**adult.instrument, "LEAD": "PORT-1"}
    return [
        sheet("infant_weight", infants, nearest(weight), oz, "BABY"),
        sheet("infant_length", infants, lengths, eighth, "BOARD"),
        held,
        adult,
    ]


def _clinic_sheets(seed: int) -> list[Sheet]:
    rng = np.random.default_rng(seed)
    by_clinic = {clinic: _clinic(clinic, rng) for clinic in _CLINIC_STAFF}
    adult_b, adult_c, held_a = by_clinic["B"][3], by_clinic["C"][3], by_clinic["A"][2]
    poise = adult_b.at("K5", "BP4", 2)
    adult_b.plant("poise one notch of 50 lb low", "K5", "BP4", 2, int(adult_b.counts[poise]) - 200)
    exchanged = adult_c.at("K8", "CP7", 1)
    read = int(adult_c.counts[exchanged])
    whole, quarters = divmod(read, 4)
    tens, units = divmod(whole, 10)
    mixed = (tens // 10 * 100 + units * 10 + tens % 10) * 4 + quarters
    adult_c.plant("adjacent digits exchanged", "K8", "CP7", 1, mixed)
    assert held_a.tare is not None
    own = held_a.at("K3", "A5", 1)
    held_a.planted.append({
        "kind": "tare of another caregiver", "measurer": "K3", "subject": "A5",
        "measure": "held_weight", "round": 1,
        "meant": as_written(int(held_a.tare[own]), held_a.step),
        "written": as_written(int(held_a.tare[own]) - 26, held_a.step),
    })  # fmt: skip
    held_a.tare[own] -= 26
    return [s for measure in range(4) for s in (sheets[measure] for sheets in by_clinic.values())]


_CLINIC_TRUTH = {
    "K2": "reads lengths to quarter inches only",
    "K4": "rounds down in infant weights and lengths",
    "K7": "leaves shoes on: lengths 3/4 in long, infant weights 3 oz high",
    "clinic_B": "the beam scale reads 0.5 lb high for everybody who used it",
}


def clinics_customary(seed: int) -> dict[str, str]:
    """Three clinics of three staff with one lead, twelve infants and adults each, lb and in."""
    sheets = _clinic_sheets(seed)
    return {
        "session.toml": _CLINICS,
        "readings.csv": _csv([row for s in sheets for row in s.rows()]),
        "truth.toml": _truth(seed, sheets, _CLINIC_TRUTH),
    }


# (measure, measurer, subject, round, what the keyboard or the spreadsheet made of it)
_TYPED: tuple[tuple[str, str, str, str, Callable[[str], str]], ...] = (
    ("infant_weight", "K1", "A3", "1", lambda w: w.replace(" lb ", ".").removesuffix(" oz")),
    ("infant_weight", "K8", "C2", "2", lambda w: w.replace(" lb ", ".").replace("oz", "lb")),
    ("infant_weight", "K5", "B9", "1", lambda w: f"{int(w.split()[0]) - 1} lb 17 oz"),
    ("infant_length", "K3", "A7", "2", lambda w: f"3/8/20{w.split()[0]}"),
    ("infant_length", "K6", "B2", "1", lambda w: f"{w.split()[0]} 3/0"),
    ("infant_length", "K9", "C11", "2", lambda w: f"-{w}"),
    ("adult_weight", "K7", "CP3", "1", lambda w: f"{float(w.split()[0]) * 0.4536:.1f}"),
    ("adult_weight", "K2", "AP8", "2", lambda w: w.replace(" ", ",")),
)


def clinics_customary_as_typed(seed: int) -> dict[str, str]:
    """The three clinics again, as typed in a spreadsheet: faults, and their corrections."""
    sheets = _clinic_sheets(seed)
    rows = [row for s in sheets for row in s.rows()]
    faults = {fault[:4]: fault[4] for fault in _TYPED}
    corrections = ["measurer,subject,measure,round,corrected,reason,by\n"]
    for i, row in enumerate(rows):
        key = (row["measure"], row["measurer"], row["subject"], row["round"])
        if key in faults:
            right = row["reading"]
            row["reading"] = faults[key](right)
            corrections.append(
                f"{row['measurer']},{row['subject']},{row['measure']},{row['round']},"
                f"{right},read again from the paper sheet,RT\n"
            )
            if "," in row["reading"]:
                row["reading"] = f'"{row["reading"]}"'
        elif i % 97 == 5:
            row["reading"] += "  "
    lines = _csv(rows, end="\r\n").splitlines(keepends=True)
    blank = "," * lines[0].count(",") + "\r\n"
    title = "Autumn standardisation" + blank
    lines = [title, blank, *lines[:200], blank, *lines[200:]]
    return {
        "session.toml": _CLINICS.replace("three clinics", "three clinics, as typed"),
        "readings.csv": "\ufeff" + "".join(lines),
        "corrections.csv": "".join(corrections),
        "truth.toml": _truth(seed, sheets, _CLINIC_TRUTH),
    }


# Seeds were chosen among many so that what was planted shows in a session this small.
SAMPLES: dict[str, tuple[Callable[[int], dict[str, str]], int]] = {
    "outreach_metric": (outreach_metric, 20260737),
    "clinics_customary": (clinics_customary, 20261006),
    "clinics_customary_as_typed": (clinics_customary_as_typed, 20261006),
}


def write_sample(name: str, folder: Path) -> None:
    """Draw a sample session into `folder`, byte for byte the same every time."""
    make, seed = SAMPLES[name]
    folder.mkdir(parents=True, exist_ok=True)
    for file, text in make(seed).items():
        (folder / file).write_bytes(text.encode("utf-8"))


if __name__ == "__main__":
    write_sample(sys.argv[1], Path(sys.argv[2]))
