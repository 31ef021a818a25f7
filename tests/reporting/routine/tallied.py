"""Small counts of routine records, and everything that the page says of them."""

import numpy as np
import pandas as pd
from reporting.pages import plain

from anthroqa.intake.described.settings import Measure
from anthroqa.program.routine.audited import RoutineAudit
from anthroqa.program.routine.counting.counts import ALL, ON_MARK, Tally, in_order
from anthroqa.program.routine.findings.groups import step_of
from anthroqa.reporting.routine import page

MONTHS = [f"2026-{m:02d}" for m in range(1, 13)]


def even(n, cycle, *, extra=0, mark=None):
    """Readings at each position: as many at each, and some more on a mark, spread over it."""
    at = np.full(cycle, n // cycle)
    mark = cycle if mark is None else mark
    at[::mark] += extra // (cycle // mark)
    return at


def person(
    code, at, *, measure="infant_weight", step="1 oz", site="A", instrument="S1",
    period="2026-01", days=10, on_comb=None, followed=None, same=None, **kinds,
):  # fmt: skip
    """The cells of one person, instrument and month; `missing=3` and the like are other kinds."""
    rows = [(ON_MARK, p, int(n)) for p, n in enumerate(at) if n]
    rows += [(kind.replace("_", " "), pd.NA, n) for kind, n in kinds.items()]
    table = pd.DataFrame(rows, columns=["kind", "position", "n"])
    total = pd.DataFrame([(ALL, pd.NA, table["n"].sum())], columns=table.columns)
    table = pd.concat([table, total], ignore_index=True)
    table = table.assign(
        site=site, measurer=code, instrument=instrument, measure=measure, step=step,
        period=period, days=np.minimum(days, table["n"]),
    )  # fmt: skip
    table["squares"] = (table["n"] ** 2 / table["days"]).round().astype(int)
    if on_comb is not None:
        table["on_comb"] = np.where(table["kind"] == ON_MARK, on_comb * table["n"], 0)
    if followed is not None:
        share = np.where(table["kind"] == ON_MARK, table["n"] / sum(at), 0)
        table["followed"] = (followed * share).round().astype(int)
        table["same"] = (same * share).round().astype(int)
    return table


def audit_of(*parts, **given):
    """Counts as the page gets them, and what they say."""
    counts = in_order(pd.concat(parts, ignore_index=True))
    measures = {
        name: Measure(name=name, step=step_of(step))
        for name, step in counts[["measure", "step"]].drop_duplicates().itertuples(index=False)
    }
    tally = Tally(name="readings.parquet", counts=counts, measures=measures, **given)
    return RoutineAudit(tally=tally, confidence=0.9)


SECTIONS = (
    "opening", "chances", "by_person", "by_place", "positions", "by_months", "conversions",
    "repeated", "no_readings",
)  # fmt: skip


def parts_of(records):
    """Every section as HTML, by name."""
    return {name: getattr(page, name)(records) for name in SECTIONS}


def said(records):
    """Every section as plain text, by name."""
    return {name: plain(part) for name, part in parts_of(records).items()}
