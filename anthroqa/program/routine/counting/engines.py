"""How is a query put to an engine, and what may be told of its errors?

An engine's own words may quote a cell or a password, so they are never passed on as they are.
"""

from __future__ import annotations

import importlib
import os
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote, urlsplit

import pandas as pd

from anthroqa.intake.tables.problems import Problem, SessionError, whole_file
from anthroqa.notes import Note
from anthroqa.notes.program.routine_problems import Held, NoAnswer, Unreachable
from anthroqa.program.routine.counting.progress import Progress

_MEMORY = "1200MB"  # what DuckDB may hold; the rest goes to a temporary folder
_THREADS = 8  # each needs memory of its own
TEXT, NUMBER = "text", "number"
Columns = Mapping[str, str]  # of an answer: which are texts, which are numbers
Run = Callable[[str, Columns, Progress], pd.DataFrame]
_IBIS = {TEXT: "string", NUMBER: "float64"}


def library(name: str, extra: str) -> Any:
    """A library that only some sources need."""
    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise ValueError(
            f"this source needs {error.name or name}, which is not installed; "
            f"install it with: pip install 'anthroqa[{extra}]'"
        ) from None


def embedded(name: str, database: str = ":memory:") -> tuple[Run, Callable[[], None]]:
    """A DuckDB of our own, with a bound on its memory: how to ask it, and how to end it."""
    duckdb = library("duckdb", "records")
    spill = tempfile.TemporaryDirectory(prefix="anthroqa-", ignore_cleanup_errors=True)
    try:
        connection = duckdb.connect(database, read_only=database != ":memory:", config={
            "memory_limit": _MEMORY, "threads": min(os.cpu_count() or 1, _THREADS),
            "temp_directory": spill.name, "preserve_insertion_order": False,
        })  # fmt: skip
        with suppress(duckdb.Error):  # in a notebook it asks for a library to draw its own bar
            connection.execute(
                "SET enable_progress_bar = true; SET enable_progress_bar_print = false; "
                "SET progress_bar_time = 0"
            )
    except duckdb.Error:
        spill.cleanup()
        raise SessionError([whole_file(name, Held.NOT_DUCKDB)]) from None

    def close() -> None:
        connection.close()
        spill.cleanup()

    def run(sql: str, columns: Columns, progress: Progress) -> pd.DataFrame:
        try:
            with told(name, duckdb.Error), progress.following(connection.query_progress):
                return connection.execute(sql).df()[list(columns)]
        except RuntimeError as error:  # how this engine says that Ctrl-C was pressed
            if "interrupted" in str(error).lower():
                raise KeyboardInterrupt from None
            raise

    return run, close


@contextmanager
def told(name: str, kind: type[Exception], secrets: Sequence[str] = ()) -> Iterator[None]:
    """An engine's error as a problem, without what it may quote of the data."""
    try:
        yield
    except kind as error:
        line = re.search(r"(?:on Line|Line:|line) *:? *(\d+)", str(error))
        row = int(line[1]) if line else None
        code = of_engine(error, secrets)
        raise SessionError([Problem(file=name, row=row, column="", found="", code=code)]) from None


def of_engine(error: Exception, secrets: Sequence[str] = ()) -> Note:
    """What can be told of an engine's error, of which there is nothing but its own words."""
    words = str(error)
    if "nvalid unicode" in words or "utf-8" in words.lower():
        return Held.NOT_UTF8
    if "CSV Error" in words:
        return Held.NOT_APART
    if "Out of Memory" in words or isinstance(error, MemoryError):
        return Held.MEMORY
    if "No magic bytes" in words or "not a Parquet" in words or "too small to be" in words:
        return Held.NOT_PARQUET
    first = next(iter(words.strip().splitlines()), "")
    for secret in secrets:
        first = first.replace(secret, "...") if secret else first
    said = re.sub(r"'[^']*'|\"[^\"]*\"", "'...'", first)[:200]
    return NoAnswer(error=type(error).__name__, said=said)


@dataclass(frozen=True, kw_only=True, eq=False)
class Reached:
    """A database that answers for itself."""

    engine: str
    tables: Callable[[], list[str]]
    described: Callable[[str], dict[str, str]]
    run: Run
    translate: Callable[[str], str]
    close: Callable[[], None]


def connected(address: str, name: str) -> Reached:
    """The database at an address, through ibis; `name` is what may be printed of it."""
    ibis = library("ibis", "databases")
    secrets = _secrets(address)
    try:
        connection = ibis.connect(address)
    except ImportError as error:
        raise ValueError(
            f"this database needs {error.name}, which is not installed; "
            "install the library that ibis needs for it"
        ) from None
    except Exception as error:  # every driver has its own errors
        code = Unreachable(why=of_engine(error, secrets))
        raise SessionError([whole_file(name, code)]) from None

    def tables() -> list[str]:
        with told(name, Exception, secrets):
            return sorted(connection.list_tables())

    def described(table: str) -> dict[str, str]:
        schema, _, bare = table.rpartition(".")
        with told(name, Exception, secrets):
            found = connection.table(bare, database=schema or None).schema()
        return {column: _as_duckdb_says(kind) for column, kind in found.items()}

    def translate(sql: str) -> str:
        import sqlglot  # which ibis needs itself

        return sqlglot.transpile(sql, read="duckdb", write=connection.dialect, pretty=True)[0]

    def run(sql: str, columns: Columns, progress: Progress) -> pd.DataFrame:
        # with its columns told, ibis need not make a view, which a reader may not
        schema = {column: _IBIS[kind] for column, kind in columns.items()}
        with told(name, Exception, secrets), progress.waiting():
            return connection.sql(sql, schema=schema, dialect="duckdb").to_pandas()

    return Reached(
        engine=connection.name, tables=tables, described=described, run=run, translate=translate,
        close=connection.disconnect,
    )  # fmt: skip


def _as_duckdb_says(kind: Any) -> str:
    """A column's type in words of DuckDB, as far as they matter here."""
    if kind.is_numeric():
        return "DOUBLE"
    if kind.is_temporal():
        return "TIMESTAMP"
    return "VARCHAR" if kind.is_string() else str(kind)


def _secrets(address: str) -> list[str]:
    """What an engine's words must not repeat: the password, as it is typed and as it is meant."""
    try:
        parts = urlsplit(address)
        found = [parts.password or "", *re.findall(r"password=([^&]+)", parts.query)]
    except ValueError:
        found = [address.partition("://")[2]]
    return [word for each in found if each for word in {each, unquote(each)}] + [address]
