"""Who is named for a mark, and who is not: planted habits, scales, conversions, few readings."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from calibration.records import counted, drawn

from anthroqa.intake.written.steps import Step
from anthroqa.program.routine.findings.shares_of_marks import COLUMNS, audit
from anthroqa.scores.marks.combs import leaves_gaps


def table_of(shares, *, step="1 oz", mark=16, seed=5, rho=0.1, days=True, **options):
    staff = drawn(np.random.default_rng(seed), np.asarray(shares), mark=mark, rho=rho, **options)
    return counted(staff, step, days=days)


def states(found, level="measurer", state="named"):
    rows = found[(found["level"] == level) & (found["state"] == state)]
    return list(rows[["who", "mark"]].itertuples(index=False, name=None))


@pytest.fixture(scope="module")
def found():
    return audit(table_of([0.3, 0.25] + [0.0] * 18, readings=300, seed=6), confidence=0.90)


def test_those_who_lean_are_named_by_their_mark(found):
    assert states(found) == [("P000", "1 lb"), ("P001", "1 lb")]
    row = found[(found["who"] == "P000") & (found["mark"] == "1 lb")].iloc[0]
    assert list(found.columns) == COLUMNS
    assert row["lower"] < 0.3 < row["upper"]
    assert (row["expected"], row["excess"]) == (0, row["share"])
    assert row["design_effect"] > 1
    assert row["adjusted"] >= row["p_value"]


def test_a_site_is_not_named_for_one_of_its_people():
    # twelve people in four sites: a third of the readings of C0 are P000's
    found = audit(table_of([0.6] + [0.0] * 11, readings=400), confidence=0.90)
    assert states(found) == [("P000", "1 lb")]
    site = found[(found["who"] == "C0") & (found["mark"] == "1 lb")].iloc[0]
    assert site["share"] > 0.15
    assert (site["state"], site["note"]) == (
        "as expected", "without P000, named for it, under five points",
    )  # fmt: skip


def test_a_site_is_not_named_for_its_leaners_and_only_they_are_said():
    found = audit(table_of([0.6, 0.5] + [0.0] * 10, readings=400), confidence=0.90)
    notes = found[(found["level"] == "site") & (found["mark"] == "1 lb")].set_index("who")["note"]
    assert notes["C0"].startswith("without P000, named for it")
    assert notes["C1"].startswith("without P001, named for it")


def test_everybody_at_one_scale_is_not_named_for_what_it_shows():
    counts = table_of([0.0] * 12, readings=400)
    table = counts.assign(instrument="S" + counts["site"].str[1:])
    coarse = (table["instrument"] == "S0") & (table["kind"] == "on a mark")
    table.loc[coarse, "position"] = (
        table.loc[coarse, "position"] // 2 * 2
    )  # shows every second ounce
    found = audit(table, confidence=0.90)
    assert states(found) == []
    assert states(found, "instrument") == [("S0", "2 oz")]
    looked = found[(found["level"] == "measurer") & (found["state"] == "worth a look")]
    assert looked["who"].tolist() == ["P000", "P004", "P008"]
    assert looked["note"].str.startswith("as everybody at S0: look at the scale").all()
    # the program has no such habit
    everybody = found[(found["level"] == "everybody") & (found["mark"] == "2 oz")].iloc[0]
    assert everybody["share"] > 0.15
    assert everybody["state"] == "worth a look"
    assert everybody["note"].startswith("not a habit of all")


def test_a_habit_of_everybody_is_the_programs():
    found = audit(table_of([0.5] + [0.2] * 19, rho=0, readings=600), confidence=0.90)
    assert states(found, "everybody") == [("(all)", "1 lb")]
    assert states(found) == [("P000", "1 lb")]
    rows = found[(found["level"] == "measurer") & (found["mark"] == "1 lb")]
    assert rows["expected"].unique() == pytest.approx([0.2], abs=0.03)
    assert rows["note"].str.contains("held against a typical person").all()
    assert rows["excess"].to_numpy() == pytest.approx(rows["share"] - rows["expected"])


def test_few_readings_are_not_judged_however_they_look():
    counts = table_of([0.0] * 8, readings=200)
    few = table_of([1.0], readings=49, rho=0).assign(measurer="NEW")
    rows = audit(pd.concat([counts, few]), confidence=0.90).query("who == 'NEW'")
    assert set(rows["state"]) == {"not judged"}
    assert rows["p_value"].isna().all()
    assert set(rows["note"]) == {"under 50 readings"}
    enough = table_of([1.0], readings=50, rho=0).assign(measurer="NEW")
    rows = audit(pd.concat([counts, enough]), confidence=0.90).query("who == 'NEW'")
    assert "named" in set(rows["state"])


def test_two_thousand_readings_do_not_make_three_points_matter():
    found = audit(table_of([0.03] + [0.0] * 9, readings=20_000, rho=0), confidence=0.90)
    row = found[(found["who"] == "P000") & (found["mark"] == "1 lb")].iloc[0]
    assert row["adjusted"] < 1e-6
    assert row["state"] == "as expected"
    assert row["note"].startswith("there, but under five points")


def with_positions(counts, at):
    """P000 with these counts by position, each reading on a day of its own."""
    rows = counts[(counts["measurer"] == "P000") & (counts["kind"] == "on a mark")]
    one = rows.iloc[[0]].drop(columns=["position", "n"]).merge(
        pd.DataFrame({"position": np.arange(16), "n": at}), how="cross"
    )  # fmt: skip
    every = one.iloc[[0]].assign(kind="all", position=np.nan, n=sum(at))
    own = pd.concat([one, every]).assign(squares=lambda t: t["n"], days=lambda t: t["n"])
    return pd.concat([counts[counts["measurer"] != "P000"], own])


def test_two_habits_of_one_person_are_both_told():
    both = np.full(16, 25)
    both[::4] += 100  # to the quarter pound
    both[0] += 300  # and to the pound
    found = audit(with_positions(table_of([0.0] * 10, readings=1000), both), confidence=0.90)
    assert states(found) == [("P000", "4 oz"), ("P000", "1 lb")]
    # standing on 2 oz and 8 oz too, by themselves far beyond chance, and put on neither
    shadow = found[(found["who"] == "P000") & found["mark"].isin(["2 oz", "8 oz"])]
    assert (shadow["adjusted"] < 1e-6).all()
    assert (shadow["share"] < 0.05).all()


@pytest.mark.parametrize(("even", "told"), [(35, False), (37, True)])
def test_a_second_mark_needs_more_than_the_first_gives(even, told):
    at = np.full(16, 28)
    at[::2] = even
    at[0] += 150
    found = audit(with_positions(table_of([0.0] * 10, readings=1000), at), confidence=0.90)
    row = found[(found["who"] == "P000") & (found["mark"] == "2 oz")].iloc[0]
    # large, its interval clear of none, and far beyond chance, for the pounds stand there too
    assert row["share"] > 0.05
    assert row["lower"] > 0
    assert row["adjusted"] < 1e-6
    assert (row["state"] == "named") is told
    assert ("as another mark explains" in row["note"]) is not told


def test_before_a_unit_was_switched_readings_count():
    rng = np.random.default_rng(2)
    staff = drawn(rng, np.zeros(12), mark=16, readings=500, days=50, months=10)
    ratio = float(leaves_gaps(Step(Fraction(1), "oz"))[1])
    late = (staff.site == 1) & (staff.period >= 6)
    x = np.where(late, np.round(np.round(staff.x / ratio) * ratio), staff.x).astype(np.int64)
    found = audit(counted(replace(staff, x=x), "1 oz", comb=True), confidence=0.90)
    row = found[found["who"] == "C1"].iloc[0]
    assert row["n"] == ((staff.site == 1) & ~late).sum()
    assert row["note"].endswith(f"{late.sum()} readings were converted: left out")


def test_converted_readings_are_left_out_and_counted():
    rng = np.random.default_rng(2)
    staff = drawn(rng, np.zeros(12), mark=16, readings=300)
    source, ratio = leaves_gaps(Step(Fraction(1), "oz"))
    assert str(source) == "0.05 kg"
    there = staff.site == 1
    x = np.where(there, np.round(np.round(staff.x / float(ratio)) * float(ratio)), staff.x)
    counts = counted(replace(staff, x=x.astype(np.int64)), "1 oz", comb=True)
    found = audit(counts, confidence=0.90)
    rows = found[found["who"] == "C1"]
    assert set(rows["state"]) == {"not judged"}
    assert rows["share"].isna().all()
    assert set(rows["note"]) == {"900 readings were converted: left out"}
    everybody = found[found["level"] == "everybody"]
    assert set(everybody["n"]) == {2700}
    assert states(found) == []


def test_a_step_without_whole_marks_has_a_blank_row():
    table = pd.DataFrame([{
        "site": "", "measurer": "K1", "instrument": "", "measure": "arm", "step": "3 mm",
        "kind": kind, "position": None, "period": "2026-01", "n": 80,
    } for kind in ("on a mark", "all")])  # fmt: skip
    row = audit(table, confidence=0.90).iloc[0]
    assert (row["n"], row["state"]) == (80, "not judged")
    assert np.isnan(row["share"])
    assert row["note"].startswith("the step does not say which marks are whole")


def test_the_table_does_not_depend_on_how_rows_are_cut_or_sorted():
    counts = table_of([0.3] + [0.0] * 7, readings=200)
    whole = audit(counts, confidence=0.90)
    mixed = counts.sample(frac=1, random_state=3)
    pd.testing.assert_frame_equal(audit(mixed, confidence=0.90), whole)
    months = counts.assign(period="2026-01")
    add = ["site", "measurer", "instrument", "measure", "step", "kind", "position", "period"]
    once = months.groupby(add, dropna=False)[["n", "days", "squares"]].sum().reset_index()
    pd.testing.assert_frame_equal(audit(once, confidence=0.90), audit(months, confidence=0.90))


def test_without_days_the_note_says_what_is_allowed_for():
    counts = table_of([0.0] * 20, readings=300, days=25, months=2)
    one = audit(counts.drop(columns=["days", "squares"]), confidence=0.90)
    assert one["note"].str.contains("allows for months that differ, not for days").all()
    bare = counts.drop(columns=["days", "squares"]).assign(period="")
    none = audit(bare, confidence=0.90)
    assert none["note"].str.contains("allows for no clustering").all()


def test_no_counts_give_an_empty_table():
    counts = table_of([0.0])
    assert list(audit(counts.iloc[:0], confidence=0.90).columns) == COLUMNS
