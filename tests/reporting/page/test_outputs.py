import json

import pandas as pd

from anthroqa.reporting.page.outputs import csv_text, json_text

TABLE = pd.DataFrame({
    "measurer": ["=1+1", "+x", "-x", "@x", "\tx", "K1", "a,b"],
    "estimate": [-0.1, 0.1 + 0.2, float("nan"), 1.0, 2.0, 3.0, 4.0],
    "more": pd.array([1, None, 3, 4, 5, 6, 7], dtype="Int64"),
})  # fmt: skip


def test_text_that_would_start_a_formula_gets_an_apostrophe_and_numbers_none():
    lines = csv_text(TABLE).splitlines()
    assert lines[1] == "'=1+1,-0.1,1"
    assert lines[2] == "'+x,0.30000000000000004,"
    assert [line[:2] for line in lines[3:6]] == ["'-", "'@", "'\t"]
    assert lines[6:] == ["K1,3.0,6", '"a,b",4.0,7']


def test_csv_leaves_its_table_unchanged():
    before = TABLE.copy()
    csv_text(TABLE)
    pd.testing.assert_frame_equal(TABLE, before)


def test_json_has_null_for_blank_and_keeps_text():
    rows = json.loads(json_text(TABLE))
    assert rows[2] == {"measurer": "-x", "estimate": None, "more": 3}
    assert rows[1]["estimate"] == 0.1 + 0.2
    assert rows[1]["more"] is None
