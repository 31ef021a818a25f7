"""A short form of the study of drawn programs (`calibration/program.py`); bands by formula."""

import math

import pytest
from calibration import program


def band(share, n):
    return 4 * math.sqrt(share * (1 - share) / n)


def test_where_nobody_differs_or_moves_few_programs_name_anybody():
    n = 24
    (row,) = program.nobody(n, 1, spreads=[program.USUAL], measures=[1]).itertuples()
    assert row.flagged <= 0.05 + band(0.05, n)


def test_a_planted_movement_of_the_person_is_found():
    n = 16
    (row,) = program.planted(n, 1, designs=[("difference", 2.0, program.USUAL, 1)]).itertuples()
    assert row.found >= 0.8 - band(0.8, n)
    assert row.others <= 0.05 + band(0.05, n)


@pytest.mark.parametrize("sessions", [2, 4])
def test_retraining_that_did_nothing_is_seldom_called_better(sessions):
    table = program.nothing_done(10, 1, differ=[0.0, 0.3], sessions=[sessions], effects=[1.0])
    n = table["picked"].sum()
    better = (table["better"] * table["picked"]).sum() / n
    # people of one program share what is taken for the staff's
    assert better <= 0.06 + band(0.06, n / 2)
    assert (table["not_judged"] == 0).all()


def test_differences_that_only_luck_brought_back_too():
    table = program.differences_picked(10, 1, differ=[0.0, 0.5], sessions=[2], effects=[1.0])
    n = table["picked"].sum()
    better = (table["better"] * table["picked"]).sum() / n
    assert better <= 0.06 + band(0.06, n / 2)


def test_moderated_repeat_errors_are_nearer_to_the_truth():
    (row,) = program.likely_errors(8, 1, differ=[0.2], sessions=[1]).itertuples()
    assert row.moderated < row.own
    assert row.covered >= 0.9 - band(0.9, 8 * 12 / 2)
