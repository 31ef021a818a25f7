"""The notebook of a program, run top to bottom as a person and as the command run it."""

import pandas as pd
from reporting.staff.pages import reviewed
from same_page import body

from anthroqa.reporting.page import notebooks
from anthroqa.reporting.staff.page import TABLES

NAME = "staff_review"


def test_notebook_gives_the_librarys_own_tables(request, tmp_path):
    folder = request.config.rootpath / "sample_sessions" / "four_quarters"
    values = {"program_folders": str(folder), "tables_folder": str(tmp_path / "t")}
    notebooks.run(NAME, values)
    review = reviewed(folder)
    for name in TABLES:
        table = getattr(review, name)
        written = pd.read_csv(tmp_path / "t" / f"{name}.csv", keep_default_na=False, na_values=[""])
        assert list(written.columns) == list(table.columns), name
        assert written["note"].astype(object).fillna("").tolist() == list(
            map(str, table["note"])
        ), name
        for column in table.select_dtypes("float"):
            pd.testing.assert_series_equal(
                written[column].astype(float), table[column].reset_index(drop=True), rtol=1e-15
            )


def test_run_all_in_its_own_folder_gives_the_same_page_as_the_command(request, monkeypatch):
    root = request.config.rootpath
    monkeypatch.chdir(root / "notebooks")
    by_hand = notebooks.execute(root / "notebooks" / f"{NAME}.ipynb", {})
    folder = root / "sample_sessions" / "four_quarters"
    by_command = notebooks.run(NAME, {"program_folders": str(folder)})
    assert body(by_hand) == body(by_command)
    assert not (root / "notebooks" / "history.csv").exists()
