"""What the page says of the reference and of differences that grow with size."""

from types import SimpleNamespace

import pandas as pd
import pytest
from reporting.pages import LIMITS, frame, pages, pairs, plain, session_of, unlike_instruments

from anthroqa.notes import registered
from anthroqa.notes.decisions import InstrumentDiffers
from anthroqa.reporting.session import against


def moved(rows, person, by):
    return [(p, s, t, r + by(s) if p == person else r) for p, s, t, r in rows]


def test_a_reference_that_is_off_is_told_first():
    rows = moved(pairs("RABCD", 10), "R", lambda s: 2)
    text = pages(session_of(frame(rows), reference="R", **LIMITS))
    assert "The reference: R may be off in length" in text["opening"]
    assert "Is it R? The reference may be off:" in text["difference"]


def test_a_reference_like_the_staff_raises_no_doubt(outreach):
    text = pages(outreach)
    assert "The reference:" not in text["opening"]
    assert "Is it LEAD? No sign of it:" in text["difference"]


def test_a_difference_that_grows_is_told_with_both_ends():
    rows = moved(pairs("RABCD", 10), "A", lambda s: 0.3 * int(s[1:]))
    text = pages(session_of(frame(rows), reference="R", **LIMITS))["growing"]
    assert "A, length: from " in text
    assert "% of size" in text
    assert "B, length: from" not in text


def test_lines_that_chance_turns_name_nobody(clinics):
    text = pages(clinics)["growing"]
    assert "Nobody's difference is seen to grow or shrink" in text
    assert "4 of 36 lines turn by their own interval" in text


def test_without_any_line_the_reason_is_given(outreach):
    none = pd.DataFrame(columns=["measure", "measurer", "readings_used", "slope", "turns"])
    some = SimpleNamespace(by_size=none, session=outreach)
    assert "six common subjects are the least" in plain(against.growing(some))


AS_SAID = "measured on BEAM; old B, the reference on PORT-1: it holds what these differ by"


@pytest.mark.parametrize("words", [AS_SAID, "of another tool"])
def test_who_did_not_use_the_instrument_of_the_reference_is_told_however_it_is_named_or_said(
    words, monkeypatch
):
    if words != AS_SAID:
        monkeypatch.setitem(registered(), InstrumentDiffers, words)
    text = pages(unlike_instruments())
    told = "A did not use the instrument of R: part of their differences may be the instruments'."
    assert told in text["opening"]
    assert f"Not only the person differs here: A: {words}." in text["difference"]
