"""What a drill finds: planted readers, what cannot be had, and how often it is right."""

import math
import tomllib
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from calibration.drill import drills, study

import anthroqa
from anthroqa.notes.scores.marks import Drill
from anthroqa.scores.drill import read_back
from anthroqa.scores.drill.read_back import (
    HALF_HIGH,
    HALF_LOW,
    HIGH,
    LOW,
    NEAREST,
    WRONG_SIDE,
)
from anthroqa.simulate.drills import Reader, read, settings

SHARED = str(Drill.SHARED_DISPLACEMENT)
FINDINGS = {
    0.0: NEAREST,
    -0.5: HALF_LOW,
    0.5: HALF_HIGH,
    -1.0: LOW,
}
COLUMNS = [
    "measure", "measurer", "mark", "mark_steps", "shift", "lower", "upper", "margin", "error",
    "settings", "finding", "note",
]  # fmt: skip


def session_of(counts, true, *, recorded_to="1/8 in", rounds=1, **columns):
    """A drill of people (rows of `counts`, in steps) on the same settings (steps)."""
    counts = np.asarray(counts)
    n = len(true)
    codes = [f"S{i}" for i in range(n)]
    frame = pd.DataFrame({"measurer": "P", "subject": "S", "measure": "m", "round": [1],
                          "reading": "0"})  # fmt: skip
    empty = anthroqa.Session.from_frame(frame, measures={"m": {"recorded_to": recorded_to}})
    person, at = np.indices(counts.shape).reshape(2, -1)
    readings = pd.DataFrame({
        "measurer": [f"P{i}" for i in person], "subject": [codes[a % n] for a in at],
        "measure": "m", "round": at // n + 1, "count": counts.ravel(), "written": "", **columns,
    })  # fmt: skip
    known = pd.DataFrame({"subject": codes, "measure": "m", "true": "", "steps": np.asarray(true)})
    return replace(empty, exercise="drill", readings=readings, true_values=known)


def found_of(counts, true, **options):
    return read_back.marks(session_of(counts, true, **options)).set_index("measurer")


@pytest.fixture
def true():
    """24 settings in eighths of an inch, spread over the inch."""
    step = anthroqa.intake.Step(Fraction(1, 8), "in")
    rng = np.random.default_rng(4)
    return [float(a / step.size) for a in settings(step, 8, low=18, high=38, rng=rng)]


@pytest.fixture(scope="module")
def sample(request):
    folder = request.config.rootpath / "sample_sessions" / "marks_drill"
    truth = tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8"))
    return anthroqa.read_session(folder), truth


def test_what_was_planted_in_the_sample_is_found_and_nobody_is_wrongly_named(sample):
    session, truth = sample
    marks = read_back.marks(session)
    assert list(marks.columns) == COLUMNS
    assert len(truth["reader"]) == len(marks) == 18
    rows = marks.set_index(["measure", "measurer"])
    wrong = []
    for planted in truth["reader"]:
        row = rows.loc[planted["measure"], planted["measurer"]]
        wanted = WRONG_SIDE if planted["wrong_side"] else FINDINGS[planted["shift"]]
        if planted["error"] > 1:
            wanted = read_back.UNDECIDED
        assert row["mark"] == planted["mark"]
        assert row["lower"] <= planted["shift"] <= row["upper"]
        assert row["margin"] > math.log(20)
        if row["finding"] != wanted:
            wrong.append((planted["measure"], planted["measurer"], row["finding"]))
    assert wrong == []
    assert not marks["note"].str.contains(SHARED).any()
    counts = marks["finding"].value_counts()
    assert counts.to_dict() == {
        NEAREST: 10, HALF_LOW: 2, HALF_HIGH: 2, LOW: 1,
        WRONG_SIDE: 1, read_back.UNDECIDED: 2,
    }  # fmt: skip


def test_rounding_shift_is_that_of_the_table_of_marks(sample):
    session, _ = sample
    scores = anthroqa.score(session, only=["rounding_shift"], confidence=0.8)
    marks = read_back.marks(session, confidence=0.8)
    for score, mark in (("estimate", "shift"), ("lower", "lower"), ("upper", "upper")):
        pd.testing.assert_series_equal(scores[score], marks[mark], check_names=False)
    assert set(scores["unit"]) == {"steps"}
    assert set(scores["subjects"]) == {24}
    assert scores["note"].tolist() == marks["note"].tolist()
    assert scores.loc[2, "note"] == "reads the 1/2 in marks only, to the nearest"
    wider = read_back.marks(session, confidence=0.95)
    assert ((wider["upper"] - wider["lower"]) > (marks["upper"] - marks["lower"])).all()


def test_a_session_that_is_no_drill_has_no_rounding_shift(request):
    session = anthroqa.read_session(request.config.rootpath / "sample_sessions/outreach_metric")
    assert anthroqa.score(session, only=["rounding_shift"]).empty
    with pytest.raises(ValueError, match='outreach_metric: a drill has exercise = "drill"'):
        read_back.marks(session)


