"""Who is to measure whom, what, how often, and to which limits?

Reads `plan.toml`: everything that `session.toml` may say, and what only a plan needs (staff,
subjects, rounds, groups, minutes). Staff and subjects are laid out in blocks: people who
measure the same subjects in the same measures. A child is handled once a measure, person and
round; where that is over the cap, staff are split into groups with children of their own.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from anthroqa.intake import Measure, SessionError
from anthroqa.intake.described.settings import Notes, Settings, read_toml, settings_of
from anthroqa.intake.entries.readings import EVERYBODY, heard
from anthroqa.intake.tables.personal import looks_like_a_name
from anthroqa.intake.tables.problems import whole_file
from anthroqa.notes.planning import (
    GroupsOverTheCap,
    MoreGroupsThanStaff,
    NotCodes,
    NothingMeasured,
    NotMinutes,
    NotTexts,
    NotWhole,
    OfWhichSubjects,
    PlanProblem,
    RoundsOverTheCap,
    TooAlike,
)

FILE = "plan.toml"
HANDLING_CAP = 12  # per child and measure; common practice, no source
MINUTES = 2.0  # for one reading with undressing and writing down; common practice, no source
PAPERS = ("A4", "Letter")
PLAN_KEYS = frozenset({
    "staff", "subjects", "rounds", "groups", "seed", "paper", "rest_after", "rest_minutes",
    "break_minutes", "other_codes",
})  # fmt: skip
PLAN_MEASURE_KEYS = frozenset({"of", "tared", "minutes"})
_MOST = {"rounds": 9, "groups": 26, "staff": 200, "subjects": 500}
_NO_CODES = {"", "NA", EVERYBODY, "round", "turn", "minute"}  # words of the tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """People who measure the same subjects in the same measures, in every round."""

    group: str  # "" where there is one group
    of: str  # what the subjects are, such as "infants"; "" where the plan has one kind
    people: tuple[str, ...]  # staff, then the reference where there is one
    subjects: tuple[str, ...]
    measures: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A session that has not taken place yet."""

    title: str
    date: dt.date | None
    reference: str | None
    staff: tuple[str, ...]  # without the reference
    rounds: int
    blocks: tuple[Block, ...]  # by group, then by kind of subjects
    measures: Mapping[str, Measure]
    handling_cap: int
    seed: int
    paper: str  # "A4" or "Letter"
    tared: frozenset[str]  # measures in which the caregiver is weighed alone, too
    minutes: Mapping[str, float]  # of one reading, by measure
    rest_after: int  # turns after which everybody rests
    rest_minutes: float
    break_minutes: float  # between rounds
    stop_codes: tuple[str, ...]
    moving_codes: tuple[str, ...]
    other_codes: tuple[str, ...]
    instruments: tuple[str, ...]  # codes
    raw: Mapping[str, Any] = field(compare=False, repr=False)  # of `plan.toml`

    @property
    def codes(self) -> tuple[str, ...]:
        """Every condition code that a sheet has a blank for."""
        return (*self.stop_codes, *self.moving_codes, *self.other_codes)

    @property
    def groups(self) -> tuple[str, ...]:
        """Groups of staff, in order."""
        return tuple(dict.fromkeys(block.group for block in self.blocks))


def read_plan(path: str | Path) -> Plan:
    """The plan in a folder's `plan.toml`.

    Raises
    ------
    SessionError
        With everything in the file that needs attention.
    """
    file = Path(path) / FILE
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        raise SessionError([whole_file(FILE, PlanProblem.NO_FILE)]) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SessionError([whole_file(FILE, PlanProblem.NOT_UTF8)]) from None
    return plan_of(text)


def plan_of(text: str) -> Plan:
    """The plan in the text of `plan.toml`; see `read_plan`."""
    raw = read_toml(text, FILE)
    notes = Notes(FILE, text)
    settings = settings_of(raw, notes, more=PLAN_KEYS, more_of_measure=PLAN_MEASURE_KEYS)
    plan = _plan(raw, settings, notes)
    if plan is None:
        raise SessionError(sorted(notes.problems, key=lambda p: p.row or 0))
    return plan


