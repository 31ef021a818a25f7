"""The notebook of routine records, run top to bottom as a person and as the command run it."""

import re

import pandas as pd

from anthroqa.program.routine.counting.counter import tallied
from anthroqa.program.routine.counting.request import wanted
from anthroqa.program.routine.counting.sources import open_source
from anthroqa.program.routine.findings.combs_in_counts import converted
from anthroqa.program.routine.findings.months import changes
from anthroqa.program.routine.findings.no_readings import quality
from anthroqa.program.routine.findings.shares_of_marks import audit
from anthroqa.reporting.page import notebooks
from anthroqa.reporting.routine.folder import records
from anthroqa.simulate.routine import MEASURES, NAME

STEPS = {m.name: str(m.step) for m in MEASURES}


def test_notebook_gives_the_librarys_own_tables(request, tmp_path):
    source = request.config.rootpath / "sample_sessions" / NAME / "readings.parquet"
    values = {"source": str(source), "tables_folder": str(tmp_path / "t"), "confidence": 0.8}
    notebooks.run("routine_records", values)
    with open_source(source) as opened:
        counts = tallied(opened, wanted(STEPS), clusters="day").counts
    tables = {
        "audit": audit(counts, confidence=0.8), "conversions": converted(counts),
        "changes": changes(counts, confidence=0.8), "quality": quality(counts),
    }  # fmt: skip
    for name, table in tables.items():
        written = pd.read_csv(tmp_path / "t" / f"{name}.csv", keep_default_na=False, na_values=[""])
        assert list(written.columns) == list(table.columns)
        for column in table.columns:
            if pd.api.types.is_numeric_dtype(table[column]):
                pd.testing.assert_series_equal(
                    written[column].astype(float), table[column].astype(float), rtol=1e-15
                )
            else:
                assert written[column].astype(object).fillna("").tolist() == list(table[column])


def test_run_all_in_its_own_folder_gives_the_same_page_as_the_command(
    request, monkeypatch, tmp_path
):
    root = request.config.rootpath
    monkeypatch.chdir(root / "notebooks")
    by_hand = notebooks.execute(root / "notebooks" / "routine_records.ipynb", {})
    page = notebooks.to_html(by_hand, title=f"Routine records: {NAME}")
    steps = next(p.default for p in notebooks.parameters("routine_records")
                 if p.name == "recorded_to")  # fmt: skip
    made, _ = records(root / "sample_sessions" / NAME, tmp_path / "out", recorded_to=steps)
    assert body(page) == body(made.read_text(encoding="utf-8"))
    assert not (root / "notebooks" / "audit.csv").exists()


def body(page):
    """The page without the numbers of its cells: the command's has one more."""
    return re.sub(r'<div [^>]*class="cell[^>]*>|</div>|\s+', "", page)
