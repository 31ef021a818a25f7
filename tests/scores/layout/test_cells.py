"""Readings put together by person and subject, and which instruments can be told apart."""

import numpy as np
import pandas as pd
import pytest
from layouts import drawn
from strategies import as_frame, as_session

from anthroqa.scores.components.mean_squares import squares
from anthroqa.scores.layout.cells import basis, by_round, by_subject_and_round
from anthroqa.scores.layout.cube import cubes


def cells_of(readings, **session):
    (cube,) = cubes(as_session(readings, **session))
    return by_round(cube)


def test_cells_hold_means_and_what_lies_about_them():
    cells = cells_of({"A": [[10, 14], [20, None]], "B": [[13, 13], [22, 26]]})
    assert cells.n.tolist() == [2, 1, 2, 2]
    assert (cells.y - cells.y[0]).tolist() == [0, 8, 1, 12]
    assert cells.staff.tolist() == [0, 0, 1, 1]
    assert cells.subject.tolist() == [0, 1, 0, 1]
    # pairs differ by 4, 0 and 4: half of each square
    assert cells.within_squares == pytest.approx(16)
    # rounds: a pair has half a reading of each; a single one is of round 1
    assert cells.fixed.tolist() == [[0.5, 0.5], [1, 0], [0.5, 0.5], [0.5, 0.5]]
    assert cells.within.tolist() == [[1.5, -1.5], [-1.5, 1.5]]
    # second readings lie above first ones by 4, 0 and 4
    assert cells.within_y.tolist() == [-4, 4]


def test_the_reference_and_retakes_are_not_there():
    frame = as_frame({"LEAD": [[1, 2]], "A": [[10, 12]]})
    again = frame.iloc[[2]].assign(reading="99", retake="1")
    cells = cells_of(pd.concat([frame.assign(retake=""), again]), reference="LEAD")
    assert len(cells.n) == 1
    assert cells.within_squares == pytest.approx(2)
    assert cells_of({"LEAD": [[1, 2]]}, reference="LEAD") is None


def test_about_each_subjects_mean_of_the_round_only_staff_are_left():
    (cube,) = cubes(as_session({"A": [[10, 14], [20, 27]], "B": [[13, 13], [22, 25]]}))
    of = squares(by_subject_and_round(cube, cube.seen))
    # B less A: 3, -1 and 2, -2; cells 1 and 0, whose mean is half and whose spread a half
    assert of.measurer.square[0] == pytest.approx(0.5**2 / 2)
    assert (of.residual, of.df_residual) == (pytest.approx(0.25), 1)
    # what is left in pairs of differences: (4^2 / 2) / 2 each, and no df for a round in common
    assert (of.repeat, of.df_repeat) == (pytest.approx(8), 2)
    assert of.subject.df == 0


def test_each_group_has_rounds_of_its_own():
    cells = cells_of({"A": [[1, 2], [None, None]], "B": [[None, None], [5, 7]]})
    assert cells.fixed.shape[1] == 4
    assert len(np.unique(cells.group)) == 2
    assert np.bincount(np.unique(cells.group, return_inverse=True)[1]).tolist() == [2, 2]


def with_instruments(choose, staff=4, subjects=6):
    x, person, subject, turn = drawn(np.random.default_rng(1), staff=staff, subjects=subjects)
    people = {f"P{p}": [x[(person == p) & (subject == s)].tolist() for s in range(subjects)]
              for p in range(staff)}  # fmt: skip
    frame = as_frame(people)
    who = zip(person, subject, turn, strict=True)
    return cells_of(frame.assign(instrument=[choose(*w) for w in who]))


@pytest.mark.parametrize(
    ("choose", "n"),
    [
        (lambda p, s, k: "A", 0),
        (lambda p, s, k: "AB"[p % 2], 0),  # with staff
        (lambda p, s, k: "AB"[s % 2], 0),  # with subjects
        (lambda p, s, k: "AB"[k], 0),  # with rounds
        (lambda p, s, k: "AB"[(p + s) % 2], 1),
        (lambda p, s, k: "AB"[(p + s + k) % 2], 1),
        (lambda p, s, k: "ABC"[(p + s + k) % 3], 2),
        # staff 3 alone used C: A and B are told apart, C is part of that person
        (lambda p, s, k: "C" if p == 3 else "AB"[(p + s) % 2], 1),
    ],
)
def test_instruments_count_where_staff_and_subjects_met_several(choose, n):
    assert with_instruments(choose).instruments == n


def test_a_reading_without_an_instrument_stands_for_itself():
    cells = with_instruments(lambda p, s, k: "" if s == 0 else "AB"[(p + s) % 2])
    assert cells.instruments == 1


def test_a_basis_is_orthonormal_and_spans_the_same():
    columns = np.array([[1.0, 1, 2], [1, 0, 1], [0, 1, 1], [1, 1, 2]])
    q = basis(columns)
    assert q.shape[1] == 2
    assert q.T @ q == pytest.approx(np.eye(2))
    assert q @ q.T @ columns == pytest.approx(columns)
