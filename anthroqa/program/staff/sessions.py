"""Which sessions make a program, and can they be held beside each other?

A folder is that of one session (it has `session.toml`) or one that holds such folders. Sessions
are ordered by date, then name. What cannot be used is left out and listed, never guessed: a session
that cannot be read or has no date, a drill, a measure read to another step than in most sessions.
Nothing is computed here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from anthroqa.intake import Measure, Problem, Session, SessionError, read_session
from anthroqa.intake.tables.problems import whole_file
from anthroqa.notes import Note
from anthroqa.notes.program.program_problems import (
    Folders,
    OtherReferenceThan,
    OtherStep,
    SameDay,
    SameReadings,
)
from anthroqa.program.staff.retraining_file import FILE, read_retraining


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Program:
    """The sessions of a program, as far as they can be held beside each other.

    Attributes
    ----------
    name, title : str
        Of the folder that holds the sessions; of the only session where there is no such folder.
    sessions : tuple of Session
        By date, then name; without measures that were read to another step.
    measures : dict of str to Measure
        As the latest session has them, with its limits.
    reference : str or None
        That of the latest session.
    retraining : pandas.DataFrame
        `measurer, measure, date, picked_in, note`: one row a person and measure; `picked_in` is
        the session that led to it, "" where there was none before.
    problems : tuple of Problem
        What was left out and why, and what else needs attention.
    files : dict of str to str
        SHA-256 of each input file's bytes, by session and file.
    """

    name: str
    title: str
    sessions: tuple[Session, ...]
    measures: Mapping[str, Measure]
    reference: str | None
    retraining: pd.DataFrame
    problems: tuple[Problem, ...]
    files: Mapping[str, str]

    @property
    def references(self) -> frozenset[str]:
        """Everybody who was the reference in a session."""
        return frozenset(s.reference for s in self.sessions if s.reference is not None)


def read_program(
    folders: str | Path | Iterable[str | Path], *, retraining: str | Path | None = None
) -> Program:
    """The sessions in these folders as one program.

    Parameters
    ----------
    folders : path or iterable of paths
        Folders of sessions, or folders that hold such folders.
    retraining : path, optional
        A table of who was retrained, in place of `retraining.csv` beside the sessions: `measurer,
        date`, and perhaps `measure` (empty: all), `picked_in` (the session that led to it; empty:
        the last before the date) and `note`.

    Returns
    -------
    Program

    Raises
    ------
    SessionError
        If there is no session that can be used; with everything found.
    ValueError
        If no folder is given.
    """
    given = [folders] if isinstance(folders, (str, Path)) else list(folders)
    if not given:
        raise ValueError("give a folder of a session, or one that holds such folders")
    problems: list[Problem] = []
    places = [place for folder in given for place in _places(Path(folder), problems)]
    found = _unlike([s for place in places if (s := _read(place, problems))], problems)
    if not found:
        raise SessionError(problems)
    sessions = sorted(found, key=lambda s: (s.date, s.name))
    _same_day(sessions, problems)
    sessions, measures = _one_step(sessions, problems)
    _references(sessions, problems)
    if len(sessions) == 1:
        problems.append(whole_file(sessions[0].name, Folders.ONLY_ONE))
    holds = [Path(f) for f in given if not (Path(f) / "session.toml").is_file()]
    files = {f"{s.name}/{file}": digest for s in sessions for file, digest in s.files.items()}
    tables = [Path(retraining)] if retraining else [f / FILE for f in holds if (f / FILE).is_file()]
    trained = read_retraining(tables, sessions, problems, files)
    alone = sessions[0] if len(sessions) == 1 and not holds else None
    name = holds[0].resolve().name if holds else sessions[-1].name
    return Program(
        name=name, title=alone.title if alone else name.replace("_", " "),
        sessions=tuple(sessions), measures=measures, reference=sessions[-1].reference,
        retraining=trained, problems=tuple(problems), files=files,
    )  # fmt: skip


def _places(folder: Path, problems: list[Problem]) -> list[Path]:
    """The session folders that a folder is or holds."""
    if (folder / "session.toml").is_file():
        return [folder]
    if not folder.is_dir():
        what = Folders.NOT_A_FOLDER if folder.exists() else Folders.NO_FOLDER
        problems.append(whole_file(folder.name, what))
        return []
    held = sorted(place for place in folder.iterdir() if (place / "session.toml").is_file())
    if not held:
        problems.append(whole_file(folder.resolve().name, Folders.NO_SESSION))
    return held


def _read(place: Path, problems: list[Problem]) -> Session | None:
    name = place.resolve().name
    try:
        session = read_session(place)
    except SessionError as error:
        problems += [replace(p, file=f"{name}/{p.file}") for p in error]
        problems.append(whole_file(name, Folders.UNREADABLE))
        return None
    if session.exercise == "drill":
        problems.append(whole_file(name, Folders.DRILL))
        return None
    if session.date is None:
        problems.append(_in_settings(name, "date", "", Folders.NO_DATE))
        return None
    return session


def _unlike(sessions: list[Session], problems: list[Problem]) -> list[Session]:
    """Without those that have the name or the readings of one before."""
    kept: dict[str, Session] = {}
    readings: dict[str, str] = {}
    for session in sessions:
        digest = next((h for f, h in session.files.items() if f.startswith("readings.")), "")
        twin = readings.get(digest)
        if session.name in kept:
            problems.append(whole_file(session.name, Folders.SAME_NAME))
        elif twin is not None and digest:
            problems.append(whole_file(session.name, SameReadings(session=twin)))
        else:
            kept[session.name] = session
            readings[digest] = session.name
    return list(kept.values())


def _same_day(sessions: Sequence[Session], problems: list[Problem]) -> None:
    """Two sessions of one day in which the same person read the same measure."""
    seen: dict[tuple, str] = {}
    for session in sessions:
        pairs = session.readings[["measurer", "measure"]].drop_duplicates()
        keys = [(session.date, *pair) for pair in pairs.itertuples(index=False)]
        others = tuple(sorted({seen[key] for key in keys if key in seen}))
        if others:
            problems.append(
                _in_settings(session.name, "date", str(session.date), SameDay(sessions=others))
            )
        seen |= {key: session.name for key in keys if key not in seen}


def _one_step(
    sessions: list[Session], problems: list[Problem]
) -> tuple[list[Session], dict[str, Measure]]:
    """Sessions without measures that most others read to another step, and the measures left."""
    described: dict[str, list[Session]] = {}
    for session in sessions:
        read = set(session.readings["measure"])
        for name in session.measures:
            if name in read:
                described.setdefault(name, []).append(session)
    measures, odd = {}, set()
    for name, among in described.items():
        times = Counter(s.measures[name].step for s in among)
        most = max(times.values())
        latest = [s for s in among if times[s.measures[name].step] == most][-1]
        step = latest.measures[name].step
        measures[name] = latest.measures[name]
        for session in among:
            other = session.measures[name].step
            if other != step:
                odd.add((session.name, name))
                place = f"measure.{name}.recorded_to"
                problems.append(_in_settings(session.name, place, str(other), OtherStep(most=step)))
    kept = [_without(s, {m for name, m in odd if name == s.name}) for s in sessions]
    return [s for s in kept if len(s.readings)], measures


def _without(session: Session, names: set[str]) -> Session:
    if not names:
        return session
    return replace(
        session,
        measures={n: m for n, m in session.measures.items() if n not in names},
        readings=session.readings[~session.readings["measure"].isin(names)],
        known_loads=session.known_loads[~session.known_loads["measure"].isin(names)],
    )


def _references(sessions: Sequence[Session], problems: list[Problem]) -> None:
    if len({s.reference for s in sessions}) == 1:
        return
    latest = sessions[-1].reference
    for session in sessions:
        if session.reference != latest:
            found, code = session.reference or "", OtherReferenceThan(latest=latest)
            problems.append(_in_settings(session.name, "reference", found, code))


def _in_settings(session: str, key: str, found: str, code: Note) -> Problem:
    return Problem(file=f"{session}/session.toml", row=None, column=key, found=found, code=code)
