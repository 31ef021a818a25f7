"""Months: limits by hand and against a loop, planted changes, and steady programs."""

import numpy as np
import pandas as pd
import pytest
from calibration.records_changes import Year, one
from scipy import stats

from anthroqa.program.routine.findings.months import CHANGES, COLUMNS, by_month, changes


def monthly(on, n, *, step="1/4 lb", who="K1", site="", instrument=""):
    """Counts of one person with so many of each month's readings on the whole pound."""
    rows = []
    for month, (k, total) in enumerate(zip(on, n, strict=True), start=1):
        at = [k, total - k, 0, 0]
        for position, count in enumerate(at):
            rows.append(("on a mark", position, month, count))
        rows.append(("all", None, month, total))
    table = pd.DataFrame(rows, columns=["kind", "position", "month", "n"])
    period = "2026-" + table.pop("month").astype(str).str.zfill(2)
    return table.assign(site=site, measurer=who, instrument=instrument, measure="adult",
                        step=step, period=period)  # fmt: skip


def pounds(table):
    return table[(table["level"] == "measurer") & (table["mark"] == "1 lb")]


def test_limits_by_hand():
    on, n = [25, 20, 30, 25, 75], [100, 100, 100, 100, 300]
    found = pounds(by_month(monthly(on, n)))
    assert list(found.columns) == COLUMNS
    assert found["share"].tolist() == [0.25, 0.2, 0.3, 0.25, 0.25]
    assert found["centre"].to_numpy() == pytest.approx(0.25)
    # standardised shares 0, -1.1547, 1.1547, 0, 0: mean moving range 1.1547, over 1.128
    error = np.sqrt(0.25 * 0.75 / np.array(n))
    spread = 4 * 1.1547 / 4 / 1.128
    assert spread == pytest.approx(1.0237, abs=1e-4)
    assert found["high"].to_numpy() == pytest.approx(0.25 + 3 * spread * error, abs=1e-4)
    assert found["low"].to_numpy() == pytest.approx(0.25 - 3 * spread * error, abs=1e-4)
    assert set(found["note"]) == {""}


def test_limits_are_never_narrower_than_a_binomial_and_a_far_month_is_told():
    steady = [250] * 11
    found = pounds(by_month(monthly([*steady, 400], [1000] * 12)))
    assert found["note"].tolist() == [""] * 11 + ["outside the limits"]
    even = pounds(by_month(monthly([250] * 6, [1000] * 6)))
    assert even["high"].to_numpy() == pytest.approx(0.25 + 3 * np.sqrt(0.1875 / 1000))


def test_under_four_months_there_are_no_limits():
    found = pounds(by_month(monthly([25, 20, 30], [100] * 3)))
    assert found["low"].isna().all()
    assert found["share"].tolist() == [0.25, 0.2, 0.3]


def test_empty_and_undated_months_are_no_points():
    counts = pd.concat([monthly([25, 0, 20], [100, 0, 100]),
                        monthly([9], [50]).assign(period="")])  # fmt: skip
    assert pounds(by_month(counts))["period"].tolist() == ["2026-01", "2026-03"]
    assert set(by_month(counts, levels=("measurer",))["level"]) == {"measurer"}


def slow_change(on, n):
    """The likeliest change, and its chance, by a loop over places."""
    best = (0.0, None)
    places = [k for k in range(2, len(n) - 1) if sum(n[:k]) >= 50 and sum(n[k:]) >= 50]
    for k in places:
        sides = [(sum(on[:k]), sum(n[:k])), (sum(on[k:]), sum(n[k:]))]

        def plain(k, n):
            p = k / n
            return (k * np.log(p) if k else 0) + ((n - k) * np.log(1 - p) if n > k else 0)

        gain = 2 * (sum(plain(*s) for s in sides) - plain(sum(on), sum(n)))
        best = max(best, (gain, k))
    gain, k = best
    shares = [sum(on[:k]) / sum(n[:k])] * k + [sum(on[k:]) / sum(n[k:])] * (len(n) - k)
    square = sum(
        (o - m * p) ** 2 / (m * p * (1 - p)) for o, m, p in zip(on, n, shares, strict=True)
    )
    over = max(1.0, square / (len(n) - 2))
    return k, min(1.0, len(places) * stats.chi2.sf(gain / over, 1)), over


