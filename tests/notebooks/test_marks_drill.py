"""The notebook of a drill, run top to bottom as a person and as the command run it."""

import pandas as pd
from same_page import by_hand_and_by_command

import anthroqa
from anthroqa.reporting.page import notebooks
from anthroqa.scores.drill import read_back


def test_notebook_gives_the_librarys_own_tables(request, tmp_path):
    folder = request.config.rootpath / "sample_sessions" / "marks_drill"
    values = {
        "session_folder": str(folder), "tables_folder": str(tmp_path / "t"), "confidence": 0.8,
    }  # fmt: skip
    notebooks.run("marks_drill", values)
    session = anthroqa.read_session(folder)
    tables = {
        "marks": read_back.marks(session, confidence=0.8),
        "scores": anthroqa.score(session, confidence=0.8, only=["rounding_shift"]),
    }
    for name, table in tables.items():
        written = pd.read_csv(tmp_path / "t" / f"{name}.csv", keep_default_na=False, na_values=[""])
        assert list(written.columns) == list(table.columns)
        assert written["note"].tolist() == table["note"].tolist()
        for column in ("lower", "upper"):
            pd.testing.assert_series_equal(written[column], table[column], rtol=1e-15)


def test_run_all_in_its_own_folder_gives_the_same_page_as_the_command(request, monkeypatch):
    root = request.config.rootpath
    by_hand, by_command = by_hand_and_by_command(root, monkeypatch, "marks_drill", "marks_drill")
    assert by_hand == by_command
    assert not (root / "notebooks" / "marks.csv").exists()
