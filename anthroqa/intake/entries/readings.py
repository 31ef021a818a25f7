"""Is every row of readings understood, and do the rows agree with one another?

Each function adds to one list of problems; nothing stops at the first.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from anthroqa.intake.described.settings import Measure, Settings
from anthroqa.intake.entries.corrections import Correction
from anthroqa.intake.tables.problems import Problem, nearest_word
from anthroqa.intake.tables.table import Table, whole_number
from anthroqa.intake.written.grammar import Count, read_count
from anthroqa.intake.written.slip_catalogue import consistent_with, decimal_pounds
from anthroqa.notes import Note
from anthroqa.notes.intake.problems import (
    GivenTwice,
    InTwoGroups,
    NearlyTheSame,
    NoCode,
    NoReference,
    OfRow,
    OutOfRange,
    Stopped,
    TareIsMore,
    UnknownMeasure,
)
from anthroqa.notes.intake.written import OffMark, Refusal, TwoWays
from anthroqa.notes.scores.slips import Slipped

REQUIRED = ["measurer", "subject", "measure", "round", "reading"]
OPTIONAL = ["group", "tare", "instrument", "condition", "taken_at", "retake", "note"]
MISSING = {"", "NA"}
EVERYBODY = "(all)"  # in place of a measurer, in rows of group figures
_EXACT_SUMS = 3_000_000_000  # span x readings below this keeps every sum of squares in int64

_SHOWN = 60  # characters of a cell that a problem repeats

Entry = dict[str, Any]
Report = Callable[[str, Note], None]  # column, what is wrong


def read_entries(table: Table, settings: Settings, problems: list[Problem]) -> list[Entry]:
    """The rows with their codes, round and retake understood; readings still as text.

    An entry is usable in what follows only if `sound` is true. Rows of a measure whose
    own description is at fault are not judged: that problem is already told.
    """
    entries = []
    for row in table.rows:
        entry: Entry = {
            "file": table.file, "row": row.number, "address": table.address, "sound": True,
            **row.cells,
        }  # fmt: skip

        def report(column: str, code: Note, entry: Entry = entry) -> None:
            entry["sound"] = False
            problems.append(_problem(entry, column, entry.get(column, ""), code))

        for column in ("measurer", "subject"):
            _check_code(entry, column, report)
        if "group" in table.columns and not entry["group"]:
            report("group", OfRow.NO_GROUP)
        if entry["measure"] in settings.broken or not settings.measures:
            entry["sound"] = False
        else:
            _check_measure(entry, settings.measures, report)
        entry["round"] = whole_number(entry["round"])
        if entry["round"] is None:
            entry["round"] = row.cells["round"]
            report("round", OfRow.NOT_A_ROUND)
        retake = whole_number(entry.get("retake", ""))
        if retake is None and entry.get("retake"):
            report("retake", OfRow.NOT_A_RETAKE)
        entry["retake"] = retake or 0
        check_time(entry.get("taken_at", ""), report)
        entries.append(entry)
    return entries


def _problem(entry: Entry, column: str, found: str, code: Note) -> Problem:
    address = entry.get("address")  # none in a file of corrections
    return Problem(
        file=entry["file"], row=entry["row"], column=column, found=shorten(str(found)),
        code=code, cell=address(entry["row"], column) if address else "",
    )  # fmt: skip


def shorten(found: str) -> str:
    """What was found, as long as it can be of use."""
    return found if len(found) <= _SHOWN else found[:_SHOWN] + "..."


def _check_code(entry: Entry, column: str, report: Report) -> None:
    """Some texts cannot be the code of a person or of a subject."""
    if entry[column] in MISSING:
        report(column, NoCode(column=column))
    elif entry[column] == EVERYBODY:
        report(column, OfRow.FOR_EVERYBODY)


def _check_measure(entry: Entry, measures: Mapping[str, Measure], report: Report) -> None:
    name = entry["measure"]
    if name not in measures:
        near = nearest_word(name, measures)
        report("measure", UnknownMeasure(given=bool(name), near=near, known=tuple(measures)))


def check_time(taken_at: str, report: Report) -> None:
    """A time that is given must be in ISO form."""
    if taken_at:
        try:
            dt.datetime.fromisoformat(taken_at)
        except ValueError:
            report("taken_at", OfRow.NOT_A_TIME)


def count_readings(
    entries: list[Entry],
    corrections: Mapping[int, Correction],
    measures: Mapping[str, Measure],
    problems: list[Problem],
    *,
    decimal_comma: bool,
) -> None:
    """Give each sound entry its `count` in steps, in place, or `missing`, or a problem."""
    for i, entry in enumerate(entries):
        entry["written"] = entry["reading"]
        correction = corrections.get(i)
        text, place, column = entry["reading"], entry, "reading"
        if correction is not None:
            text, column = correction.corrected, "corrected"
            place = {"file": correction.file, "row": correction.row}
        entry["corrected"] = text if correction is not None else ""
        entry["place"] = (place, column, text)  # where the reading that counts stands
        entry["missing"] = text in MISSING
        if entry["missing"] or not entry["sound"]:
            continue
        measure = measures[entry["measure"]]
        comma = decimal_comma if correction is None else correction.decimal_comma
        read = read_count(text, measure.step, decimal_comma=comma)
        tare = entry.get("tare", "")
        tared = Count(0, "unit")
        if tare not in MISSING:
            tared = read_count(tare, measure.step, decimal_comma=decimal_comma)
            if isinstance(tared, Refusal):
                _refuse(entry, entry, "tare", tare, tared, measure, problems)
        if isinstance(read, Refusal):
            _refuse(entry, place, column, text, read, measure, problems)
        if isinstance(read, Refusal) or isinstance(tared, Refusal):
            continue
        entry["forms"] = [(read.form, *entry["place"])]
        if tare not in MISSING:
            entry["forms"].append((tared.form, entry, "tare", tare))
        entry["count_read"], entry["count_tare"] = read.steps, tared.steps
        entry["count"] = read.steps - tared.steps
        entry["converted"] = read.converted or tared.converted
        _check_range(entry, place, column, text, measure, problems)


def _refuse(
    entry: Entry, place: Entry, column: str, text: str, refusal: Refusal, measure: Measure,
    problems: list[Problem],
) -> None:  # fmt: skip
    entry["sound"] = False
    slips: tuple[Note, ...] = ()
    if isinstance(refusal, OffMark) and re.fullmatch(r"\d+\.\d+", text):
        slips = consistent_with(Fraction(text), measure.step, measure.low, measure.high)
    elif isinstance(refusal, TwoWays) and (decimal := re.match(r"\d+\.\d+", text)):
        pounds = Fraction(decimal.group())
        slips = decimal_pounds(pounds, measure.step, measure.low, measure.high)
    if slips:
        refusal = replace(refusal, slips=slips)
    code = refusal.of("tare") if column == "tare" else refusal
    problems.append(_problem(place, column, text, code))


def _check_range(
    entry: Entry, place: Entry, column: str, text: str, measure: Measure, problems: list[Problem]
) -> None:
    amount = entry["count"] * measure.step.size
    low, high = measure.low, measure.high
    if entry["count"] < 0:
        entry["sound"] = False
        read = entry["count_read"] * measure.step.size
        inside = low is not None and high is not None and low <= read <= high
        slips = (Slipped.TARE_TWICE,) if inside else ()
        problems.append(_problem(place, column, text, TareIsMore(slips=slips)))
        return
    if (low is None or amount >= low) and (high is None or amount <= high):
        return
    entry["sound"] = False
    step = measure.step
    slips = consistent_with(amount, step, low, high)
    code = OutOfRange(low=low, high=high, step=step, slips=slips)
    problems.append(_problem(place, column, text, code))


def heard(code: str) -> str:
    """A code as two people would take it for the same one: no case, zeros in front, or spaces."""
    seen = "".join(c for c in unicodedata.normalize("NFC", code) if unicodedata.category(c) != "Cf")
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", " ".join(seen.split())).casefold()


def set_aside_stopped(entries: list[Entry], stop: Collection[str]) -> list[tuple[str, Note]]:
    """Take readings with a stop code out, in place, and tell of them: they count against nobody."""
    codes = {heard(code) for code in stop}
    n = 0
    for entry in entries:
        if not entry["missing"] and heard(entry.get("condition", "")) in codes:
            entry["missing"] = entry["stopped"] = True
            n += 1
    return [(entries[0]["file"], Stopped(n=n))] if n else []


def check_codes(
    entries: list[Entry], reference: str | None, described_in: str, problems: list[Problem]
) -> None:
    """Codes that may be one person or child typed in two ways; the reference; the groups."""
    for column in ("measurer", "subject", "group", "instrument"):
        rows = defaultdict(list)
        for entry in entries:
            if entry.get(column):
                rows[entry[column]].append(entry)
        alike = defaultdict(list)
        for code in rows:
            alike[heard(code)].append(code)
        for codes in alike.values():
            usual, *others = sorted(codes, key=lambda c: (-len(rows[c]), c))
            for code in others:
                nearly = NearlyTheSame(usual=usual)
                problems.append(_problem(rows[code][0], column, code, nearly))
        if column == "measurer" and reference is not None and reference not in rows and rows:
            problems.append(Problem(
                file=described_in, row=None, column="reference", found=reference,
                code=NoReference(near=nearest_word(reference, rows)),
            ))  # fmt: skip
    groups: dict[str, Entry] = {}
    for entry in entries:
        group, subject = entry.get("group"), entry["subject"]
        if not group or not subject:
            continue
        first = groups.setdefault(subject, entry)
        if first["group"] != group:
            code = InTwoGroups(group=group, other=first["group"], row=first["row"])
            problems.append(_problem(entry, "subject", subject, code))


def check_repeats(entries: list[Entry], problems: list[Problem]) -> None:
    """The same reading given twice, equal or different; a retake of nothing."""
    seen: dict[tuple[Any, ...], Entry] = {}
    turn = ("measurer", "subject", "measure", "round")
    first_rows = {tuple(e[k] for k in turn) for e in entries if not e["retake"]}
    for entry in entries:
        if entry["retake"] and tuple(entry[k] for k in turn) not in first_rows:
            problems.append(_problem(entry, "retake", entry["retake"], OfRow.RETAKE_OF_NOTHING))
        if entry["missing"] or not entry["measurer"] or not entry["subject"]:
            continue
        key = tuple(entry[k] for k in ("measurer", "subject", "measure", "round", "retake"))
        first = seen.setdefault(key, entry)
        if first is entry:
            continue
        entry["sound"] = False
        code = GivenTwice(row=first["row"], same=first["written"] == entry["written"])
        problems.append(_problem(entry, "reading", entry["written"], code))


def check_forms(
    entries: list[Entry], measures: Mapping[str, Measure], problems: list[Problem]
) -> None:
    """Bare numbers beside pounds and ounces: the rarer form is a problem."""
    for name, measure in measures.items():
        if measure.step.unit != "oz":
            continue
        forms = [
            form
            for e in entries
            if e["sound"] and e["measure"] == name
            for form in e.get("forms", ())
        ]
        counts = Counter(form for form, *_ in forms)
        if not (counts["bare"] and counts["pounds"]):
            continue
        rarer = "pounds" if counts["pounds"] < counts["bare"] else "bare"
        for form, place, column, text in forms:
            if form == rarer:
                problems.append(_problem(place, column, text, OfRow.MIXED_FORMS))


def check_sums(
    entries: list[Entry], measures: Mapping[str, Measure], problems: list[Problem]
) -> None:
    """Readings that span so much that sums of squares would not stay exact."""
    for name in measures:
        mine = [e for e in entries if e["sound"] and e["measure"] == name and "count" in e]
        if not mine:
            continue
        counts = sorted(e["count"] for e in mine)
        most = max(Counter(e["measurer"] for e in mine).values())
        if (counts[-1] - counts[0]) * most < _EXACT_SUMS:
            continue
        middle = counts[len(counts) // 2]
        far = max(mine, key=lambda e: abs(e["count"] - middle))
        place, column, text = far["place"]
        problems.append(_problem(place, column, text, OfRow.TOO_FAR_APART))
