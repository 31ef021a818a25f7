"""What did the instruments show for nothing, for known masses and for known lengths?

`known_loads.csv`: one row a reading of the program's own checks. A load is an exact amount and
need not lie on a mark; a reading is as displayed, in whole divisions of the instrument, and here it
may be below zero. Nothing is judged in this file, and no reading of a session is changed.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pandas as pd

from anthroqa.intake.described.instruments import Amount, Instrument, kind_of
from anthroqa.intake.described.settings import Measure, Settings
from anthroqa.intake.entries.readings import MISSING, check_time, shorten
from anthroqa.intake.tables.problems import Problem, nearest_word
from anthroqa.intake.tables.table import Row, Table
from anthroqa.intake.written.grammar import Refusal, read_amount, tidy
from anthroqa.intake.written.steps import UNITS, Step, convert
from anthroqa.notes import Note
from anthroqa.notes.intake.beside import (
    AmountOfOtherKind,
    CheckOfOtherKind,
    DescribedOnly,
    KnownLoads,
    NoRepeat,
    OffInstrumentMark,
    OfInstrument,
    OneLoad,
    TestedUnused,
    UnknownCheck,
    UnknownInstrument,
    UsedUntested,
)
from anthroqa.notes.intake.problems import UnknownMeasure

FILE = "known_loads.csv"
COLUMNS = ["instrument", "measure", "check", "load", "reading"]
OPTIONAL = ["position", "taken_at"]
CHECKS = ("zero", "load", "repeat", "off_centre", "rod")
# what people write for a check, without case, plural, spaces and hyphens
_SAID = {
    "zero": ("zero", "empty", "noload", "unloaded"),
    "load": ("load", "mass", "masse", "testmass", "testmasse", "weight", "testweight",
             "testload", "knownmass", "knownweight"),
    "repeat": ("repeat", "repeated", "repeatability", "repetition", "samemass", "again"),
    "off_centre": ("offcentre", "offcenter", "offcentreload", "offcenterload", "corner",
                   "cornerload", "eccentric", "eccentricity", "eccentricload", "shift"),
    "rod": ("rod", "lengthrod", "testrod", "gaugerod", "gagerod", "metrerod", "meterrod",
            "knownlength", "calibrationrod"),
}  # fmt: skip
_CHECK_OF = {word: check for check, words in _SAID.items() for word in words}
_OF_KIND = {"mass": ("zero", "load", "repeat", "off_centre"), "length": ("zero", "repeat", "rod")}
_TYPES = {
    "instrument": object, "measure": object, "check": object, "load": object, "reading": object,
    "position": object, "taken_at": object, "load_steps": float, "reading_steps": float,
    "division_steps": float, "uncertainty_steps": float,
}  # fmt: skip

Report = Callable[[str, Note], None]


def no_known_loads() -> pd.DataFrame:
    """The table of known loads of a session that has none."""
    return pd.DataFrame({c: [] for c in _TYPES}).astype(_TYPES)


def match_known_loads(
    table: Table, entries: list[dict[str, Any]], settings: Settings, problems: list[Problem]
) -> pd.DataFrame:
    """Known loads as `instrument, measure, check, load, reading, position, taken_at` and steps.

    `load` and `reading` as written; `load_steps`, `reading_steps`, `division_steps` and
    `uncertainty_steps` (expanded; NaN where none is given) in steps of the measure, from exact
    fractions. Adds to `problems` what is wrong, and to the table's notices what cannot be had.
    """
    problems += table.problems
    named = [e for e in entries if e.get("instrument", "") not in MISSING]
    used = {(e["instrument"], e["measure"]) for e in named}
    codes = {code for code, _ in used} | set(settings.instruments)
    rows, told = [], set()
    for row in table.rows:
        cells = {c: row.cells.get(c, "") for c in (*COLUMNS, *OPTIONAL)}
        wrong: list[tuple[str, Note]] = []

        def report(column: str, code: Note, wrong=wrong) -> None:
            wrong.append((column, code))

        steps = _read_row(Row(number=row.number, cells=cells), codes, settings, table, report)
        for column, code in wrong:
            key = (cells["instrument"], cells["measure"], code)
            if key in told and column in ("instrument", "measure"):
                continue  # once, not in every row of that instrument
            told.add(key)
            found = shorten(cells[column])
            problems.append(
                Problem(file=FILE, row=row.number, column=column, found=found, code=code)
            )
        if not wrong and cells["measure"] in settings.measures:
            rows.append(cells | steps)
    frame = pd.DataFrame(rows, columns=list(_TYPES)).astype(_TYPES)
    if not table.problems:
        table.notices += _notices(frame, used, settings)
    return frame


def _read_row(
    row: Row, codes: set[str], settings: Settings, table: Table, report: Report
) -> dict[str, Any]:
    """The check's word and the amounts of a row in steps; what is wrong is reported."""
    cells = row.cells
    code, name = cells["instrument"], cells["measure"]
    if code in MISSING:
        report("instrument", KnownLoads.NO_INSTRUMENT)
    elif codes and code not in codes:
        near = nearest_word(code, sorted(codes))
        report("instrument", UnknownInstrument(instrument=code, near=near))
    measure = settings.measures.get(name)
    if measure is None and (name not in settings.broken or not name):
        near, known = nearest_word(name, settings.measures), tuple(settings.measures)
        report("measure", UnknownMeasure(given=True, near=near, known=known))
    check = _check(cells["check"], report)
    check_time(cells["taken_at"], report)
    if measure is None:
        return {}
    kind = UNITS[measure.step.unit][0]
    if check and check not in _OF_KIND[kind]:
        fitting = "rod" if kind == "length" else "load"
        report("check", CheckOfOtherKind(kind=kind, fitting=fitting))
        return {}
    if check == "off_centre" and cells["position"] in MISSING:
        report("position", KnownLoads.NO_POSITION)
    described = settings.instruments.get(code, Instrument(code=code))
    division, uncertainty = (
        _in_steps(amount, measure, what, report)
        for amount, what in (
            (described.division, "division"), (described.uncertainty, "uncertainty")
        )
    )  # fmt: skip
    division = Fraction(1) if division is None else division
    load = _load(cells["load"], check, measure, table, report)
    reading = _reading(cells["reading"], measure, division, table, report)
    return {
        "check": check,
        "load_steps": None if load is None else float(load),
        "reading_steps": None if reading is None else float(reading),
        "division_steps": float(division),
        "uncertainty_steps": float("nan") if uncertainty is None else float(uncertainty),
    }


