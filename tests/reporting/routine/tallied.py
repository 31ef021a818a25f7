"""Small counts of routine records, and everything that the page says of them."""

import numpy as np
import pandas as pd
from reporting.pages import plain

from anthroqa.intake.settings import Measure
from anthroqa.program.routine.counting.counts import ALL, ON_MARK, in_order
from anthroqa.program.routine.findings.combs_in_counts import converted
from anthroqa.program.routine.findings.groups import step_of
from anthroqa.program.routine.findings.months import changes
from anthroqa.program.routine.findings.no_readings import quality
from anthroqa.program.routine.findings.repetition import repeated
from anthroqa.program.routine.findings.shares_of_marks import audit
from anthroqa.reporting.routine import besides, in_short, sections
from anthroqa.reporting.routine.made_from import Opened

MONTHS = [f"2026-{m:02d}" for m in range(1, 13)]


def even(n, cycle, *, extra=0, mark=None):
    """Readings at each position: as many at each, and some more on a mark, spread over it."""
    at = np.full(cycle, n // cycle)
    mark = cycle if mark is None else mark
    at[::mark] += extra // (cycle // mark)
    return at


def person(
    code, at, *, measure="infant_weight", step="1 oz", clinic="A", instrument="S1",
    period="2026-01", days=10, on_comb=None, followed=None, same=None, **kinds,
):  # fmt: skip
    """The cells of one person, instrument and month; `missing=3` and the like are other kinds."""
    rows = [(ON_MARK, p, int(n)) for p, n in enumerate(at) if n]
    rows += [(kind.replace("_", " "), pd.NA, n) for kind, n in kinds.items()]
    table = pd.DataFrame(rows, columns=["kind", "position", "n"])
    total = pd.DataFrame([(ALL, pd.NA, table["n"].sum())], columns=table.columns)
    table = pd.concat([table, total], ignore_index=True)
    table = table.assign(
        clinic=clinic, measurer=code, instrument=instrument, measure=measure, step=step,
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


def opened_of(*parts, **given):
    """Counts as the page gets them."""
    counts = in_order(pd.concat(parts, ignore_index=True))
    measures = {
        name: Measure(name=name, step=step_of(step))
        for name, step in counts[["measure", "step"]].drop_duplicates().itertuples(index=False)
    }
    return Opened(name="readings.parquet", counts=counts, measures=measures, **given)


def tables_of(opened, confidence=0.9):
    """Every table of the page."""
    counts = opened.counts
    tables = {
        "audit": audit(counts, confidence=confidence), "conversions": converted(counts),
        "changes": changes(counts, confidence=confidence),
        "repeated": repeated(counts, confidence=confidence), "quality": quality(counts),
    }  # fmt: skip
    tables["months"] = besides.months_of(counts, tables["audit"], tables["changes"])
    return tables


def parts_of(opened, tables):
    """Every section as HTML, by name."""
    return {
        "opening": in_short.opening(opened, tables),
        "chances": in_short.chances(tables),
        "people": sections.by_person(opened, tables, 0.9),
        "places": sections.by_place(opened, tables, 0.9),
        "positions": sections.positions(opened, tables),
        "months": besides.by_months(opened, tables),
        "conversions": besides.conversions(tables),
        "repeated": besides.repeated(tables),
        "no readings": besides.no_readings(tables),
    }


def said(opened, tables=None):
    """Every section as plain text, by name."""
    found = parts_of(opened, tables_of(opened) if tables is None else tables)
    return {name: plain(part) for name, part in found.items()}
