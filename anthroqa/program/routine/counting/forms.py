"""What do readings that are text stand for, and which of them can nobody read?

Each different text of a measure is understood once, as intake understands it in a session. A text
that cannot be read may hold anything, a name too: it is shown with its figures and letters
masked, unless it is made of figures, units and a few words that are written in place of a reading.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

from anthroqa.intake.entries.readings import MISSING as BLANK
from anthroqa.intake.tables.problems import Problem, nearest_word, whole_file
from anthroqa.intake.tables.table import strip
from anthroqa.intake.written.grammar import Refusal, read_amount, read_count
from anthroqa.intake.written.steps import UNITS, Step
from anthroqa.notes.program.routine_problems import MeasureAbsent, NoStep, NotReadings, TooManyForms
from anthroqa.program.routine.counting.query import MISSING, OFF, OUT, UNREADABLE, Form
from anthroqa.program.routine.counting.request import Wanted
from anthroqa.scores.marks.combs import on_comb

MOST = 50_000  # forms of one measure; a display has far fewer
_SHOWN = 5  # forms that a problem shows
_OFTEN = 5  # readings from which a word is a habit and not somebody's name
_NO_READING = {"nan", "inf", "+inf", "-inf", "infinity", "-infinity", "null"}
_WORDS = {
    *UNITS, "lbs", "pound", "pounds", "ozs", "ounce", "ounces", "inch", "inches", "kgs",
    "na", "n/a", "none", "null", "nil", "x", "not", "done", "taken", "refused",
    "unable", "absent", "crying", "missed", "error", "unknown", "scale", "broken", "and",
}  # fmt: skip
_DATE_LIKE = re.compile(r"\d+[-/.]\d+[-/.]\d+|\d{6,}")


def understood(text: str, one: Wanted, *, decimal_comma: bool) -> tuple[int, int | None]:
    """The position of a text between two whole marks, or why there is none, and its steps."""
    bare = strip(text)
    if bare in BLANK or bare.casefold() in _NO_READING:
        return MISSING, None
    step = one.measure.step
    read = read_count(bare, step, decimal_comma=decimal_comma)
    if isinstance(read, Refusal):
        return _refused(bare, one, step, decimal_comma), None
    if read.converted:
        return OFF, None  # another unit was read: its marks are not this step's
    if not one.low <= read.steps <= one.high:
        return OUT, None
    return read.steps % (one.cycle or 1), read.steps


def _refused(text: str, one: Wanted, step: Step, decimal_comma: bool) -> int:
    if re.fullmatch(r"[-\u2212\u2013] *(?:\d+\.?\d*|\.\d+)(?: *[a-z]+\.?)?", text, re.IGNORECASE):
        return OUT  # below zero
    amount = read_amount(text, step, decimal_comma=decimal_comma)
    if isinstance(amount, Refusal):
        return UNREADABLE
    if amount.denominator == 1 and amount < 2**53:
        return UNREADABLE  # on a mark, and refused for another reason
    return OFF if one.low <= amount <= one.high else OUT


def all_understood(
    found: pd.DataFrame, wanted: Sequence[Wanted], name: str, column: str, *, decimal_comma: bool
) -> tuple[list[Form], list[Problem]]:
    """Every form of the wanted measures, and a problem for each measure with unreadable ones.

    `found` has one row a form: `measure, written, n`.
    """
    forms: list[Form] = []
    problems: list[Problem] = []
    for one in wanted:
        own = found[found["measure"] == one.name]
        if len(own) > MOST:
            problems.append(Problem(
                file=name, row=None, column=column, found=one.name,
                code=TooManyForms(measure=one.name, forms=len(own)),
            ))  # fmt: skip
            continue
        unread: list[tuple[str, int]] = []
        for written, n in zip(own["written"], own["n"], strict=True):
            mark, steps = understood(written, one, decimal_comma=decimal_comma)
            if mark == UNREADABLE:
                unread.append((written, int(n)))
                continue
            there = steps is not None and one.comb is not None
            forms.append(Form(
                measure=one.name, written=written, mark=mark, steps=steps,
                on_comb=there and bool(on_comb(np.array([steps]), one.comb[1])[0]),
            ))  # fmt: skip
        if unread:
            problems.append(_unreadable(unread, one, name, column))
    return forms, problems


def _unreadable(unread: list[tuple[str, int]], one: Wanted, name: str, column: str) -> Problem:
    shown: dict[str, int] = {}
    for written, n in sorted(unread, key=lambda each: (-each[1], each[0])):
        form = masked(written, n)
        shown[form] = shown.get(form, 0) + n
    told = [f"{form!r} ({n:,})" for form, n in list(shown.items())[:_SHOWN]]
    more = f" and {len(shown) - _SHOWN:,} other forms" if len(shown) > _SHOWN else ""
    total = sum(shown.values())
    return Problem(
        file=name, row=None, column=column, found=", ".join(told) + more,
        code=NotReadings(measure=one.name, readings=total, step=one.measure.step),
    )  # fmt: skip


def masked(text: str, n: int) -> str:
    """A form that may be shown: words as x and dates as 9, unless they tell of nobody."""
    text = text if len(text) <= 40 else text[:40] + "..."
    if n < _OFTEN:
        text = re.sub(r"[^\W\d_]+", _as_x, text)
    return re.sub(r"\d", "9", text) if _DATE_LIKE.search(text) else text


def _as_x(word: re.Match[str]) -> str:
    return word[0] if word[0].casefold() in _WORDS else "x" * len(word[0])


def unknown_measures(
    found: pd.DataFrame, wanted: Sequence[Wanted], name: str, column: str
) -> list[Problem]:
    """Measures in the records without a step, and wanted ones that are not there.

    `found` has one row a measure at least: `measure, n`.
    """
    n = found.groupby("measure")["n"].sum()
    names = [one.name for one in wanted]
    problems = []
    for measure in sorted(set(n.index) - set(names)):
        near = nearest_word(measure, set(names) - set(n.index))
        problems.append(Problem(
            file=name, row=None, column=column, found=str(measure)[:60],
            code=NoStep(measure=measure, rows=int(n[measure]), near=near),
        ))  # fmt: skip
    for measure in names:
        if measure not in n.index:
            there = tuple(sorted(map(str, n.index)))
            code = MeasureAbsent(measure=measure, near=nearest_word(measure, there), there=there)
            problems.append(whole_file(name, code))
    return problems