def _check(text: str, report: Report) -> str | None:
    bare = re.sub(r"[\s_-]+", "", text.casefold())
    known = _CHECK_OF.get(bare) or _CHECK_OF.get(bare.removesuffix("s"))
    if known is None:
        report("check", UnknownCheck(check=text, near=nearest_word(text, CHECKS), known=CHECKS))
    return known


def _in_steps(amount: Amount | None, measure: Measure, what: str, report: Report):
    """An amount of the settings in steps of the measure; None where it is not given."""
    if amount is None:
        return None
    step = measure.step
    if kind_of(amount) != UNITS[step.unit][0]:
        report("instrument", AmountOfOtherKind(key=what, unit=amount[1], step=step))
        return None
    return convert(*amount, step.unit) / step.size


def _load(
    text: str, check: str | None, measure: Measure, table: Table, report: Report
) -> Fraction | None:
    if check == "zero" and text in MISSING:
        return Fraction(0)
    if text in MISSING:
        report("load", KnownLoads.NO_LOAD)
        return None
    load = read_amount(text, measure.step, decimal_comma=table.decimal_comma)
    if isinstance(load, Refusal):
        report("load", load.of("load"))
        return None
    if check == "zero" and load:
        report("load", KnownLoads.LOAD_OF_ZERO_CHECK)
        return None
    if check != "zero" and not load:
        report("load", KnownLoads.LOAD_IS_ZERO)
        return None
    return load


def _reading(
    text: str, measure: Measure, division: Fraction, table: Table, report: Report
) -> Fraction | None:
    """A reading in steps, on a mark of the instrument; a display may stand below zero."""
    if text in MISSING:
        report("reading", KnownLoads.NO_READING)
        return None
    below = re.fullmatch(r"- *(.+)", tidy(text))
    amount = read_amount(
        below.group(1) if below else text, measure.step, decimal_comma=table.decimal_comma
    )
    if isinstance(amount, Refusal):
        report("reading", amount)
        return None
    if (amount / division).denominator != 1:
        mark = Step(division * measure.step.size, measure.step.unit)
        report("reading", OffInstrumentMark(division=mark, below=int(amount // division)))
        return None
    return -amount if below else amount


def _notices(
    frame: pd.DataFrame, used: set[tuple[str, str]], settings: Settings
) -> list[tuple[str, Note]]:
    """What the file leaves open: instruments not used or not tested, too few loads, no repeats."""
    notes: list[Note] = [] if len(frame) else [KnownLoads.NO_ROW]
    if len(frame) and not used:
        notes.append(KnownLoads.NOBODYS_INSTRUMENT)
    tested = {key: rows for key, rows in frame.groupby(["instrument", "measure"], sort=True)}
    for (code, measure), rows in tested.items():
        if used and (code, measure) not in used:
            notes.append(TestedUnused(instrument=code, measure=measure))
        notes += [lacking(instrument=code, measure=measure) for lacking in _lacking(rows)]
    with_known_loads = {measure for _, measure in tested}
    untested = sorted(pair for pair in used - set(tested) if pair[1] in with_known_loads)
    if untested:
        notes.append(UsedUntested(instruments=tuple(untested)))
    named = {code for code, _ in used} | set(frame["instrument"])
    notes += [
        DescribedOnly(instrument=code, near=nearest_word(code, sorted(named)))
        for code in settings.instruments
        if code not in named
    ]
    return [(FILE, note) for note in notes]


def _lacking(rows: pd.DataFrame) -> list[type[OfInstrument]]:
    """What more loads, or repeats, of an instrument would tell."""
    centred = rows[rows["check"] != "off_centre"]
    loads = centred.groupby("load_steps").size()
    several = (loads.index != 0).sum() > 1
    repeated = (centred.groupby(["load_steps", "position"]).size() > 1).any()
    return [kind for kind, there in ((OneLoad, several), (NoRepeat, repeated)) if not there]