def test_an_impossible_confidence_is_refused(sample):
    with pytest.raises(ValueError, match="between 0 and 1, not 90"):
        read_back.marks(sample[0], confidence=90)


@pytest.mark.parametrize(
    ("reader", "mark", "finding", "words"),
    [
        (Reader(error=0.1), "1/8 in", NEAREST, "reads the 1/8 in marks to the nearest"),
        (Reader(shift=-0.5, error=0.1), "1/8 in", HALF_LOW,
         "half a mark low (rounding down, or an offset of that size: one instrument cannot"),
        (Reader(shift=0.5, error=0.1), "1/8 in", HALF_HIGH, "half a mark high (rounding up"),
        (Reader(shift=1, error=0.1), "1/8 in", HIGH, "displaced high (the place of the eye"),
        (Reader(shift=-8, error=0.1), "1/8 in", LOW, "displaced low (the place of the eye"),
        (Reader(mark=2, error=0.1), "1/4 in", NEAREST, "the 1/4 in marks only, to the near"),
        (Reader(mark=8, error=0.1), "1 in", NEAREST, "the 1 in marks only, to the nearest"),
        (Reader(mark=4, shift=-0.5, error=0.1), "1/2 in", HALF_LOW, "only, half a mark low"),
        (Reader(backwards=True, error=0.1), "1/8 in", WRONG_SIDE,
         "counts the 1/8 in marks from the wrong side of the whole mark"),
        (Reader(mark=2, backwards=True, error=0.1), "1/4 in", WRONG_SIDE,
         "counts the 1/4 in marks only, from the wrong side of the whole mark"),
    ],
)  # fmt: skip
def test_each_way_of_reading_is_named_and_said_in_words(true, reader, mark, finding, words):
    counts = read(true, reader, 8, rng=np.random.default_rng(1))
    row = found_of([counts], true).loc["P0"]
    assert (row["mark"], row["finding"]) == (mark, finding)
    assert row["mark_steps"] == reader.mark
    assert row["lower"] <= reader.shift <= row["upper"]
    assert words in row["note"]


def test_rounding_down_exactly_is_half_a_mark_low(true):
    row = found_of([np.floor(true).astype(int)], true).loc["P0"]
    assert row["finding"] == HALF_LOW
    assert row["shift"] == pytest.approx(-0.5, abs=0.1)
    assert row["error"] < 0.1


def test_the_displacement_of_coarse_marks_is_in_those_marks(true):
    counts = read(true, Reader(mark=4, shift=0.5, error=0.1), 8, rng=np.random.default_rng(2))
    one, moved = (found_of([counts + by], true).loc["P0"] for by in (0, 4))
    assert one["shift"] == pytest.approx(0.5, abs=0.1)
    assert moved["shift"] == pytest.approx(one["shift"] + 1)


def test_two_rounds_are_more_readings_of_the_same_settings(true):
    rng = np.random.default_rng(8)
    rounds = np.concatenate([read(true, Reader(error=0.3), 8, rng=rng) for _ in range(2)])
    both = session_of([rounds], true)
    scores = anthroqa.score(both, only=["rounding_shift"]).iloc[0]
    assert (scores["subjects"], scores["readings"]) == (24, 48)
    first = anthroqa.score(session_of([rounds[:24]], true), only=["rounding_shift"]).iloc[0]
    assert scores["upper"] - scores["lower"] < first["upper"] - first["lower"]


def blank(row):
    return row["mark"] == "" and row["mark_steps"] is pd.NA and row[["shift", "lower"]].isna().all()


def test_under_six_settings_nobody_is_judged(true):
    row = found_of([np.round(true[:5]).astype(int)], true[:5]).loc["P0"]
    assert row["finding"] == read_back.NOT_JUDGED
    assert blank(row)
    assert row["note"] == "settings read: 5, and 6 are the least to judge by"


def test_settings_on_steps_show_no_displacement():
    on_steps = np.arange(200.0, 224.0)
    on_steps[:5] += 0.3
    row = found_of([np.round(on_steps).astype(int)], on_steps).loc["P0"]
    assert row["finding"] == read_back.NOT_JUDGED
    assert blank(row)
    assert row["note"].startswith("settings between two steps: 5 of 24, and 6 are the least")
    on_steps[5] += 0.3
    assert found_of([np.round(on_steps).astype(int)], on_steps).loc["P0", "finding"] != row.finding


def test_equal_readings_tell_no_mark_from_another(true):
    row = found_of([np.full(24, 200)], true).loc["P0"]
    assert row["finding"] == read_back.NOT_JUDGED
    assert row["note"] == "all readings are equal: no mark can be told from another"


def test_a_mark_that_is_not_ahead_is_not_named():
    true = np.array([200.2, 202.3, 204.1, 206.2, 207.8, 210.3, 212.1])
    row = found_of([np.round(true).astype(int)], true).loc["P0"]  # all but one even
    assert row["finding"] == read_back.UNDECIDED
    assert blank(row)
    assert 0 <= row["margin"] < math.log(20)
    one, other = "1/8 in", "1/4 in"
    said = "the mark is not settled: {} is 1.0 times as likely as {}"
    assert row["note"] in (said.format(one, other), said.format(other, one))


