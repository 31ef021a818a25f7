"""Digit figures of a session: what is said, what cannot be had, and how often chance speaks."""

from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from calibration.digits import study
from calibration.sessions import DESIGNS, cube_of, session

import anthroqa
from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import Step
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.marks.digits import figures, read_marks

EIGHTH, MM = Step(Fraction(1, 8), "in"), Step(Fraction(1, 10), "cm")
THIRDS = Step(Fraction(3, 10), "cm")
DIGITS = ["digit_dissimilarity", "coarse_share"]


def session_of(counts, step, *, settings=None, names=None):
    """A session of counts (people x subjects x rounds) of one measure."""
    person, subject, turn = np.indices(counts.shape).reshape(3, -1)
    names = names or [f"P{i}" for i in range(len(counts))]
    frame = pd.DataFrame({
        "measurer": [names[p] for p in person], "subject": [f"S{s}" for s in subject],
        "measure": "m", "round": turn + 1,
        "reading": [as_written(int(c), step) for c in counts.reshape(-1)],
    })  # fmt: skip
    measures = {"m": {"recorded_to": str(step)} | (settings or {})}
    return anthroqa.Session.from_frame(frame, measures=measures)


def digit_rows(session_, **options):
    return anthroqa.score(session_, only=DIGITS, **options)


@pytest.fixture(scope="module")
def leaning():
    return session(DESIGNS["1/8 in"], np.random.default_rng(40), leaners=1)


def test_a_leaner_stands_out_in_every_figure_and_the_others_do_not(leaning):
    rows = digit_rows(session_of(leaning.gross, EIGHTH))
    own = rows[rows["measurer"] == "P0"].set_index("statistic")
    assert own.index.tolist() == [
        "digit_dissimilarity", "coarse_share:1/4 in", "coarse_share:1/2 in", "coarse_share:1 in",
    ]  # fmt: skip
    assert own.loc["coarse_share:1/2 in", "p_value"] < 0.05 / 8
    assert own.loc["coarse_share:1/2 in", "lower"] > 0.1
    assert own.loc["digit_dissimilarity", "p_value"] < 0.05
    assert own["unit"].eq("share").all()
    assert own["readings"].eq(20).all()
    assert own["subjects"].eq(10).all()
    others = rows[~rows["measurer"].isin(["P0", "(all)"])]
    assert (others.groupby("measurer")["p_value"].min() > 0.05 / 8).all()


def test_the_same_seed_gives_the_same_figures_and_another_seed_others(leaning):
    session_ = session_of(leaning.gross, EIGHTH)
    first, again, other = (digit_rows(session_, seed=seed) for seed in (3, 3, 4))
    pd.testing.assert_frame_equal(first, again)
    assert not first["p_value"].equals(other["p_value"])
    everything = anthroqa.score(session_, seed=3)
    mine = everything[everything["statistic"].str.partition(":")[0].isin(DIGITS)]
    pd.testing.assert_frame_equal(mine.reset_index(drop=True), first)


def test_a_mark_can_be_asked_for_by_name(leaning):
    session_ = session_of(leaning.gross, EIGHTH)
    rows = anthroqa.score(session_, only=["coarse_share:1/2 in"])
    assert rows["statistic"].unique().tolist() == ["coarse_share:1/2 in"]


def test_the_reference_is_judged_too_and_helps_to_place_subjects(leaning):
    counts = leaning.gross
    cube = cube_of(counts, leaning.measure.step)
    assert len(figures(cube, 0.90, np.random.default_rng(0))[0].estimate) == 8
    two = session_of(counts[:2], EIGHTH, names=["LEAD", "K1"])
    rows = digit_rows(two)
    assert rows.loc[rows["measurer"] == "K1", "p_value"].notna().all()


def test_gross_and_tare_are_read_apart():
    cube = next(
        c for c in cubes(anthroqa.read_session("sample_sessions/clinics_customary"))
        if c.measure.name == "held_weight"
    )  # fmt: skip
    rows = figures(cube, 0.90, np.random.default_rng(0))[0]
    k1 = cube.people.index("K1")
    assert rows.readings[k1] == 48  # 12 children, two rounds, two displays
    assert rows.subjects[k1] == 12


# What cannot be had, and why: (counts, step, what the note says)
HONEST = session(DESIGNS["0.1 cm"], np.random.default_rng(41)).gross
CANNOT = {
    "one measurer only": (HONEST[:1], MM, "nobody else read these subjects"),
    "five subjects": (HONEST[:, :5], MM, "5 positions that somebody else read too; 6"),
    "no whole mark": (HONEST, THIRDS, "give whole_mark in session.toml"),
}


@pytest.mark.parametrize("why", CANNOT)
def test_what_cannot_be_had_is_blank_with_its_reason(why):
    counts, step, words = CANNOT[why]
    rows = digit_rows(session_of(counts, step))
    rows = rows[rows["measurer"] != "(all)"]
    assert len(rows) >= len(counts)
    assert rows[["estimate", "lower", "upper", "p_value"]].isna().all(axis=None)
    assert rows["note"].str.contains(words, regex=False).all()


def test_a_step_without_a_coarser_mark_has_no_digit_figures():
    rows = digit_rows(session_of(HONEST, THIRDS))
    assert rows.loc[rows["measurer"] != "(all)", "statistic"].unique().tolist() == [
        "digit_dissimilarity"
    ]


def test_a_whole_mark_of_the_programs_own_is_used():
    rows = digit_rows(session_of(HONEST, THIRDS, settings={"whole_mark": "3 cm"}))
    assert "coarse_share:1.5 cm" in rows["statistic"].tolist()
    assert rows.loc[rows["measurer"] == "P1", "estimate"].notna().all()


