"""Rows of the variance components: estimates, reasons for blanks, and what must not move them."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from layouts import drawn
from strategies import as_frame, as_session, figures_of

import anthroqa
from anthroqa.scores.components.crossed import NAMES

BETWEEN = [n for n in NAMES if n not in ("sd_repeat", "sd_instrument")]
TWO_BY_TWO = {"A": [[700, 701], [751, 750]], "B": [[706, 707], [757, 756]]}


def rows(readings, **session):
    return figures_of(readings, only=NAMES, **session).loc["(all)"]


def frame_of(x, person, subject, turn, **columns) -> pd.DataFrame:
    return pd.DataFrame({
        "measurer": "P" + pd.Series(person).astype(str), "measure": "length",
        "subject": "S" + pd.Series(subject).astype(str), "round": turn + 1, "reading": x, **columns,
    }).astype({"reading": str})  # fmt: skip


def some(seed=3, **layout) -> pd.DataFrame:
    return frame_of(*drawn(np.random.default_rng(seed), **layout))


def test_the_rows_by_hand():
    # As worked in test_reml.py: subjects 4999.5 / 4, measurers 71.5 / 4, repeat 0.5, and
    # measurer with subject (0 - 2/3) / 2 taken as zero.
    table = rows(TWO_BY_TWO)
    estimates = table["estimate"]
    assert estimates["sd_subject"] == pytest.approx((4999.5 / 4) ** 0.5)
    assert estimates["sd_measurer"] == pytest.approx((71.5 / 4) ** 0.5)
    assert estimates["sd_measurer_subject"] == 0
    assert estimates["sd_repeat"] == pytest.approx(0.5**0.5)
    assert estimates["sd_reproducibility"] == pytest.approx((71.5 / 4 + 0.5) ** 0.5)
    assert estimates["icc_agreement"] == pytest.approx(4999.5 / (4999.5 + 71.5 + 2))
    assert estimates["icc_consistency"] == pytest.approx(4999.5 / (4999.5 + 2))
    assert table["note"]["sd_measurer_subject"] == ("estimated variance -0.333 mm²: taken as zero")
    assert table["df"][["sd_subject", "sd_measurer", "sd_measurer_subject", "sd_repeat"]].tolist() \
        == [1, 1, 1, 3]  # fmt: skip
    assert set(table["subjects"]) == {2}
    assert set(table["readings"]) == {8}
    assert table["unit"].tolist() == ["mm"] * 6 + ["share"] * 2
    there = table.drop("sd_instrument")
    assert (there["lower"] <= there["estimate"]).all()
    assert (there["estimate"] <= there["upper"]).all()
    assert there["upper"]["sd_measurer_subject"] > 0


def test_spreads_are_in_the_unit_of_the_step():
    in_tenths = {p: [[f"{x / 10}" for x in k] for k in s] for p, s in TWO_BY_TWO.items()}
    table, whole = rows(in_tenths, recorded_to="0.1 cm"), rows(TWO_BY_TWO)
    assert set(table["unit"][:6]) == {"cm"}
    for column in ("estimate", "lower", "upper"):
        one, other = table[column].to_numpy(float), whole[column].to_numpy(float)
        assert one[:6] == pytest.approx(other[:6] / 10, nan_ok=True)
        assert one[6:] == pytest.approx(other[6:])
    assert "-0.00333 cm²" in table["note"]["sd_measurer_subject"]


def test_the_reference_is_left_out():
    table = rows({"LEAD": [[100, 900], [5, 77]], **TWO_BY_TWO}, reference="LEAD")
    pd.testing.assert_series_equal(table["estimate"], rows(TWO_BY_TWO)["estimate"])


def test_correlations_say_which_they_are():
    table = rows(TWO_BY_TWO)
    assert table["note"]["icc_agreement"].startswith("ICC(A,1): one reading")
    assert table["note"]["icc_consistency"].startswith("ICC(C,1): one reading")


@settings(max_examples=25)
@given(st.integers(0, 10**6), st.lists(st.integers(-200, 200), min_size=6, max_size=6))
def test_where_a_subject_lies_does_not_move_the_errors(seed, by):
    frame = some(seed, staff=4, subjects=6, missing=0.1)
    moved = frame.copy()
    add = np.array(by)[frame["subject"].str[1:].astype(int)]
    moved["reading"] = (frame["reading"].astype(int) + add).astype(str)
    names = ["sd_measurer", "sd_measurer_subject", "sd_repeat"]
    before, after = rows(frame).loc[names], rows(moved).loc[names]
    # subjects are random: how far they lie apart tells a little where cells are missing
    assert before["df"].tolist() == after["df"].tolist()
    for end in ("lower", "upper"):
        assert after[end].to_numpy() == pytest.approx(before[end].to_numpy(), abs=0.4, rel=0.15)
    if len(frame) == 48:
        assert after["estimate"].to_numpy() == pytest.approx(
            before["estimate"].to_numpy(), abs=1e-3
        )


@settings(max_examples=25)
@given(st.integers(0, 10**6), st.booleans())
def test_a_shift_between_rounds_moves_nothing(seed, broken):
    frame = some(seed, staff=4, subjects=6, rounds=3, missing=0.1 * broken)
    later = frame["round"] > 1
    moved = frame.assign(reading=(frame["reading"].astype(int) + 50 * later).astype(str))
    one, other = rows(frame), rows(moved)
    for column in ("estimate", "lower", "upper"):
        assert other[column].to_numpy(float) == pytest.approx(
            one[column].to_numpy(float), rel=1e-4, abs=1e-4, nan_ok=True
        )


@settings(max_examples=25)
@given(st.integers(0, 10**6), st.integers(2, 9))
def test_figures_scale_with_the_readings(seed, by):
    frame = some(seed, staff=4, subjects=6, missing=0.1)
    more = frame.assign(reading=(by * frame["reading"].astype(int)).astype(str))
    one, other = rows(frame), rows(more)
    scale = np.where(one["unit"] == "share", 1, by)
    for column in ("estimate", "lower", "upper"):
        assert other[column].to_numpy(float) == pytest.approx(
            scale * one[column].to_numpy(float), rel=1e-3, abs=1e-3, nan_ok=True
        )


@settings(max_examples=25)
@given(st.integers(0, 10**6), st.permutations(range(4)), st.booleans())
def test_what_people_are_called_does_not_matter(seed, order, broken):
    frame = some(seed, staff=4, subjects=6, missing=0.1 * broken)
    names = {f"P{i}": f"Q{j}" for i, j in enumerate(order)}
    one, other = rows(frame), rows(frame.assign(measurer=frame["measurer"].map(names)))
    assert other["estimate"].to_numpy(float) == pytest.approx(
        one["estimate"].to_numpy(float), rel=1e-4, abs=1e-3, nan_ok=True
    )
    # with cells missing, people whose contrasts are equally well known may be told apart in
    # more than one way: the draws are then others, as with another seed
    for column in ("lower", "upper"):
        ends = one[column].to_numpy(float)
        noise = 1e-4 * np.abs(ends)
        if broken:
            drawn_again = [
                anthroqa.score(as_session(frame), only=NAMES, seed=seed)
                .set_index(["measurer", "statistic"]).loc["(all)"][column].to_numpy(float)
                for seed in range(12)
            ]  # fmt: skip
            noise = noise + 4 * np.sqrt(2) * np.std(drawn_again, axis=0, ddof=1)
        moved = np.abs(other[column].to_numpy(float) - ends)
        assert (np.isnan(ends) | (moved <= noise + 1e-3)).all(), (column, moved, noise)


def test_groups_are_pooled_and_what_they_differ_by_is_nobodys():
    # Two groups that differ by 300 in level and in their shift between rounds.
    x, person, subject, turn = drawn(
        np.random.default_rng(4), staff=6, subjects=12, sd=(20, 5, 0, 2)
    )
    keep = (person < 3) == (subject < 6)
    x = x + np.where(subject < 6, 300, 0) + np.where((subject < 6) & (turn == 1), 40, 0)
    table = rows(frame_of(x[keep], person[keep], subject[keep], turn[keep]))
    assert table["df"]["sd_measurer"] == 4  # two means of groups are taken out
    assert table["df"]["sd_subject"] == 10
    assert table["df"]["sd_repeat"] == 36 - 2
    assert table["estimate"]["sd_subject"] < 60
    assert table["estimate"]["sd_repeat"] < 3


def test_somebody_alone_in_a_group_counts_for_the_repeat_error_only():
    alone = as_frame({"Z": [[None, None]] * 2 + [[300, 301], [340, 343], [350, 350]]})
    frame = pd.concat([as_frame(TWO_BY_TWO), alone])
    table, without = rows(frame), rows(TWO_BY_TWO)
    assert table["df"]["sd_measurer"] == without["df"]["sd_measurer"] == 1
    assert table["df"]["sd_measurer_subject"] == without["df"]["sd_measurer_subject"]
    assert table["df"]["sd_repeat"] == 3 + 2
    assert table["estimate"]["sd_measurer"] == pytest.approx(
        without["estimate"]["sd_measurer"], rel=0.01
    )


@pytest.mark.parametrize(
    ("readings", "why", "named"),
    [
        ({"A": [[1, 2], [3, 5]]}, "one person only: let two or more", BETWEEN),
        ({"A": [[1, 2]], "B": [[3, 5]]}, "one subject only: let everybody measure two", BETWEEN),
        ({"A": [[1, 2], [3, 3], [None, None], [None, None]],
          "B": [[None, None], [None, None], [5, 7], [8, 8]]},
         "no two staff measured the same subject: let them share", BETWEEN),
        ({"A": [[1, 2], [3, 9]], "B": [[2, 3], [None, None]]},
         "too few subjects in common", BETWEEN),
        ({"A": [[1], [5], [9]], "B": [[2], [4], [12]]},
         "nobody read a subject twice", ["sd_repeat", "sd_measurer_subject"]),
        ({"A": [[1, 2], [5, None], [9, None]], "B": [[2, None], [4, None], [7, None]],
          "C": [[3, None], [9, None], [8, None]]},
         "too few second readings", ["sd_repeat", "sd_measurer_subject"]),
        ({"A": [[1, 2], [5, 4]], "B": [[2, 9], [4, 3]]},
         "the readings do not say which instrument", ["sd_instrument"]),
    ],
)  # fmt: skip
def test_what_cannot_be_had_is_blank_and_says_what_would_help(readings, why, named):
    table = rows(readings)
    for name in named:
        assert np.isnan(table["estimate"][name])
        assert np.isnan(table["lower"][name])
        assert table["note"][name].startswith(why), name
    for name in set(NAMES) - set(named) - {"sd_instrument"}:
        assert table["estimate"][name] >= 0, name


def test_a_model_that_does_not_settle_says_so(monkeypatch):
    monkeypatch.setattr("anthroqa.scores.components.likelihood._STEPS", 0)
    table = rows(some())
    for name in BETWEEN:
        assert np.isnan(table["estimate"][name])
        assert table["note"][name].startswith("the model did not settle on these readings: add")


def test_nobody_but_the_reference():
    table = rows({"LEAD": [[1, 2]]}, reference="LEAD")
    assert set(table["note"]) == {"nobody but the reference read this"}
    assert table["estimate"].isna().all()


def test_equal_repeats_do_not_show_that_there_is_no_error():
    table = rows({"A": [[700, 700], [751, 751]], "B": [[706, 706], [755, 755]]})
    assert table["estimate"]["sd_repeat"] == 0
    assert np.isnan(table["upper"]["sd_repeat"])
    assert "the step hides the repeat error" in table["note"]["sd_repeat"]
    # one contrast of each: ((6 - 4) / 2)^2 for both together
    assert table["estimate"]["sd_measurer_subject"] == pytest.approx(1)
    nothing = rows({"A": [[700], [751]], "B": [[706], [757]]})
    assert np.isnan(nothing["upper"]["sd_measurer"])
    assert nothing["note"]["sd_measurer"] == "no error is seen at this step: no interval"
    assert nothing["estimate"]["sd_measurer"] == pytest.approx(18**0.5)


def on_instruments(choose, seed=5, apart=(0, 40), **layout):
    """Readings on an instrument chosen by (person, subject, round), each with its own error."""
    x, person, subject, turn = drawn(np.random.default_rng(seed), sd=(20, 3, 1, 2), **layout)
    on = np.array([choose(*who) for who in zip(person, subject, turn, strict=True)])
    x = x + np.array(apart)[on]
    return frame_of(x, person, subject, turn, instrument=[f"I{i}" for i in on])


@pytest.mark.parametrize(
    ("choose", "why"),
    [
        (lambda p, s, k: 0, "one instrument only: let the staff measure some subjects on a second"),
        (lambda p, s, k: p % 2, "each person used one instrument: staff and instruments cannot"),
        (lambda p, s, k: s % 2, "instruments changed only together with subjects, rounds or staff"),
        (lambda p, s, k: k, "instruments changed only together with subjects, rounds or staff"),
    ],
)
def test_instruments_that_cannot_be_told_apart_say_so(choose, why):
    table = rows(on_instruments(choose))
    assert np.isnan(table["estimate"]["sd_instrument"])
    assert table["note"]["sd_instrument"].startswith(why)


def test_staff_on_their_own_instruments_hold_what_these_differ_by():
    table = rows(on_instruments(lambda p, s, k: p % 2))
    assert "holds what the instruments of these staff differ by" in table["note"]["sd_measurer"]
    assert table["estimate"]["sd_measurer"] > 15
    clear = rows(on_instruments(lambda p, s, k: 0))
    assert clear["note"]["sd_measurer"] == ""


@pytest.mark.parametrize(
    "choose",
    [lambda p, s, k: (p + s) % 2, lambda p, s, k: (p + s + k) % 2],
    ids=["between cells", "within cells"],
)
def test_instruments_that_staff_and_subjects_met_are_told_apart(choose):
    table = rows(on_instruments(choose))
    # two instruments 40 apart: the SD of two is 40 / sqrt 2
    assert table["estimate"]["sd_instrument"] == pytest.approx(40 / 2**0.5, rel=0.1)
    assert table["df"]["sd_instrument"] == 1
    assert table["lower"]["sd_instrument"] > 0
    assert table["upper"]["sd_instrument"] > 100  # one difference says little of many
    assert table["estimate"]["sd_measurer"] < 8
    assert table["estimate"]["sd_repeat"] < 4
    assert table["note"]["sd_measurer"] == ""


def test_instruments_that_hardly_differ_may_not_differ():
    table = rows(on_instruments(lambda p, s, k: (p + s) % 2, seed=3, apart=(0, 1)))
    assert table["lower"]["sd_instrument"] == 0
    assert 0 < table["estimate"]["sd_instrument"] < 1


def test_an_interval_is_the_same_for_the_same_seed_and_each_seed_has_its_own():
    session = as_session(some())
    one, same = (anthroqa.score(session, only=NAMES, seed=3) for _ in range(2))
    pd.testing.assert_frame_equal(one, same)
    other = anthroqa.score(session, only=NAMES, seed=4)
    assert (one["estimate"].dropna() == other["estimate"].dropna()).all()
    assert (one["lower"] != other["lower"])[one["lower"].notna()].any()
    # quiet: seeds differ by little beside the interval's width
    assert other["upper"].to_numpy(float) == pytest.approx(
        one["upper"].to_numpy(float), rel=0.05, nan_ok=True
    )


def test_a_broken_session_settles_and_holds_the_truth():
    frame = some(staff=7, subjects=12, missing=0.0, sd=(40, 4, 2, 3))
    frame = frame[~((frame["subject"] == "S11") & frame["measurer"].isin(["P4", "P5", "P6"]))]
    frame = frame[(frame["measurer"] != "P2") | (frame["round"] == 1)]
    table = rows(frame)
    for name, truth in (("sd_measurer", 4), ("sd_measurer_subject", 2), ("sd_repeat", 3)):
        assert table["lower"][name] < truth < table["upper"][name]


@settings(max_examples=40)
@given(st.integers(0, 10**6), st.integers(1, 4), st.integers(1, 4), st.integers(1, 3),
       st.sampled_from([0.0, 0.3, 0.6]), st.sampled_from([0.2, 3.0]))  # fmt: skip
def test_whatever_is_missing_a_figure_is_there_or_its_reason(
    seed, staff, subjects, rounds, missing, error
):
    frame = some(seed, staff=staff, subjects=subjects, rounds=rounds, missing=missing,
                 sd=(20, error, error, error))  # fmt: skip
    assume(len(frame))
    table = rows(frame)
    assert list(table.index) == list(NAMES)
    blank = table["estimate"].isna() | table["lower"].isna()
    assert (table["note"][blank] != "").all()
    there = table[~blank]
    assert (there["lower"] <= there["estimate"]).all()
    assert (there["estimate"] <= there["upper"]).all()
    assert (there["lower"] >= 0).all()
    assert (there["upper"][there["unit"] == "share"] <= 1).all()


def test_a_frame_of_one_child_dropped_still_counts_everybody():
    table = rows(as_frame({**TWO_BY_TWO, "C": [[703, 704], [None, None]]}))
    assert table["df"]["sd_measurer"] == 2
    assert table["readings"]["sd_measurer"] == 10
