"""What did the instruments show for nothing, for known masses and for known lengths?

`known_loads.csv`: one row a reading of the program's own checks. A load is an exact amount and need not
lie on a mark; a reading is as displayed, in whole divisions of the instrument, and here it may
be below zero. Nothing is judged in this file, and no reading of a session is changed.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pandas as pd

from anthroqa.intake.instruments import Amount, Instrument, kind_of
from anthroqa.intake.rows import MISSING, check_time, shorten
from anthroqa.intake.settings import Measure, Settings
from anthroqa.intake.tables.problems import Problem, did_you_mean
from anthroqa.intake.tables.table import Row, Table
from anthroqa.intake.written.grammar import Refusal, nearest_mark, read_amount, tidy
from anthroqa.intake.written.steps import UNITS, Step, convert

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
_KINDS = {"mass": "a weight", "length": "a length"}
_TYPES = {
    "instrument": object, "measure": object, "check": object, "load": object, "reading": object,
    "position": object, "taken_at": object, "load_steps": float, "reading_steps": float,
    "division_steps": float, "uncertainty_steps": float,
}  # fmt: skip

Report = Callable[[str, str, str], None]


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
        wrong: list[tuple[str, str, str]] = []

        def report(column: str, problem: str, remedy: str, wrong=wrong) -> None:
            wrong.append((column, problem, remedy))

        steps = _read_row(Row(number=row.number, cells=cells), codes, settings, table, report)
        for column, problem, remedy in wrong:
            key = (cells["instrument"], cells["measure"], problem)
            if key in told and column in ("instrument", "measure"):
                continue  # once, not in every row of that instrument
            told.add(key)
            problems.append(Problem(
                file=FILE, row=row.number, column=column, found=shorten(cells[column]),
                problem=problem, remedy=remedy,
            ))  # fmt: skip
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
        report("instrument", "the instrument's code is missing", "Give the code on its label.")
    elif codes and code not in codes:
        hint = did_you_mean(code, sorted(codes))
        report(
            "instrument", "no reading was taken on this instrument, nor is it described",
            f"{hint}Mend the code, or describe it in session.toml as [instrument.{code}].",
        )  # fmt: skip
    measure = settings.measures.get(name)
    if measure is None and (name not in settings.broken or not name):
        described = f"session.toml describes {', '.join(settings.measures) or 'none'}."
        hint = did_you_mean(name, settings.measures)
        report("measure", "this measure is not described", hint + described)
    check = _check(cells["check"], report)
    check_time(cells["taken_at"], report)
    if measure is None:
        return {}
    kind = UNITS[measure.step.unit][0]
    if check and check not in _OF_KIND[kind]:
        other = "rod" if kind == "length" else "load"
        report(
            "check", f"this check does not go with {_KINDS[kind]}",
            f"Write {other}, or mend the measure.",
        )  # fmt: skip
        return {}
    if check == "off_centre" and cells["position"] in MISSING:
        report(
            "position", "an off-centre load needs its position", "Say where it stood, as in front."
        )
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
        hint = did_you_mean(text, CHECKS)
        problem = "this check is not known" if text else "the check is missing"
        report("check", problem, f"{hint}Write one of {', '.join(CHECKS)}.")
    return known


def _in_steps(amount: Amount | None, measure: Measure, what: str, report: Report):
    """An amount of the settings in steps of the measure; None where it is not given."""
    if amount is None:
        return None
    step = measure.step
    if kind_of(amount) != UNITS[step.unit][0]:
        report(
            "instrument", f"its {what} is in {amount[1]}, and this measure is recorded to {step}",
            "Mend the measure here, or the unit in session.toml.",
        )  # fmt: skip
        return None
    return convert(*amount, step.unit) / step.size


def _load(
    text: str, check: str | None, measure: Measure, table: Table, report: Report
) -> Fraction | None:
    if check == "zero" and text in MISSING:
        return Fraction(0)
    if text in MISSING:
        report("load", "the load is missing", "Write the mass, or the length of the rod.")
        return None
    load = read_amount(text, measure.step, decimal_comma=table.decimal_comma)
    if isinstance(load, Refusal):
        report("load", load.problem.replace("a reading", "a load"), load.remedy)
        return None
    if check == "zero" and load:
        report("load", "a check of zero has no load", "Empty the cell, or write load as the check.")
        return None
    if check != "zero" and not load:
        report("load", "this load is zero", "Write zero as the check, or mend the load.")
        return None
    return load


def _reading(
    text: str, measure: Measure, division: Fraction, table: Table, report: Report
) -> Fraction | None:
    """A reading in steps, on a mark of the instrument; a display may stand below zero."""
    if text in MISSING:
        report("reading", "the reading is missing", "Write what was shown, or delete the row.")
        return None
    below = re.fullmatch(r"- *(.+)", tidy(text))
    amount = read_amount(
        below.group(1) if below else text, measure.step, decimal_comma=table.decimal_comma
    )
    if isinstance(amount, Refusal):
        report("reading", amount.problem, amount.remedy)
        return None
    if (amount / division).denominator != 1:
        mark = Step(division * measure.step.size, measure.step.unit)
        near = [
            nearest_mark((amount // division + n) * mark.size, mark) for n in (0, 1)
        ]  # fmt: skip
        report(
            "reading", f"it is not on a mark of this instrument, which has one every {mark}",
            f"The marks nearby are {near[0]} and {near[1]}: was it estimated or mistyped? An "
            "instrument with other marks needs its division in session.toml.",
        )  # fmt: skip
        return None
    return -amount if below else amount


def _notices(
    frame: pd.DataFrame, used: set[tuple[str, str]], settings: Settings
) -> list[tuple[str, str]]:
    """What the file leaves open: instruments not used or not tested, too few loads, no repeats."""
    lines = [] if len(frame) else ["there is no reading in it"]
    if len(frame) and not used:
        lines.append(
            "no reading of the session names its instrument, so nothing here can be tied to a "
            "person: add the column instrument to the readings"
        )
    tested = {key: rows for key, rows in frame.groupby(["instrument", "measure"], sort=True)}
    for (code, measure), rows in tested.items():
        if used and (code, measure) not in used:
            lines.append(f"{code} was tested, and no reading of {measure} was taken on it")
        lines += [f"{code} ({measure}): {what}" for what in _lacking(rows)]
    with_known_loads = {measure for _, measure in tested}
    untested = sorted(
        f"{code} ({measure})" for code, measure in used - set(tested) if measure in with_known_loads
    )
    if untested:
        lines.append(f"instruments that were used and not tested: {', '.join(untested)}")
    named = {code for code, _ in used} | set(frame["instrument"])
    lines += [
        f"session.toml describes {code}, which neither a reading nor a row here names. "
        f"{did_you_mean(code, sorted(named))}".strip(" .")
        for code in settings.instruments
        if code not in named
    ]
    return [(FILE, line) for line in lines]


def _lacking(rows: pd.DataFrame) -> list[str]:
    centred = rows[rows["check"] != "off_centre"]
    loads = centred.groupby("load_steps").size()
    out = []
    if (loads.index != 0).sum() <= 1:
        out.append(
            "at most one load was tested: neither linearity nor the error at other loads can be "
            "had; two more loads that span the subjects would give them"
        )
    if not (centred.groupby(["load_steps", "position"]).size() > 1).any():
        out.append(
            "no load was put on twice: nothing is known of its repeatability; the same load five "
            "times would tell"
        )
    return out
