"""From what is the page of routine records made: which counts, of which measures, from where?

Records are tallied where they are held; a counts file is read as it is. Beside a counts file may
lie the `run.json` that was written with it and says what was counted: it is believed where it
holds the hash of this very file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

import pandas as pd

from anthroqa.intake import Measure, Problem, SessionError
from anthroqa.planning import sha256
from anthroqa.program.routine.counting.counter import sql_of, tallied
from anthroqa.program.routine.counting.counts_file import is_counts_file, look_at_counts
from anthroqa.program.routine.counting.progress import Progress, silent
from anthroqa.program.routine.counting.request import Wanted, pairs, wanted
from anthroqa.program.routine.counting.sources import Source, open_source

COUNTS, RECORD = "counts.csv", "run.json"
_OF_A_PROBLEM = {f.name for f in fields(Problem)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opened:
    """Counts of routine records, and where they are from."""

    name: str  # of the source, without a path or a password
    counts: pd.DataFrame
    measures: Mapping[str, Measure]
    problems: tuple[Problem, ...] = ()
    inputs: Mapping[str, str] = field(default_factory=dict)  # name -> sha256
    options: Mapping[str, str] = field(default_factory=dict)  # how they were counted

    @property
    def title(self) -> str:
        """The heading of the page."""
        return f"Routine records: {self.name}"


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


def opened(source: str, asked: Asked, *, progress: Progress = silent) -> Opened:
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


def _tallied(source: str, asked: Asked, progress: Progress) -> Opened:
    measures = asked.measures()
    with asked.open(source) as records:
        found = tallied(records, measures, clusters=asked.clusters, progress=progress)
        inputs = records.fingerprints()
        name = records.name
    if found.counts.empty:
        raise SessionError(found.problems)
    return Opened(
        name=name, counts=found.counts, measures=_there(measures, found.counts),
        problems=found.problems, inputs=inputs, options=asked.options(),
    )  # fmt: skip


def _there(measures: tuple[Wanted, ...], counts: pd.DataFrame) -> dict[str, Measure]:
    """Those measures that were counted."""
    counted = set(counts["measure"])
    return {one.name: one.measure for one in measures if one.name in counted}


def _read(path: Path, asked: Asked) -> Opened:
    """A counts file, and what is said beside it of where it is from."""
    found = look_at_counts(path)
    counts = found.counts
    steps = dict(counts[["measure", "step"]].drop_duplicates().itertuples(index=False, name=None))
    others = _other_steps(path.name, steps, asked)
    if counts.empty or others:
        raise SessionError((*found.problems, *others))
    digest = sha256(path)
    beside = _record_beside(path, digest)
    return Opened(
        name=beside.get("source", path.name), counts=counts,
        measures=_there(wanted(_as_asked(steps, beside)), counts),
        problems=(*found.problems, *(Problem(**told) for told in beside.get("problems", ()))),
        inputs=beside.get("inputs", {path.name: digest}), options=beside.get("parameters", {}),
    )  # fmt: skip


def _as_asked(steps: Mapping[str, str], beside: Mapping[str, Any]) -> dict[str, str]:
    """The steps in the order in which they were asked for, if that is known."""
    asked = beside.get("parameters", {}).get("recorded_to", "")
    first = [name for name in pairs(_parts(asked)) if name in steps]
    return {name: steps[name] for name in dict.fromkeys([*first, *steps])}


def _other_steps(file: str, steps: Mapping[str, str], asked: Asked) -> list[Problem]:
    """Steps that were asked for and are not those of the counts."""
    if not asked.recorded_to:
        return []
    return [
        Problem(
            file=file, row=None, column="step", found=steps[one.name],
            problem=f"{one.name} was counted in steps of {steps[one.name]}, not of "
            f"{one.measure.step}",
            remedy="Leave its --recorded-to out, or tally the records again.",
        )
        for one in asked.measures()
        if one.name in steps and steps[one.name] != str(one.measure.step)
    ]  # fmt: skip


def _record_beside(path: Path, digest: str) -> dict[str, Any]:
    """What the `run.json` beside a counts file says, if it is of this very file."""
    try:
        said = json.loads((path.parent / RECORD).read_text(encoding="utf-8"))
        own = said["outputs"][path.name] == digest
        own = own and all(set(told) == _OF_A_PROBLEM for told in said["problems"])
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return said if own else {}


def run_record(opened: Opened, parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Hashes of the inputs, versions, parameters and problems; no clock time, path or password."""
    from anthroqa.reporting.page.outputs import record_of

    said = record_of(
        opened.name, opened.title, None, opened.inputs, {**opened.options, **parameters}
    )
    del said["session"], said["date"]
    return {"source": opened.name, **said, "problems": [asdict(p) for p in opened.problems]}
