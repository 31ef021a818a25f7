"""Readings equal to the last of the same child, beside those of the others."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from anthroqa.program.routine.findings.repetition import COLUMNS, repeated


def table_of(same, followed):
    """Counts of people with so many repeats."""
    rows = pd.DataFrame({
        "site": "", "measurer": [f"P{i:02d}" for i in range(len(same))], "instrument": "",
        "measure": "weight", "step": "0.1 kg", "kind": "on a mark", "position": 3,
        "period": "2026-01", "n": followed, "followed": followed, "same": same,
    })  # fmt: skip
    return pd.concat([rows, rows.assign(kind="all", position=None)], ignore_index=True)


def people(found):
    return found[found["level"] == "measurer"].set_index("who")


def test_shares_and_intervals_by_hand():
    found = people(repeated(table_of([20] * 10, [200] * 10), confidence=0.90))
    row = found.loc["P03"]
    assert (row["share"], row["expected"]) == (0.1, 0.1)
    # Jeffreys: quantiles of beta(20.5, 180.5)
    assert row["lower"] == pytest.approx(stats.beta.ppf(0.05, 20.5, 180.5))
    assert row["upper"] == pytest.approx(stats.beta.ppf(0.95, 20.5, 180.5))
    assert set(found["state"]) == {"as expected"}
    assert found["p_value"].to_numpy() == pytest.approx(0.5)


def test_carried_values_are_told_with_other_reasons_and_no_blame():
    found = people(repeated(table_of([90] + [20] * 11, [200] * 12), confidence=0.90))
    assert found["state"].tolist() == ["more alike than expected"] + ["as expected"] * 11
    assert found.loc["P00", "note"].startswith("possible reasons: the last value carried over")
    assert found.loc["P00", "expected"] == pytest.approx(0.1)
    # the same share is as expected where the others differ as much
    mixed = people(repeated(table_of([90, 85, 10, 80, 15, 60, 20, 70, 5, 50, 20, 75], [200] * 12),
                            confidence=0.90))  # fmt: skip
    assert set(mixed["state"]) == {"as expected"}


def test_four_points_more_are_not_told_however_many_readings_say_so():
    found = people(repeated(table_of([2800] + [2000] * 11, [20_000] * 12), confidence=0.90))
    assert found.loc["P00", "adjusted"] < 0.05
    assert found.loc["P00", "state"] == "as expected"


def test_few_readings_and_few_others_are_not_judged():
    found = people(repeated(table_of([40] + [20] * 6, [49] + [200] * 6), confidence=0.90))
    assert found.loc["P00", "state"] == "not judged"
    assert found.loc["P00", "note"].startswith("under 50 that follow")
    three = people(repeated(table_of([90, 20, 20], [200] * 3), confidence=0.90))
    assert set(three["state"]) == {"not judged"}
    assert set(three["note"]) == {"too few others to be held against"}


def test_nobody_followed_is_blank():
    found = people(repeated(table_of([0] + [20] * 6, [0] + [200] * 6), confidence=0.90))
    row = found.loc["P00"]
    assert np.isnan(row[["share", "lower", "upper"]].astype(float)).all()
    assert row["state"] == "not judged"


def test_without_a_visit_key_there_are_no_rows():
    counts = table_of([1], [2]).drop(columns=["followed", "same"])
    assert list(repeated(counts, confidence=0.90).columns) == COLUMNS
    assert repeated(counts, confidence=0.90).empty


def test_everybody_is_shown_and_not_judged():
    found = repeated(table_of([20] * 5, [200] * 5), confidence=0.90)
    row = found[found["level"] == "everybody"].iloc[0]
    assert (row["followed"], row["same"], row["state"]) == (1000, 100, "not judged")