def test_a_change_agrees_with_a_loop_over_places():
    on, n = [38, 16, 25, 50, 66, 90, 58], [100, 90, 110, 105, 100, 120, 100]
    found = changes(monthly(on, n), confidence=0.90, levels=("measurer",))
    k, p, over = slow_change(on, n)
    row = found.iloc[0]
    assert list(found.columns) == CHANGES
    assert (len(found), row["mark"], row["period"]) == (1, "1 lb", f"2026-{k + 1:02d}")
    assert row["p_value"] == pytest.approx(p, rel=1e-6)
    assert row["before"] == pytest.approx(sum(on[:k]) / sum(n[:k]))
    assert row["after"] == pytest.approx(sum(on[k:]) / sum(n[k:]))
    assert over > 1
    assert row["lower"] < row["after"] - row["before"] < row["upper"]


def test_small_changes_and_short_sides_are_not_told():
    # 3 points among 120,000: surely there, and not told
    n = [10_000] * 12
    assert changes(monthly([2500] * 6 + [2800] * 6, n), confidence=0.90).empty
    assert len(changes(monthly([2500] * 6 + [3100] * 6, n), confidence=0.90)) == 2  # all, K1
    # one month after it only
    assert changes(monthly([25, 25, 25, 90], [100] * 4), confidence=0.90).empty
    # under fifty readings after it
    assert changes(monthly([25] * 6 + [20] * 2, [100] * 6 + [20] * 2), confidence=0.90).empty


def test_what_would_be_chance_in_one_steady_program_in_twelve_is_not_told():
    # adjusted 0.022 and 0.0055
    assert changes(monthly([25] * 6 + [34] * 6, [100] * 12), confidence=0.90,
                   levels=("measurer",)).empty  # fmt: skip
    told = changes(monthly([25] * 6 + [35] * 6, [100] * 12), confidence=0.90,
                   levels=("measurer",))  # fmt: skip
    assert told["adjusted"].tolist() == pytest.approx([0.0055], abs=5e-5)


def test_what_came_with_a_change_is_said():
    before = monthly([250] * 6 + [0] * 6, [1000] * 6 + [0] * 6, site="A", instrument="S1")
    after = monthly([0] * 6 + [600] * 6, [0] * 6 + [1000] * 6, site="A", instrument="S2")
    counts = pd.concat([before[before["n"] > 0], after[after["n"] > 0]])
    told = changes(counts, confidence=0.90).set_index("level")["note"]
    assert told["site"].endswith("S2 from then on; S1 until then")
    assert told["measurer"].endswith("S2 from then on; S1 until then; as site A did")
    assert told["everybody"].endswith("other staff; as site A did")


def test_the_same_instrument_all_along_is_not_said():
    told = changes(monthly([250] * 6 + [600] * 6, [1000] * 12, instrument="S1"), confidence=0.90,
                   levels=("measurer",))  # fmt: skip
    assert told["note"].tolist() == ["another scale or board, another habit, or other staff"]


def test_readings_off_the_step_from_some_month_on_are_a_change():
    counts = monthly([25] * 8, [100] * 8)
    off = counts[(counts["kind"] == "on a mark") & (counts["position"] == 1)]
    off = off[off["period"] > "2026-05"].assign(kind="off step", position=None, n=60)
    every = counts["kind"].eq("all") & (counts["period"] > "2026-05")
    counts.loc[every, "n"] += 60
    told = changes(pd.concat([counts, off]), confidence=0.90, levels=("measurer",))
    assert told[["mark", "period"]].to_numpy().tolist() == [["off step", "2026-06"]]
    assert told["after"].iloc[0] == pytest.approx(60 / 160)
    assert told["note"].iloc[0].startswith("another step, or another unit")


@pytest.mark.parametrize(
    ("year", "who"),
    [
        (Year(name="scale", new_scale=0.2, rho=0.02), ("site", "C0")),
        (Year(name="habit", new_habit=0.4, rho=0.02), ("measurer", "P001")),
    ],
)
def test_planted_changes_are_found_in_their_month(year, who):
    told = changes(one(year, np.random.default_rng(8)), confidence=0.90)
    mine = told[(told["level"] == who[0]) & (told["who"] == who[1])].iloc[0]
    assert abs(int(mine["period"][1:]) - 6) <= 1
    assert mine["lower"] < 0.4
    assert mine["after"] > mine["before"] + 0.1


def test_steady_programs_have_no_change():
    rng = np.random.default_rng(9)
    years = [Year(name="steady", rho=0.05, months=8, readings=40) for _ in range(12)]
    told = [len(changes(one(year, rng), confidence=0.90)) > 0 for year in years]
    assert sum(told) <= 3  # one in twenty; 4 of 12 would be one in 400


def test_no_counts_have_no_months():
    none = monthly([25], [100]).iloc[:0]
    assert by_month(none).empty
    assert list(changes(none, confidence=0.90).columns) == CHANGES
