"""The sample sessions: invented, from fixed seeds, with a `truth.toml` of what was planted."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np

from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import Step
from anthroqa.simulate.drills import marks_drill
from anthroqa.simulate.known_loads import CLINICS, OUTREACH, known_loads_csv
from anthroqa.simulate.quarters import four_quarters
from anthroqa.simulate.readings import Counts, Sheet, csv_of, draw, nearest, truth_of

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
        "session.toml": _OUTREACH + OUTREACH.described,
        "readings.csv": csv_of(rows),
        "known_loads.csv": known_loads_csv(OUTREACH, seed),
        "truth.toml": truth_of(seed, sheets, staff),
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
    "clinic_B": "the beam scale reads 0.5 lb high for everybody on it, and in known_loads.csv",
}


def clinics_customary(seed: int) -> dict[str, str]:
    """Three clinics of three staff with one lead, twelve infants and adults each, lb and in."""
    sheets = _clinic_sheets(seed)
    return {
        "session.toml": _CLINICS + CLINICS.described,
        "readings.csv": csv_of([row for s in sheets for row in s.rows()]),
        "known_loads.csv": known_loads_csv(CLINICS, seed),
        "truth.toml": truth_of(seed, sheets, _CLINIC_TRUTH),
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
    lines = csv_of(rows, end="\r\n").splitlines(keepends=True)
    blank = "," * lines[0].count(",") + "\r\n"
    title = "Autumn standardisation" + blank
    lines = [title, blank, *lines[:200], blank, *lines[200:]]
    return {
        "session.toml": _CLINICS.replace("three clinics", "three clinics, as typed")
        + CLINICS.described,
        "readings.csv": "\ufeff" + "".join(lines),
        "corrections.csv": "".join(corrections),
        "known_loads.csv": known_loads_csv(CLINICS, seed),
        "truth.toml": truth_of(seed, sheets, _CLINIC_TRUTH),
    }


# Seeds were chosen among many so that what was planted shows in a session this small.
SAMPLES: dict[str, tuple[Callable[[int], dict[str, str]], int]] = {
    "outreach_metric": (outreach_metric, 20260737),
    "clinics_customary": (clinics_customary, 20261006),
    "clinics_customary_as_typed": (clinics_customary_as_typed, 20261006),
    "marks_drill": (marks_drill, 20261047),
    "four_quarters": (four_quarters, 20260219),
}


def write_sample(name: str, folder: Path) -> None:
    """Draw a sample into `folder`, byte for byte the same every time."""
    make, seed = SAMPLES[name]
    folder.mkdir(parents=True, exist_ok=True)
    for file, text in make(seed).items():
        (folder / file).parent.mkdir(parents=True, exist_ok=True)  # some are folders of sessions
        (folder / file).write_bytes(text.encode("utf-8"))
