"""From what is the page of routine records made: which counts, of which measures, from where?

Records are tallied where they are held; a counts file is read as it is. Beside a counts file may
lie the `run.json` that was written with it and says what was counted: it is believed where it
holds the hash of this very file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from anthroqa.files import read_record, run_record, sha256_of
from anthroqa.intake import Measure, Problem, SessionError
from anthroqa.intake.tables.problems import COLUMNS
from anthroqa.notes.program.routine_problems import AsRecorded, CountedInSteps
from anthroqa.program.routine.counting.counter import sql_of, tallied
from anthroqa.program.routine.counting.counts import Tally
from anthroqa.program.routine.counting.counts_file import is_counts_file, look_at_counts
from anthroqa.program.routine.counting.progress import Progress, silent
from anthroqa.program.routine.counting.request import Wanted, pairs, wanted
from anthroqa.program.routine.counting.sources import Source, open_source

COUNTS = "counts.csv"
_OF_A_PROBLEM = (*COLUMNS, "cell")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is wanted of a source, in texts such as `infant_weight=1 oz; infant_length=1/8 in`."""

    recorded_to: str = ""
    ranges: str = ""
    columns: str = ""
    table: str = ""
    clusters: str = "day"

    def measures(self) -> tuple[Wanted, ...]:
        """The measures to tally."""
        return wanted(pairs(_parts(self.recorded_to)), ranges=pairs(_parts(self.ranges)))

    def open(self, source: str) -> Source:
        """The source, ready to be asked."""
        return open_source(source, columns=pairs(_parts(self.columns)), table=self.table)

    def options(self) -> dict[str, str]:
        """What was written, without what was not."""
        return {name: text for name, text in asdict(self).items() if text}


def _parts(text: str) -> list[str]:
    """What stands between the ; of a text, a : taken as the = of `NAME=VALUE`."""
    parts = [part.strip() for part in text.split(";")]
    return [part if "=" in part else part.replace(":", "=", 1) for part in parts if part]


def opened(source: str, asked: Asked, *, progress: Progress = silent) -> Tally:
    """The counts of a source: read, if it is a counts file, else tallied.

    Raises
    ------
    SessionError
        With every problem, where nothing can be shown.
    ValueError
        If an option is wrong, or a library is missing.
    """
    return (
        _read(Path(source), asked) if is_counts_file(source) else _tallied(source, asked, progress)
    )


def sql(source: str, asked: Asked) -> str:
    """The query that would count, in the words of the source's engine."""
    if is_counts_file(source):
        raise ValueError("this source is a counts file: there is nothing to ask")
    measures = asked.measures()
    with asked.open(source) as opened_source:
        return sql_of(opened_source, measures, clusters=asked.clusters)


def _tallied(source: str, asked: Asked, progress: Progress) -> Tally:
    measures = asked.measures()
    with asked.open(source) as records:
        found = tallied(records, measures, clusters=asked.clusters, progress=progress)
        inputs = records.fingerprints()
    if found.counts.empty:
        raise SessionError(found.problems)
    return replace(found, inputs=inputs, options=asked.options())


def _read(path: Path, asked: Asked) -> Tally:
    """A counts file, and what is said beside it of where it is from."""
    found = look_at_counts(path)
    others = _other_steps(found, asked)
    if found.counts.empty or others:
        raise SessionError((*found.problems, *others))
    digest = sha256_of(path)
    beside = _record_beside(path, digest)
    return replace(
        found, name=beside.get("source", found.name), measures=_as_asked(found.measures, beside),
        problems=(*found.problems, *map(_told_beside, beside.get("problems", ()))),
        inputs=beside.get("inputs", {path.name: digest}), options=beside.get("parameters", {}),
    )  # fmt: skip


def _as_asked(measures: Mapping[str, Measure], beside: Mapping[str, Any]) -> dict[str, Measure]:
    """The measures in the order in which they were asked for, if that is known."""
    asked = beside.get("parameters", {}).get("recorded_to", "")
    first = [name for name in pairs(_parts(asked)) if name in measures]
    return {name: measures[name] for name in dict.fromkeys([*first, *measures])}


def _other_steps(found: Tally, asked: Asked) -> list[Problem]:
    """Steps that were asked for and are not those of the counts."""
    if not asked.recorded_to:
        return []
    problems = []
    for one in asked.measures():
        there = found.measures.get(one.name)
        if there is not None and there.step != one.measure.step:
            code = CountedInSteps(measure=one.name, counted=there.step, asked=one.measure.step)
            problems.append(Problem(
                file=found.name, row=None, column="step", found=str(there.step), code=code,
            ))  # fmt: skip
    return problems


def _record_beside(path: Path, digest: str) -> dict[str, Any]:
    """What the `run.json` beside a counts file says, if it is of this very file."""
    said = read_record(path.parent)
    try:
        own = said["outputs"][path.name] == digest
        own = own and all(set(told) == set(_OF_A_PROBLEM) for told in said["problems"])
    except (ValueError, KeyError, TypeError):
        return {}
    return said if own else {}


def _told_beside(told: Mapping[str, Any]) -> Problem:
    """A problem as `run.json` tells it."""
    where = {name: told[name] for name in _OF_A_PROBLEM if name not in ("problem", "remedy")}
    return Problem(**where, code=AsRecorded(problem=told["problem"], remedy=told["remedy"]))


def title(tally: Tally) -> str:
    """The heading of the page."""
    return f"Routine records: {tally.name}"


def record_of(tally: Tally, parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Hashes of the inputs, versions, parameters and problems; no clock time, path or password."""
    said = run_record(tally.name, title(tally), None, tally.inputs, {**tally.options, **parameters})
    del said["session"], said["date"]
    problems = [{name: getattr(p, name) for name in _OF_A_PROBLEM} for p in tally.problems]
    return {"source": tally.name, **said, "problems": problems}
