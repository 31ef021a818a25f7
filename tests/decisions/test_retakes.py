"""Which readings are to be taken again while the child is here."""

import pandas as pd
import pytest
from strategies import as_frame, as_session

import anthroqa
from anthroqa.decisions import take_again


def listed(readings, **settings):
    table = take_again(as_session(readings, **{"limit_pair": "7 mm", **settings}))
    return [tuple(row) for row in table[["measurer", "subject", "rounds"]].itertuples(index=False)]


def test_columns_hold_no_reading():
    table = take_again(as_session({"A": [[600, 608]]}, limit_pair="7 mm"))
    assert list(table.columns) == ["measure", "measurer", "subject", "rounds", "limit", "unit"]
    assert table.to_numpy().tolist() == [["length", "A", "S1", "1, 2", 7.0, "mm"]]


def test_only_readings_further_apart_than_the_limit_are_listed():
    assert listed({"A": [[600, 607], [600, 608], [608, 600], [600, 600]]}) == [
        ("A", "S2", "1, 2"),
        ("A", "S3", "1, 2"),
    ]


def test_readings_exactly_at_a_limit_that_no_float_holds_are_not_listed():
    people = {"A": [["82.5", "82.3"], ["82.5", "82.2"]]}
    assert listed(people, recorded_to="0.1 cm", limit_pair="0.2 cm") == [("A", "S2", "1, 2")]
    eighths = {"A": [["20 1/8", "20 5/8"], ["20 1/8", "20 3/4"]]}
    assert listed(eighths, recorded_to="1/8 in", limit_pair="1/2 in") == [("A", "S2", "1, 2")]


def test_a_limit_between_two_steps_counts_as_it_stands():
    people = {"A": [[600, 607], [600, 608]]}
    assert listed(people, limit_pair="0.75 cm") == [("A", "S2", "1, 2")]


def test_three_rounds_are_held_against_one_another():
    assert listed({"A": [[600, 604, 608], [600, 604, 607]]}) == [("A", "S1", "1, 2, 3")]


def test_people_are_never_held_against_one_another():
    assert listed({"A": [[600, 600]], "B": [[690, 690]]}) == []


def test_one_reading_has_nothing_to_be_held_against():
    assert listed({"A": [[600, None], [None, 700]]}) == []


def test_a_pair_with_a_retake_is_not_listed_again():
    frame = as_frame({"A": [[600, 620], [600, 620]]})
    again = frame.iloc[[1]].assign(reading="601", retake="1")
    both = pd.concat([frame.assign(retake=""), again])
    assert listed(both) == [("A", "S2", "1, 2")]


@pytest.mark.parametrize("far", [True, False])
def test_measures_without_a_limit_are_passed_over(far):
    frame = pd.concat([
        as_frame({"A": [[600, 650 if far else 601]]}, measure=m) for m in ("head", "length")
    ])  # fmt: skip
    session = anthroqa.Session.from_frame(
        frame,
        measures={
            "head": {"recorded_to": "1 mm"},
            "length": {"recorded_to": "1 mm", "limit_pair": "7 mm"},
        },
    )
    assert take_again(session)["measure"].tolist() == (["length"] if far else [])
