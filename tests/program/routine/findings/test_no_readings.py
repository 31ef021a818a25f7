"""What was no reading: shares of all records, by hand."""

import pandas as pd
import pytest

from anthroqa.program.routine.findings.no_readings import COLUMNS, quality


def test_shares_of_all_records_by_hand():
    kinds = {"on a mark": 80, "off step": 15, "missing": 3, "out of range": 2, "all": 100}
    rows = [(who, site, kind, n if who == "K1" else (100 if kind in ("on a mark", "all") else 0))
            for who, site in (("K1", "A"), ("K2", "")) for kind, n in kinds.items()]  # fmt: skip
    table = pd.DataFrame(rows, columns=["measurer", "site", "kind", "n"]).assign(
        instrument="", measure="weight", step="1 oz", period="2026-01",
        position=[0 if row[2] == "on a mark" else None for row in rows],
    )  # fmt: skip
    found = quality(table)
    assert list(found.columns) == COLUMNS
    assert found[["level", "who", "n"]].to_numpy().tolist() == [
        ["everybody", "(all)", 200], ["site", "A", 100], ["measurer", "K1", 100],
        ["measurer", "K2", 100],
    ]  # fmt: skip
    mine = found[found["who"] == "K1"].iloc[0]
    shares = mine[["off_step", "missing", "out_of_range", "unreadable"]]
    assert shares.tolist() == pytest.approx([0.15, 0.03, 0.02, 0])
    assert mine["note"].startswith("readings off the step: another step or another unit")
    assert found["note"].tolist()[0] == ""
    assert found["note"].tolist()[-1] == ""


def test_no_records_are_no_rows():
    columns = ["site", "measurer", "instrument", "measure", "step", "kind", "position", "period",
               "n"]  # fmt: skip
    assert quality(pd.DataFrame(columns=columns)).empty