def _plan(raw: Mapping[str, Any], settings: Settings, notes: Notes) -> Plan | None:
    if settings.exercise != "session":
        notes.add("exercise", settings.exercise, PlanProblem.NOT_A_SESSION)
    rounds = _whole(notes, raw, "rounds", 2)
    staff = _codes(notes, raw.get("staff"), "staff", "M") if "staff" in raw else []
    if "staff" not in raw:
        notes.add("staff", None, PlanProblem.NOBODY)
    elif staff == [settings.reference]:
        notes.add("staff", staff[0], PlanProblem.ONLY_THE_REFERENCE)
    staff = [code for code in staff if code != settings.reference]
    sets = _sets(notes, raw)
    cap = settings.handling_cap or HANDLING_CAP
    groups = _groups(notes, raw, len(staff), settings.reference is not None, rounds, cap)
    tables = _tables(raw)
    for name, table in tables.items():
        tared = table.get("tared", False)
        if type(tared) is not bool:
            notes.add(f"measure.{name}.tared", tared, PlanProblem.TARED_OR_NOT)
    plan = Plan(
        title=settings.title or "Standardisation exercise",
        date=settings.date, reference=settings.reference, staff=tuple(staff), rounds=rounds,
        blocks=_blocks(notes, staff, settings.reference, sets, groups),
        measures=settings.measures, handling_cap=cap,
        seed=_whole(notes, raw, "seed", 0, least=0), paper=_paper(notes, raw),
        tared=frozenset(name for name, table in tables.items() if table.get("tared") is True),
        minutes={
            name: _minutes(notes, table, "minutes", MINUTES, f"measure.{name}.")
            for name, table in tables.items()
        },
        rest_after=_whole(notes, raw, "rest_after", 6),
        rest_minutes=_minutes(notes, raw, "rest_minutes", 5.0),
        break_minutes=_minutes(notes, raw, "break_minutes", 15.0),
        stop_codes=settings.conditions.get("stop", ()),
        moving_codes=settings.conditions.get("moving", ()),
        other_codes=tuple(_texts(notes, raw, "other_codes")),
        instruments=tuple(settings.instruments), raw=raw,
    )  # fmt: skip
    return None if notes.problems else plan


