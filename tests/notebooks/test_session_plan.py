"""The notebook of a plan, run top to bottom as a person and as the command run it."""

import re

import pandas as pd

from anthroqa import planning
from anthroqa.reporting import notebooks


def test_notebook_gives_the_librarys_own_tables_and_a_session_folder(request, tmp_path):
    folder = request.config.rootpath / "sample_sessions" / "spring_plan"
    values = {
        "session_folder": str(folder), "tables_folder": str(tmp_path / "t"), "confidence": 0.8,
    }  # fmt: skip
    notebooks.run("session_plan", values)
    plan = planning.read_plan(folder)
    tables = {"chances": planning.chances(plan, confidence=0.8), "order": planning.planned(plan)}
    for name, table in tables.items():
        written = pd.read_csv(tmp_path / "t" / f"{name}.csv", keep_default_na=False, na_values=[""])
        assert list(written.columns) == list(table.columns)
        for column in table.columns:
            if pd.api.types.is_numeric_dtype(table[column]):
                pd.testing.assert_series_equal(
                    written[column], table[column], rtol=1e-15, check_dtype=False
                )
            else:
                assert written[column].astype(object).fillna("").tolist() == table[column].tolist()
    assert (tmp_path / "t" / "readings.xlsx").exists()
    assert (tmp_path / "t" / "sheets.html").exists()


def test_run_all_in_its_own_folder_gives_the_same_page_as_the_command(request, monkeypatch):
    root = request.config.rootpath
    monkeypatch.chdir(root / "notebooks")
    by_hand = notebooks.execute(root / "notebooks" / "session_plan.ipynb", {})
    values = {"session_folder": str(root / "sample_sessions" / "spring_plan")}
    by_command = notebooks.run("session_plan", values)

    def body(notebook):
        page = notebooks.to_html(notebook, title="t")
        return re.sub(r'<div [^>]*class="cell[^>]*>|</div>|\s+', "", page)

    assert body(by_hand) == body(by_command)
    assert not (root / "notebooks" / "chances.csv").exists()
    assert {p.name for p in (root / "sample_sessions" / "spring_plan").iterdir()} == {"plan.toml"}
