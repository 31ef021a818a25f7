"""Readings laid out by person, subject and round."""

import numpy as np
import pandas as pd
import pytest
from strategies import as_frame, as_session

from anthroqa.scores.layout.cube import cubes


def cube_of(readings, **session):
    (cube,) = cubes(as_session(readings, **session))
    return cube


def test_people_are_the_reference_then_staff_by_code():
    layout = {p: [[1]] for p in ("b", "a", "REF", "A1")}
    assert cube_of(layout, reference="REF").people == ["REF", "A1", "a", "b"]
    plain = cube_of(layout)
    assert plain.people == sorted(layout)
    assert plain.staff.all()
    assert not plain.referenced


def test_counts_are_shifted_so_that_the_least_is_zero():
    cube = cube_of({"A": [["70.3", "70.5"]], "B": [["71.0", None]]}, recorded_to="0.1 cm")
    assert cube.shift == 703
    assert cube.x.tolist() == [[[0, 2]], [[7, 0]]]
    assert cube.seen.tolist() == [[[True, True]], [[True, False]]]
    assert cube.size == 0.1


def test_retakes_and_missing_readings_are_not_seen():
    frame = as_frame({"A": [[10, 12]], "B": [[11, 10]]})
    again = frame.iloc[[0]].assign(reading="99", retake="1")
    gone = frame.iloc[[1]].assign(reading="")
    cube = cube_of(pd.concat([frame.iloc[[0, 2, 3]], again, gone]))
    assert cube.x.max() == 1
    assert cube.repeats.tolist() == [[1], [2]]


def test_the_mean_of_others_leaves_out_self_and_the_reference():
    cube = cube_of({"LEAD": [[100]], "A": [[0]], "B": [[6]], "C": [[9]]}, reference="LEAD")
    mean, n = cube.others(cube.x, cube.seen)
    assert mean[:, 0, 0].tolist() == [5, 7.5, 4.5, 3]
    assert n[:, 0, 0].tolist() == [3, 2, 2, 2]
    alone, none = cube.others(cube.x, cube.seen & False)
    assert np.isnan(alone).all()
    assert (none == 0).all()


def test_rounds_are_compared_with_round_1_where_both_were_read():
    difference, both = cube_of({"A": [[5, 7], [None, 8], [4, None]]}).from_first()
    assert difference[0, :, 1].tolist() == [2, 0, 0]
    assert both[0, :, 1].tolist() == [True, False, False]


def test_without_round_1_nothing_can_be_compared():
    assert cube_of({"A": [[None, 7, 8]]}).from_first() is None


@pytest.mark.parametrize("order", [("A", "B", "C", "D"), ("D", "C", "B", "A")])
def test_subjects_are_grouped_by_the_staff_who_tie_them(order):
    # A ties S1 and S4, B ties S4 and S2; C has S3 and S5, D nothing new
    read = {"A": {1, 4}, "B": {4, 2}, "C": {3, 5}, "D": {5}}
    frame = pd.DataFrame([
        {"measurer": p, "subject": f"S{s}", "measure": "length", "round": 1, "reading": "10"}
        for p in order for s in read[p]
    ])  # fmt: skip
    cube = cube_of(frame)
    group = dict(zip(cube.subjects, cube.group.tolist(), strict=True))
    assert group["S1"] == group["S2"] == group["S4"]
    assert group["S3"] == group["S5"] != group["S1"]


def test_a_long_chain_of_shared_subjects_is_one_group():
    frame = pd.DataFrame([
        {"measurer": f"P{i}", "subject": f"S{s}", "measure": "length", "round": 1, "reading": "1"}
        for i in range(60) for s in ((i * 37) % 61, ((i + 1) * 37) % 61)
    ])  # fmt: skip
    assert len(set(cube_of(frame.drop_duplicates()).group)) == 1


def test_sums_of_squares_of_far_apart_readings_stay_exact():
    # Eight readings up to 370 000 000 steps apart, just under what intake lets through.
    values = [0, 370_000_000, 1, 369_999_999, 2, 369_999_998, 3, 369_999_997]
    cube = cube_of({"A": [[v + 5_000_000_000 for v in values]]})
    exact = len(values) * sum(v * v for v in values) - sum(values) ** 2
    k = cube.repeats
    assert int((k * (cube.x**2).sum(axis=2) - cube.x.sum(axis=2) ** 2)[0, 0]) == exact