def test_equal_readings_throughout_are_no_preference():
    rows = digit_rows(session_of(np.full((4, 8, 2), 725), MM))
    people = rows[rows["measurer"] != "(all)"]
    assert people["p_value"].between(0.2, 1).all()
    digits = people["statistic"] == "digit_dissimilarity"
    assert (people.loc[digits, "estimate"] < 0.05).all()
    on_mark = people[people["statistic"] == "coarse_share:0.5 cm"]  # 72.5 cm, everybody, always
    assert on_mark["estimate"].isna().all()
    assert on_mark["note"].str.contains("would not show").all()
    off = people[people["statistic"].isin(["coarse_share:0.2 cm", "coarse_share:1 cm"])]
    assert (off["estimate"] < 0.05).all()


def test_readings_that_intake_converted_are_left_out_and_counted():
    frame = pd.DataFrame([
        (p, f"S{s}", k, f"{60 + 2 * s + (p == 'B') / 10} cm" if (p, s) != ("A", 0) else "24 in")
        for p in "AB" for s in range(8) for k in (1, 2)
    ], columns=["measurer", "subject", "round", "reading"]).assign(measure="m")  # fmt: skip
    frame.loc[frame["reading"] == "24 in", "reading"] = "25 in"  # 63.5 cm lands on a mark
    session_ = anthroqa.Session.from_frame(frame, measures={"m": {"recorded_to": "0.1 cm"}})
    rows = digit_rows(session_)
    a = rows[rows["measurer"] == "A"]
    assert a["readings"].eq(14).all()
    assert a["note"].str.contains("2 readings were converted from the other system").all()


def test_a_conversion_is_said_to_be_one_and_no_preference():
    rng = np.random.default_rng(17)
    inches = rng.integers(8 * 22, 8 * 36, 14) / 8  # read to eighths, written in millimetres
    values = inches[None, :, None] + rng.integers(-1, 2, (5, 14, 2)) / 8
    counts = np.floor(values * 25.4 + 0.5).astype(int)
    rows = digit_rows(session_of(counts, Step(Fraction(1), "mm")))
    assert rows["estimate"].isna().all()
    assert rows["note"].str.contains("a conversion, not a preference").all()


@pytest.fixture(scope="module")
def rates():
    """A short run; `python -m calibration` has the long one."""
    return study(12, 20, plans=["plain", "1 of 8 leans", "4 of 8 lean"]).set_index("design")


def test_honest_staff_are_seldom_called(rates):
    for column in ("honest_marks", "honest_digits"):
        called, n = (rates[column] * rates["honest"]).sum(), rates["honest"].sum()
        assert called / n <= 0.05 + 4 * np.sqrt(0.05 * 0.95 / n)
        per_design = rates[column].groupby(level=0).mean()
        each = rates["honest"].groupby(level=0).sum()
        assert (per_design <= 0.05 + 4 * np.sqrt(0.05 * 0.95 / each)).all()


def test_who_puts_six_readings_of_ten_on_the_half_mark_is_found(rates):
    lean = rates[rates["leaners"] > 0]
    n = lean["leaners"].sum()
    for column, least in (("found_marks", 0.90), ("covered", 0.87)):
        share = (lean[column] * lean["leaners"]).sum() / n
        assert share >= least - 4 * np.sqrt(least * (1 - least) / n)
    least = {"0.1 cm": 0.85, "0.1 kg": 0.90, "10 g": 0.95, "1/8 in": 0.85, "1 oz": 0.75}
    for name, floor in least.items():
        mine = lean.loc[[name]]
        n = mine["leaners"].sum()
        share = (mine["found_digits"] * mine["leaners"]).sum() / n
        assert share >= floor - 4 * np.sqrt(floor * (1 - floor) / n)


def test_fits_are_shared_among_those_who_ask_about_the_same_readings(leaning):
    one = cube_of(leaning.gross, leaning.measure.step)
    same = cube_of(leaning.gross.copy(), leaning.measure.step)
    other = cube_of(leaning.gross + 1, leaning.measure.step)
    assert read_marks(one) is read_marks(same)
    assert read_marks(one) is not read_marks(other)


def test_a_conversion_that_only_everybody_together_shows_is_seen():
    rng = np.random.default_rng(3)
    pounds = rng.integers(24, 60, 7) / 2  # read to half pounds, written in tenths of a kilogram
    values = pounds[None, :, None] + rng.integers(-1, 2, (8, 7, 2)) / 2
    counts = np.floor(values * 4.5359237 + 0.5).astype(int)
    tenths = Step(Fraction(1, 10), "kg")
    alone = digit_rows(session_of(counts[:2, :6, :1], tenths))
    assert not alone["note"].str.contains("a conversion").any()
    together = digit_rows(session_of(counts, tenths))
    assert together["note"].str.contains("112 readings are what a reading to 1/2 lb gives").all()


def test_measures_have_draws_of_their_own(leaning):
    one = session_of(leaning.gross, EIGHTH)
    frame = one.readings[["measurer", "subject", "measure", "round"]].assign(
        reading=one.readings["written"]
    )
    both = pd.concat([frame, frame.assign(measure="n")])
    settings = {name: {"recorded_to": "1/8 in"} for name in "mn"}
    rows = digit_rows(anthroqa.Session.from_frame(both, measures=settings))
    p = rows[rows["statistic"] == "digit_dissimilarity"].groupby("measure")["p_value"].apply(list)
    assert p["m"] != p["n"]
    assert p["m"] == pytest.approx(p["n"], abs=4 * np.sqrt(0.25 / 1000 * 2))
