"""Programs of known truth, a few of each kind: the study is `tests/calibration/records.md`."""

import numpy as np
import pytest
from calibration.records import PROGRAMS, study
from calibration.records_changes import YEARS
from calibration.records_changes import study as years

KINDS = {kind.name: kind for kind in PROGRAMS}


def band(share, n):
    """Four standard errors of a share of n."""
    return 4 * np.sqrt(share * (1 - share) / n)


@pytest.fixture(scope="module")
def found():
    kinds = [KINDS[name] for name in ("days differ", "nobody leans", "everybody leans a little")]
    return study(16, 11, kinds=kinds).set_index("program")


def test_three_leaners_are_found_and_no_honest_person_is_named(found):
    # 15 % extra whole pounds in three of forty: 80 % found, nobody else in 95 % of programs
    row = found.loc["days differ"]
    assert row["found"] >= 0.80 - band(0.80, 48)
    assert row["right"] >= 0.80 - band(0.80, 48)
    assert row["honest"] <= 0.05 + band(0.05, 16)
    assert row["covered"] >= 0.90 - band(0.90, 48)


def test_nobody_is_named_where_nobody_leans_or_everybody_does(found):
    assert found.loc["nobody leans", "honest"] <= 0.05 + band(0.05, 16)
    assert found.loc["nobody leans", "covered_honest"] >= 0.90 - band(0.90, 640)
    assert found.loc["everybody leans a little", "honest"] <= 0.05 + band(0.05, 16)


def test_changes_and_conversions_are_found_and_steady_years_have_none():
    wanted = ("habits that differ by month", "new scale in one site",
              "a unit switched in one site", "values carried over")  # fmt: skip
    table = years(6, 12, kinds=[kind for kind in YEARS if kind.name in wanted])
    table = table.set_index("program")
    assert table.loc["habits that differ by month", "false"] <= 0.05 + band(0.05, 6)
    assert table.loc["new scale in one site", "changed"] >= 0.95 - band(0.95, 6)
    assert table.loc["a unit switched in one site", "converted"] >= 0.95 - band(0.95, 6)
    assert table.loc["values carried over", "carried"] >= 0.95 - band(0.95, 6)
    assert (table["false_comb"] == 0).all()
