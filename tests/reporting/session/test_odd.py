"""What the page says of odd readings, and of figures without them."""

from types import SimpleNamespace

import pandas as pd
import pytest
from reporting.pages import pages, plain

from anthroqa.reporting.session import odd


@pytest.fixture(scope="module")
def text(outreach):
    return pages(outreach)


def test_an_odd_reading_is_told_with_what_it_would_have_been(text):
    row = "M4 C4 1 86.1 75.96 cm +10.14 cm misread by 10 cm: 76.10 cm"
    assert row in text["odd"].replace("\u00a0", " ")
    assert "two subjects exchanged (with C5): 68.60 cm" in text["odd"]


def test_a_measure_without_odd_readings_says_so(text):
    assert text["odd"].count("No reading lies far from the rest.") == 1  # heights


def test_kinds_too_small_to_tell_are_named(clinics):
    assert "infant weight: tenths of a pound entered as ounces" in pages(clinics)["odd"]


def test_figures_stand_beside_what_they_would_be(text):
    shown = text["with and without"].replace("\u00a0", " ")
    assert "Without the odd readings" in shown
    assert "M1 weight 2 repeat error 0.55 (0.41 to 0.83) hidden by the step" in shown
    assert "Without readings of a moving subject" in shown


def test_findings_that_hang_on_odd_readings_are_listed(text):
    told = "M1, length, repeat error: over limit; without the odd readings not judged."
    assert told in text["with and without"]


def test_nothing_odd_leaves_nothing_to_compare():
    columns = ["variant", "measure", "measurer", "statistic", "state", "other_state"]
    nothing = SimpleNamespace(session=None, variants=pd.DataFrame(columns=columns))
    part = odd.with_and_without(nothing)
    assert "there is nothing to compare" in plain(part)


def test_a_finding_is_matched_over_the_statistic_it_is_made_on():
    rows = [
        ("without slips", "w", "A", "within_tem", "over limit", ""),
        ("without slips", "w", "A", "within_tem_resolved", "", "within limit"),
        ("without slips", "w", "B", "bias", "within limit", "within limit"),
        ("without slips", "w", "C", "bias_less_instrument", "not settled", "within limit"),
    ]
    columns = ["variant", "measure", "measurer", "statistic", "state", "other_state"]
    found = odd.findings(pd.DataFrame(rows, columns=columns))
    assert found[["measurer", "question", "state", "other_state"]].to_numpy().tolist() == [
        ["A", "repeatability", "over limit", "within limit"],
        ["C", "bias", "not settled", "within limit"],
    ]
