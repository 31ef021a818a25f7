"""Every reading against its subject's consensus."""

import numpy as np
import pandas as pd
import pytest
from strategies import as_frame, as_session

import anthroqa
from anthroqa.simulate import draw, nearest


def laid_out(counts) -> dict:
    """People x subjects x rounds as a layout: the reference, then P1, P2 ..."""
    names = ["LEAD", *(f"P{i}" for i in range(1, len(counts)))]
    return {name: block.tolist() for name, block in zip(names, counts, strict=True)}


def drawn(*, bias=(0.0, 0.0, 0.0, 0.0), tem=3.0, subjects=10, seed=5) -> np.ndarray:
    rng = np.random.default_rng(seed)
    true = rng.uniform(600, 900, subjects)
    return nearest(draw(true, tem=[tem] * len(bias), bias=np.array(bias), rng=rng))


def far_of(counts) -> set[tuple[str, str, int]]:
    table = anthroqa.residuals(as_session(laid_out(counts), reference="LEAD"))
    return set(
        table.loc[table["far"], ["measurer", "subject", "round"]].itertuples(index=False, name=None)
    )


def test_the_consensus_is_the_median_of_all_first_readings_of_a_subject():
    session = as_session({"A": [[100, 101]], "B": [[103, 104]], "C": [[150, 102]]})
    table = anthroqa.residuals(session)
    # 100 101 102 103 104 150: the slip of C does not move it
    assert (table["consensus"] == 102.5).all()
    assert table["residual"].tolist() == [-2.5, -1.5, 0.5, 1.5, 47.5, -0.5]
    assert (table["value"] - table["consensus"] == table["residual"]).all()


def test_values_are_in_the_unit_of_the_step():
    session = as_session({"A": [["70.1"]], "B": [["70.4"]]}, recorded_to="0.1 cm")
    table = anthroqa.residuals(session)
    assert table["residual"].tolist() == pytest.approx([-0.15, 0.15])
    assert table["unit"].tolist() == ["cm", "cm"]
    assert table["written"].tolist() == ["70.1", "70.4"]


def test_rows_stand_by_measure_reference_staff_subject_round_and_retake():
    frame = as_frame({"B": [[10, 11], [20, 21]], "A": [[10, 11], [20, 21]]})
    frame = pd.concat([frame.assign(measure="z"), frame.assign(measure="a")], ignore_index=True)
    again = frame.iloc[[0]].assign(reading="12", retake="1")
    frame = pd.concat([again, frame.assign(retake="")]).sample(frac=1, random_state=3)
    session = anthroqa.Session.from_frame(
        frame, measures={"z": {"recorded_to": "1 mm"}, "a": {"recorded_to": "1 mm"}}, reference="B"
    )
    table = anthroqa.residuals(session)
    assert list(table.columns) == [
        "measure", "measurer", "subject", "round", "retake", "written", "value", "consensus",
        "residual", "unit", "far",
    ]  # fmt: skip
    keys = table[["measure", "measurer", "subject", "round", "retake"]]
    expected = [
        (m, p, s, k, r)
        for m in ("z", "a") for p in ("B", "A") for s in ("S1", "S2") for k in (1, 2)
        for r in ((0, 1) if (m, p, s, k) == ("z", "B", "S1", 1) else (0,))
    ]  # fmt: skip
    assert list(keys.itertuples(index=False, name=None)) == expected


def test_a_retake_has_a_row_but_no_part_in_the_consensus_or_the_usual_distance():
    frame = as_frame(laid_out(drawn()))
    again = frame.iloc[[20]].assign(reading="990", retake="1")
    plain = anthroqa.residuals(as_session(frame))
    both = anthroqa.residuals(as_session(pd.concat([frame.assign(retake=""), again])))
    assert len(both) == len(plain) + 1
    firsts = both[both["retake"] == 0].reset_index(drop=True)
    pd.testing.assert_frame_equal(firsts, plain)
    assert both.loc[both["retake"] == 1, "far"].tolist() == [True]


def test_a_lone_reader_has_no_consensus_and_is_never_far():
    session = as_session({"A": [[100, 400], [50, 50]], "B": [[None, None], [51, 50]]})
    table = anthroqa.residuals(session)
    alone = table["subject"] == "S1"
    assert table.loc[alone, "consensus"].isna().all()
    assert table.loc[alone, "residual"].isna().all()
    assert not table.loc[alone, "far"].any()
    assert table.loc[~alone, "consensus"].notna().all()
    assert table["far"].dtype == bool


def test_a_planted_slip_is_far():
    assert far_of(drawn(seed=1)) == set()
    for seed in range(20):
        counts = drawn(seed=seed)
        counts[2, 4, 1] += 100
        assert ("P2", "S5", 2) in far_of(counts)


def test_readings_of_two_subjects_exchanged_are_both_far():
    counts = drawn(seed=3)
    counts[1, 2, 0], counts[1, 7, 0] = counts[1, 7, 0], counts[1, 2, 0]
    assert abs(counts[1, 2, 0] - counts[1, 7, 0]) > 40
    assert far_of(counts) == {("P1", "S3", 1), ("P1", "S8", 1)}


def test_a_persons_constant_bias_is_not_far():
    for seed in range(10):
        biased = far_of(drawn(bias=(0, 0, 60.0, 0), seed=seed))
        assert "P2" not in {p for p, _, _ in biased}


def test_a_slip_of_a_biased_person_is_still_far():
    counts = drawn(bias=(0, 0, 60.0, 0))
    counts[2, 4, 1] -= 100
    assert ("P2", "S5", 2) in far_of(counts)


def test_readings_that_nearly_all_agree_are_not_far_by_a_step_or_two():
    people = {p: [[k, k] for k in range(100, 110)] for p in ("A", "B", "C")}
    people["B"][4] = [106, 104]  # two steps off where everything else agrees
    table = anthroqa.residuals(as_session(people))
    assert not table["far"].any()
    people["B"][4] = [107, 104]  # more than four times half a step
    table = anthroqa.residuals(as_session(people))
    assert table.loc[table["far"], "value"].tolist() == [107]


def test_a_person_who_scatters_widely_is_not_far_for_that_alone():
    # The spread is the larger of one's own and everybody's.
    rng = np.random.default_rng(11)
    tem = np.array([3.0, 3.0, 12.0, 3.0])
    found = [
        p
        for _ in range(20)
        for p, _, _ in far_of(nearest(draw(rng.uniform(600, 900, 10), tem=tem, rng=rng)))
    ]
    assert len(found) <= 0.01 * 20 * 80


def test_residuals_leave_the_session_as_it_was():
    session = as_session({"A": [[100, 101]], "B": [[103, 104]]})
    before = session.readings.copy()
    anthroqa.residuals(session)
    pd.testing.assert_frame_equal(session.readings, before)
