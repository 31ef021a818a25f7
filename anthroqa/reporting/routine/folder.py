"""Routine records become a folder with a page and its tables, or a counts file that may leave."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from anthroqa.files import sha256_of, whole_folder, write, write_record
from anthroqa.reporting.page import notebooks

if TYPE_CHECKING:
    from anthroqa.intake import Problem
    from anthroqa.program.routine.counting.counts import Tally
    from anthroqa.program.routine.counting.progress import Progress
    from anthroqa.reporting.routine.made_from import Asked

NOTEBOOK = "routine_records"
PAGE = f"{NOTEBOOK}.html"
_OF_THE_PAGE = ("confidence",)


def records(
    source: str | Path, out: str | Path, *, progress: Progress | None = None, **options: Any
) -> tuple[Path, tuple[Problem, ...]]:
    """Write `routine_records.html`, its tables as CSV files and `run.json` into `out`.

    The records are tallied where they are held; the page is made from the counts, which do not
    stay. The tables are `audit`, `conversions`, `months`, `changes`, `repeated` and `quality`.

    Parameters
    ----------
    source : str or pathlib.Path
        Parquet or CSV files, a counts file, or the address of a database; only read.
    out : str or pathlib.Path
        A folder, made if need be; it changes only once everything is ready.
    progress : Progress, optional
        Where to show how far the tally is.
    **options
        Parameters of the notebook `routine_records`, such as `recorded_to` and `confidence`.

    Returns
    -------
    pathlib.Path, tuple of Problem
        The page, and what needs attention in the records all the same.

    Raises
    ------
    SessionError
        With every problem, where nothing can be shown; `out` is as it was.
    ValueError
        If an option is unknown or wrong, or a library is missing.
    """
    from anthroqa.reporting.routine.made_from import title
    from anthroqa.scores.layout.figures import check_confidence

    check_confidence(options.get("confidence", 0.5))
    _elsewhere(source, out)
    tally = _tally(source, _asked(options), progress)
    with tempfile.TemporaryDirectory(prefix="anthroqa-") as kept, whole_folder(Path(out)) as draft:
        counts = _write_counts(Path(kept), tally)
        values = {name: options[name] for name in _OF_THE_PAGE if name in options}
        values |= {"source": str(counts), "recorded_to": "", "tables_folder": str(draft)}
        done = notebooks.run(NOTEBOOK, values)
        page = notebooks.to_html(done, title=title(tally))
        write(draft / PAGE, page)
    return Path(out) / PAGE, tally.problems


def counts_only(
    source: str | Path, out: str | Path, *, progress: Progress | None = None, **options: Any
) -> tuple[Path, tuple[Problem, ...]]:
    """Write `counts.csv`, for somebody else to audit, and `run.json` into `out`.

    Months of a person and measure are put together until they hold 50 readings; there is no
    reading in it. Parameters, results and errors are those of `records`.
    """
    from anthroqa.intake import SessionError
    from anthroqa.program.routine.counting.counts import codes_only, for_others

    _elsewhere(source, out)
    tally = _tally(source, _asked(options), progress)
    if named := codes_only(tally.counts, tally.name):
        raise SessionError(named)  # nothing with a name in it leaves
    told = tuple(replace(problem, found="") for problem in tally.problems)  # no form of a reading
    with whole_folder(Path(out)) as draft:
        kept = replace(tally, problems=told, counts=for_others(tally.counts))
        path = _write_counts(draft, kept)
    return Path(out) / path.name, tally.problems


def shown_sql(source: str | Path, **options: Any) -> str:
    """The query that would count, as the engine that holds the records gets it."""
    from anthroqa.reporting.routine.made_from import sql

    return sql(str(source), _asked(options))


def _elsewhere(source: str | Path, out: str | Path) -> None:
    """Refuse to write where the records are: what is made would be read as records next time."""
    if Path(out).resolve() in (Path(source).resolve(), Path(source).resolve().parent):
        raise ValueError("the page cannot go into the folder of the records: give another")


def _asked(options: Mapping[str, Any]) -> Asked:
    """What is wanted of the source; an option that the notebook does not know is refused."""
    from anthroqa.reporting.routine.made_from import Asked

    known = {p.name: p.default for p in notebooks.parameters(NOTEBOOK)}
    hers = set(known) - {"source", "tables_folder"}
    unknown = sorted(set(options) - hers)
    if unknown:
        raise ValueError(
            f"records have no option {', '.join(unknown)}; they have {', '.join(sorted(hers))}"
        )
    of_source = hers - set(_OF_THE_PAGE)
    return Asked(**{name: str(options[name]) for name in of_source if name in options})


def _tally(source: str | Path, asked: Asked, progress: Progress | None) -> Tally:
    from anthroqa.program.routine.counting.progress import silent
    from anthroqa.reporting.routine.made_from import opened

    return opened(str(source), asked, progress=silent if progress is None else progress)


def _write_counts(folder: Path, tally: Tally) -> Path:
    """A counts file, and beside it the record of what was counted."""
    from anthroqa.program.routine.counting.counts import counts_text
    from anthroqa.reporting.routine.made_from import COUNTS, record_of

    path = folder / COUNTS
    write(path, counts_text(tally.counts))
    write_record(folder, {**record_of(tally, {}), "outputs": {COUNTS: sha256_of(path)}})
    return path