def test_a_step_without_a_whole_mark_gets_its_displacement_and_says_so(true):
    counts = [np.round(true).astype(int)]
    row = found_of(counts, true, recorded_to="3 mm").loc["P0"]  # 10 mm is no whole number of them
    assert (row["mark"], row["finding"]) == ("3 mm", NEAREST)
    assert math.isnan(row["margin"])
    assert row["note"].endswith("; no coarser mark is known: give whole_mark to compare")


def test_converted_and_tared_readings_are_left_out_and_counted(true):
    counts = np.round(true).astype(int)
    tare = np.where(np.arange(24) < 3, 5, 0)
    converted = np.arange(24) == 23
    session = session_of([counts - tare], true, count_read=counts, count_tare=tare)
    session.readings["converted"] = converted
    row = anthroqa.score(session, only=["rounding_shift"]).iloc[0]
    assert row["readings"] == 20
    assert row["note"].endswith("; readings left out (converted or tared): 4")


def test_retakes_are_in_no_figure(true):
    counts = np.round(true).astype(int)
    session = session_of([np.r_[counts, counts + 40]], true)
    session.readings["round"] = 1
    session.readings["retake"] = pd.array([pd.NA] * 24 + [1] * 24, dtype="Int64")
    row = anthroqa.score(session, only=["rounding_shift"]).iloc[0]
    assert row["readings"] == 24
    assert len(read_back.readings(session)) == 24


def test_a_displacement_that_nearly_everybody_shares_may_be_the_instruments(true):
    rng = np.random.default_rng(3)
    low = [read(true, Reader(shift=-0.5, error=0.1), 8, rng=rng) for _ in range(3)]
    clean = read(true, Reader(error=0.1), 8, rng=rng)
    table = found_of([*low, clean], true)
    assert table["note"].str.contains(SHARED).tolist() == [True, True, True, False]
    two = found_of(low[:2], true)
    assert not two["note"].str.contains(SHARED).any()
    apart = found_of(
        [*low, clean, clean], true, instrument=np.repeat(["A", "A", "A", "B", "B"], 24)
    )
    assert apart["note"].str.contains(SHARED).tolist() == [True, True, True, False, False]


def test_readings_stand_beside_what_was_set_and_doubtful_settings_are_marked(sample):
    session, _ = sample
    table = read_back.readings(session)
    assert len(table) == 432
    row = table.query("measurer == 'R2' and subject == 'B01'").iloc[0]
    inches = float(row["true"].removesuffix(" in"))
    assert row["set"] == pytest.approx(inches * 8)
    assert row["difference"] == row["count"] - row["set"]
    assert not table["doubtful"].any()
    moved = session.true_values.copy()
    moved.loc[moved["subject"] == "W06", "steps"] += 4  # a whole pound
    found = read_back.readings(replace(session, true_values=moved))
    assert set(found.loc[found["doubtful"], "subject"]) == {"W06"}


def test_one_wrong_setting_does_not_change_what_is_found(sample):
    session, _ = sample
    moved = session.true_values.copy()
    moved.loc[moved["subject"] == "B06", "steps"] += 80
    before, after = read_back.marks(session), read_back.marks(replace(session, true_values=moved))
    assert before["mark"].tolist() == after["mark"].tolist()
    settled = before["finding"] != read_back.UNDECIDED
    assert (before["finding"] == after["finding"])[settled].mean() >= 0.9


# the study of `tests/calibration/drill.py` made short: 43 habits, so many drills of each
DRILLS = 20


@pytest.fixture(scope="module")
def short_study():
    return study(DRILLS, 20261104)


def test_mark_and_displacement_are_right_in_nine_drills_of_ten(short_study):
    assert len(short_study) == 43
    for right in short_study["right"]:
        assert right >= 0.90 - 4 * math.sqrt(0.9 * 0.1 / DRILLS)
    n = int(short_study["drills"].sum())
    assert short_study["right"].mean() >= 0.90 + 4 * math.sqrt(0.9 * 0.1 / n)  # and more overall


def test_another_mark_or_displacement_is_named_in_one_drill_of_twenty_at_most(short_study):
    for wrong in short_study["wrong"]:
        assert wrong <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / DRILLS)
    n = int(short_study["drills"].sum())
    assert short_study["wrong"].mean() <= 0.05 - 4 * math.sqrt(0.05 * 0.95 / n)


def test_intervals_of_the_displacement_cover(short_study):
    n = short_study["judged"].sum()
    covered = (short_study["covered"] * short_study["judged"]).sum() / n
    assert covered >= 0.90 - 0.03 + 4 * math.sqrt(0.87 * 0.13 / n)  # surely over nominal less 3


def test_with_six_settings_another_mark_is_hardly_ever_named():
    rng = np.random.default_rng(20261105)
    n = 120
    session = drills("beam", Reader(error=0.6), n, rng, n_settings=9)
    found = read_back.marks(session)
    named = found["mark"] != ""
    assert named.mean() > 0.5
    assert (named & (found["mark"] != "1/4 lb")).mean() <= 0.05
