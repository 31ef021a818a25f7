"""The notebook of a plan, run top to bottom as a person and as the command run it."""

import pandas as pd
from same_page import by_hand_and_by_command

from anthroqa import planning
from anthroqa.reporting.page import notebooks


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
    by_hand, by_command = by_hand_and_by_command(root, monkeypatch, "session_plan", "spring_plan")
    assert by_hand == by_command
    assert not (root / "notebooks" / "chances.csv").exists()
    assert {p.name for p in (root / "sample_sessions" / "spring_plan").iterdir()} == {"plan.toml"}
