"""Limits that a step cannot be judged by."""

from math import sqrt

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import as_frame, as_session

from anthroqa.decisions import too_fine
from anthroqa.reporting.check.listing import check

COLUMNS = ["measure", "limit_name", "limit", "floor", "least", "unit", "method", "note"]
PAIRS = {"A": [[600, 601], [610, 610]]}


def test_three_times_the_resolution_of_a_display():
    # JCGM 100:2008 F.2.2.1: the standard uncertainty of a display to a step d is 0.29 d
    limits = {"limit_tem": "0.8 mm", "limit_pair": "1.2 mm", "limit_bias": "0.1 mm"}
    table = too_fine(as_session(PAIRS, **limits))
    assert list(table.columns) == COLUMNS
    assert table["limit_name"].tolist() == ["limit_tem", "limit_pair"]
    tem, pair = table.to_dict("records")
    assert round(tem["floor"], 2) == 0.29
    assert tem["least"] == pytest.approx(3 * tem["floor"])
    assert pair["floor"] == pytest.approx(sqrt(2) * tem["floor"])
    assert (tem["limit"], tem["unit"], tem["method"]) == (0.8, "mm", "direct")


def test_with_a_tare_two_displays_are_rounded():
    direct, tared = as_frame(PAIRS), as_frame({"B": PAIRS["A"]}).assign(tare="500")
    limits = {"limit_tem": "1 mm"}
    assert too_fine(as_session(direct, **limits)).empty
    table = too_fine(as_session(tared, **limits))
    assert table["method"].tolist() == ["tared"]
    assert table["floor"].tolist() == pytest.approx([sqrt(2 / 12)])
    both = too_fine(as_session(pd.concat([direct, tared]), **limits))
    assert both["method"].tolist() == ["tared"]


@given(st.integers(1, 400))
def test_a_limit_is_too_fine_under_its_least_and_only_then(hundredths):
    table = too_fine(as_session(PAIRS, limit_tem=f"{hundredths / 100} mm"))
    assert (len(table) == 1) == (hundredths / 100 < 3 / sqrt(12))


def test_no_limit_is_not_too_fine():
    assert too_fine(as_session(PAIRS)).empty


def test_the_check_tells_it_and_needs_no_attention(tmp_path):
    (tmp_path / "session.toml").write_text(
        '[measure.weight]\nrecorded_to = "0.1 kg"\nlimit_tem = "50 g"\n'
    )
    (tmp_path / "readings.csv").write_text(
        "measurer,subject,measure,round,reading\nA,1,weight,1,7.1\nA,1,weight,2,7.2\n"
    )
    listing, attention = check(tmp_path)
    assert not attention
    assert (
        "limit_tem of weight, 50 g (0.05 kg), is too fine for readings to 0.1 kg: rounding alone "
        "gives 0.0289 kg, and a limit should be three times that, 0.0866 kg, or more."
    ) in " ".join(listing.split())
