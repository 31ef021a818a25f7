"""The notebook of a drill, run top to bottom as a person and as the command run it."""

import re

import pandas as pd

import anthroqa
from anthroqa.reporting import notebooks
from anthroqa.scores import drill


def test_notebook_gives_the_librarys_own_tables(request, tmp_path):
    folder = request.config.rootpath / "sample_sessions" / "marks_drill"
    values = {
        "session_folder": str(folder), "tables_folder": str(tmp_path / "t"), "confidence": 0.8,
    }  # fmt: skip
    notebooks.run("marks_drill", values)
    session = anthroqa.read_session(folder)
    tables = {
        "marks": drill.marks(session, confidence=0.8),
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
    monkeypatch.chdir(root / "notebooks")
    by_hand = notebooks.execute(root / "notebooks" / "marks_drill.ipynb", {})
    values = {"session_folder": str(root / "sample_sessions" / "marks_drill")}
    by_command = notebooks.run("marks_drill", values)

    def body(notebook):
        page = notebooks.to_html(notebook, title="t")
        return re.sub(r'<div [^>]*class="cell[^>]*>|</div>|\s+', "", page)

    assert body(by_hand) == body(by_command)
    assert not (root / "notebooks" / "marks.csv").exists()