def _tables(raw: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """The tables of the measures, as far as they are tables."""
    measures = raw.get("measure")
    given = measures.items() if isinstance(measures, Mapping) else ()
    return {name: table for name, table in given if isinstance(table, Mapping)}


def _whole(notes: Notes, raw: Mapping[str, Any], key: str, default: int, *, least: int = 1) -> int:
    value = raw.get(key, default)
    most = _MOST.get(key, 2**31 - 1)
    if type(value) is int and least <= value <= most:
        return value
    notes.add(key, value, NotWhole(key=key, least=least, most=most, usual=default))
    return default


def _minutes(
    notes: Notes, raw: Mapping[str, Any], key: str, default: float, prefix: str = ""
) -> float:
    value = raw.get(key, default)
    if type(value) in (int, float) and 0 <= value < 1000:
        return float(value)
    notes.add(prefix + key, value, NotMinutes(key=key, usual=default))
    return default


def _paper(notes: Notes, raw: Mapping[str, Any]) -> str:
    value = raw.get("paper", PAPERS[0])
    if value not in PAPERS:
        notes.add("paper", value, PlanProblem.UNKNOWN_PAPER)
        return PAPERS[0]
    return str(value)


def _texts(notes: Notes, raw: Mapping[str, Any], key: str) -> list[str]:
    value = raw.get(key, [])
    if isinstance(value, list) and all(isinstance(v, str) and v.strip() for v in value):
        return [v.strip() for v in value]
    notes.add(key, value, NotTexts(key=key))
    return []


def _codes(notes: Notes, value: Any, key: str, letter: str) -> list[str]:
    """Codes as listed, or so many made up from a letter; those that cannot stand are told."""
    if type(value) is int and 0 < value <= _MOST[key.split(".")[0]]:
        width = len(str(value))
        return [f"{letter}{i:0{width}d}" for i in range(1, value + 1)]
    if not isinstance(value, list) or not value or not all(isinstance(v, str) for v in value):
        notes.add(key, value, NotCodes(key=key, letter=letter))
        return []
    codes = [v.strip() for v in value]
    seen: dict[str, str] = {}
    for code in codes:
        if code in _NO_CODES:
            notes.add(key, code, PlanProblem.NO_CODE)
        elif looks_like_a_name(code):
            notes.add(key, None, PlanProblem.LOOKS_LIKE_A_NAME)
        twin = seen.setdefault(heard(code), code)
        if twin is not code:
            same = twin == code
            notes.add(key, code, PlanProblem.GIVEN_TWICE if same else TooAlike(other=twin))
    return codes


def _sets(notes: Notes, raw: Mapping[str, Any]) -> dict[str, tuple[int | list[str], list[str]]]:
    """Kinds of subjects: how many (or which) a person measures, and in which measures."""
    value = raw.get("subjects")
    if value is None or value == {}:
        notes.add("subjects", None, PlanProblem.NO_SUBJECTS)
        return {}
    given = value if isinstance(value, Mapping) else {"": value}
    sets: dict[str, tuple[int | list[str], list[str]]] = {}
    for name, subjects in given.items():
        key = f"subjects.{name}" if name else "subjects"
        listed = _codes(notes, subjects, key, "")
        sets[name] = (len(listed) if type(subjects) is int else listed, [])
    for measure, table in _tables(raw).items():
        of = table.get("of", next(iter(given)) if len(given) == 1 else None)
        if of in sets:
            sets[of][1].append(measure)
        else:
            kinds = tuple(given) if isinstance(value, Mapping) else None
            notes.add(f"measure.{measure}.of", of, OfWhichSubjects(kinds=kinds))
    for name, (_, measures) in sets.items():
        if name and not measures:
            notes.add(f"subjects.{name}", None, NothingMeasured(kind=name))
    return sets


def _groups(
    notes: Notes, raw: Mapping[str, Any], staff: int, referenced: bool, rounds: int, cap: int
) -> int:
    """How many groups: as the plan says, or the least that keep the handlings under the cap."""
    most = cap // rounds - referenced  # staff of a group
    if most < 1:
        notes.add("handling_cap", cap, RoundsOverTheCap(rounds=rounds, referenced=referenced))
        return 1
    least = max(1, math.ceil(staff / most))
    if "groups" not in raw:
        return least
    groups = _whole(notes, raw, "groups", least)
    if staff and groups > staff:
        notes.add("groups", groups, MoreGroupsThanStaff(least=least))
    elif groups < least:
        times = rounds * (math.ceil(staff / groups) + referenced)
        notes.add("groups", groups, GroupsOverTheCap(times=times, cap=cap, least=least))
    return groups


def _blocks(
    notes: Notes, staff: Sequence[str], reference: str | None,
    sets: Mapping[str, tuple[int | list[str], list[str]]], groups: int,
) -> tuple[Block, ...]:  # fmt: skip
    letters = _letters(list(sets))
    blocks, everyone = [], set()
    for g in range(groups):
        group = chr(ord("A") + g) if groups > 1 else ""
        people = tuple(staff[g::groups]) + ((reference,) if reference else ())
        for of, (subjects, measures) in sets.items():
            if isinstance(subjects, int):
                width = max(2, len(str(subjects)))
                first = f"{group}{letters[of]}" or "S"
                codes = tuple(f"{first}{i:0{width}d}" for i in range(1, subjects + 1))
            else:
                codes = tuple(subjects[g::groups])
            for code in codes:
                if code in everyone:
                    notes.add("subjects", code, PlanProblem.SUBJECT_GIVEN_TWICE)
            everyone |= set(codes)
            blocks.append(Block(
                group=group, of=of, people=people, subjects=codes, measures=tuple(measures)
            ))  # fmt: skip
    return tuple(blocks)


def _letters(sets: Sequence[str]) -> dict[str, str]:
    """What the codes of each kind of subjects begin with: nothing for one kind."""
    if len(sets) == 1:
        return {sets[0]: ""}
    for n in range(1, 20):
        letters = {name: name[:n].upper() for name in sets}
        if len(set(letters.values())) == len(sets):
            return letters
    return {name: f"{name}-" for name in sets}
