"""What tests of tallies share: a tally of a frame, plain readings, and the cells of a kind."""

from pathlib import Path

import pandas as pd
from slow_tally import RANGES, RECORDED_TO

from anthroqa.program.routine.counting.counter import tallied
from anthroqa.program.routine.counting.request import wanted
from anthroqa.program.routine.counting.sources import open_source

WANTED = wanted(RECORDED_TO, ranges=RANGES)


def counted(frame: pd.DataFrame, path: Path, clusters="day", measures=WANTED, **options):
    frame.to_parquet(path)
    with open_source(path, **options) as source:
        return tallied(source, measures, clusters=clusters)


def readings(values, *, measure="weight", **columns) -> pd.DataFrame:
    frame = {
        "site": "A", "measurer": "K1", "instrument": "s1", "measure": measure,
        "reading": values, "taken_at": pd.Timestamp("2026-03-02 09:00"),
    }  # fmt: skip
    return pd.DataFrame(frame | columns)


def cells(found, kind) -> dict:
    own = found.counts[found.counts["kind"] == kind]
    return dict(zip(own["position"], own["n"], strict=True))
