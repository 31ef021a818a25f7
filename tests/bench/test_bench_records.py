"""A tally costs little more than a bare count of the same keys, and no more a row at scale.

`ANTHROQA_BENCH_ROWS=100000000 pytest -m bench -s tests/bench/test_bench_records.py` runs it on a
hundred million readings: about 2 GB of disk.
"""

import os
import re
import statistics
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import pytest

from anthroqa.program.routine.counting.counter import sql_of, tallied
from anthroqa.program.routine.counting.request import wanted
from anthroqa.program.routine.counting.sources import open_source

pytestmark = pytest.mark.bench

ROWS = int(os.environ.get("ANTHROQA_BENCH_ROWS", "3000000"))
# times a bare group-count of the same keys, by the same engine on the same file; by day, days are
# put together to months twice more: by position and in all
MOST = {"": 1.5, "day": 2.0}
MOST_MEMORY = 2.0  # GB, of the whole process
NOT_LINEAR = 1.5  # cost a row may grow by from a tenth of the rows to all
WANTED = wanted(
    {"infant_weight": "1 oz", "infant_length": "1/8 in", "child_weight": "0.1 kg"},
    ranges={"infant_weight": "3 lb to 45 lb"},
)
BARE = """SELECT site, measurer, instrument, measure, {when} AS period,
  CAST(FLOOR(reading) AS INTEGER) % 16 AS position, COUNT(*) AS n
FROM read_parquet('{path}') GROUP BY ALL"""
SETTINGS = {"memory_limit": "1200MB", "preserve_insertion_order": False}
WHEN = {
    "": "EXTRACT(YEAR FROM taken_at) * 100 + EXTRACT(MONTH FROM taken_at)",
    "day": "CAST(taken_at AS DATE)",
}


def generate(path, rows: int, staff: int) -> None:
    """Two years of invented records, as a database would export them: by time."""
    with duckdb.connect(config={"preserve_insertion_order": False}) as base:
        base.execute("SET memory_limit = '1GB'")
        base.execute(f"""COPY (
          SELECT 'C' || lpad(CAST(s % 150 AS VARCHAR), 3, '0') AS site,
            'S' || lpad(CAST(s AS VARCHAR), 4, '0') AS measurer,
            'scale-' || lpad(CAST(s % 150 AS VARCHAR), 3, '0') || '-' || (s % 2) AS instrument,
            CASE WHEN h % 5 < 3 THEN 'infant_weight' WHEN h % 5 = 3 THEN 'infant_length'
                 ELSE 'child_weight' END AS measure,
            CASE WHEN h % 997 = 0 THEN NULL
                 WHEN h % 5 < 3 THEN
                   90 + (h >> 8) % 200 + (CASE WHEN h % 499 = 0 THEN 0.3 ELSE 0 END)
                 WHEN h % 5 = 3 THEN (144 + (h >> 8) % 160) / 8.0
                 ELSE round((80 + (h >> 8) % 120) / 10.0, 1) END::DOUBLE AS reading,
            TIMESTAMP '2024-01-01 08:00:00'
              + to_seconds((i * 731 // {rows}) * 86400 + (h >> 16) % 28800) AS taken_at
          FROM (SELECT i, CAST(hash(i) >> 2 AS BIGINT) AS h,
                CAST(hash(i * 7 + 3) % {staff} AS INTEGER) AS s FROM range({rows}) AS t(i))
        ) TO '{path}' (FORMAT parquet)""")  # fmt: skip


def cost(work) -> tuple[float, float]:
    """Seconds of the processors (other work does not lengthen them) and of a clock."""
    clock, processors = time.perf_counter(), time.process_time()
    work()
    return time.process_time() - processors, time.perf_counter() - clock


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """Files by number of rows and of staff, generated once."""
    folder, made = tmp_path_factory.mktemp("records"), {}

    def of(rows: int, staff: int):
        path = made.setdefault((rows, staff), folder / f"{rows}_{staff}.parquet")
        if not path.exists():
            generate(path, rows, staff)
        return path

    yield of
    for path in made.values():
        path.unlink(missing_ok=True)


def compared(path, clusters: str, times: int = 3) -> dict[str, tuple[float, float]]:
    """Median costs of our query, of the bare one, run in turn, and of the tally with its table."""
    queries = {"bare": BARE.format(path=path, when=WHEN[clusters])}
    costs = {"bare": [], "query": []}
    with open_source(path) as source, duckdb.connect(config=SETTINGS) as engine:
        queries["query"] = sql_of(source, WANTED, clusters=clusters)
        for _ in range(times):
            for name, sql in queries.items():
                costs[name].append(
                    cost(lambda sql=sql: engine.execute(f"CREATE OR REPLACE TEMP TABLE t AS {sql}"))
                )
        engine.execute("DROP TABLE t")
        costs["tally"] = [cost(lambda: tallied(source, WANTED, clusters=clusters))]
    return {name: tuple(map(statistics.median, zip(*c, strict=True))) for name, c in costs.items()}


@pytest.mark.parametrize("clusters", ["", "day"])
def test_a_tally_costs_little_more_than_a_bare_count_of_the_same_keys(records, clusters):
    """By day, staff have as many readings a day as a hundred million make of 2,000 people."""
    staff = max(ROWS // 50_000, 1) if clusters else 2000
    found = compared(records(ROWS, staff), clusters)
    told = ", ".join(f"{name} {cpu:.2f} s ({clock:.2f})" for name, (cpu, clock) in found.items())
    ratio = found["query"][0] / found["bare"][0]
    sys.stdout.write(
        f"\n{ROWS:,} rows, {staff:,} staff, clusters {clusters!r}: processors (clock) {told}; "
        f"query / bare {ratio:.2f}\n"
    )
    assert ratio < MOST[clusters]


def test_cost_a_row_does_not_grow_and_memory_is_bounded(records):
    """Each in a process of its own, for its memory; `day`, which needs most."""
    told = {}
    for rows in (ROWS // 10, ROWS):
        path = records(rows, 2000)
        said = subprocess.run(
            [sys.executable, __file__, str(path)], check=True, capture_output=True, text=True
        ).stdout.split()
        told[rows] = [float(word) for word in said]
        sys.stdout.write(f"\n{rows:,} rows: {told[rows][0]:.2f} s, {told[rows][1]:.2f} GB")
    sys.stdout.write("\n")
    (few, _), (many, memory) = told.values()
    assert many < NOT_LINEAR * 10 * few
    assert memory < MOST_MEMORY


def main(path: str) -> None:
    with open_source(path) as source:
        seconds, _ = cost(lambda: tallied(source, WANTED, clusters="day"))
    # the peak of this program; that of getrusage would be its parent's
    status = Path("/proc/self/status").read_text(encoding="ascii")
    peak = int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) / 1024**2
    sys.stdout.write(f"{seconds} {peak}\n")


if __name__ == "__main__":
    main(sys.argv[1])
