"""What the page says of instruments."""

import pytest
from reporting.pages import frame, pages, pairs, plain, session_of

import anthroqa
from anthroqa.reporting.session import instrument_section


@pytest.fixture(scope="module")
def analysis(clinics):
    return anthroqa.analyse(clinics)


def test_one_row_an_instrument_with_its_worst_state(analysis):
    text = plain(instrument_section.instruments(analysis)).replace("\u00a0", " ")
    assert "BEAM-B \u25a0 over limit +0.50 at 0 lb (+0.38 to +0.62) 0.25" in text
    assert "BEAM-A \u25cf within limit" in text
    assert "BOARD-A \u00d7 not judged" in text
    assert "NIST Handbook 44" in text


def test_only_an_instrument_over_its_tolerance_is_drawn(analysis, clinics):
    measure, checks = clinics.measures["adult_weight"], analysis.instrument_checks
    page = instrument_section.instruments(analysis).text
    assert page.count("<img") == 1
    over = checks[(checks["instrument"] == "BEAM-B") & (checks["statistic"] == "error")]
    ax = instrument_section.at_loads(over[over["check"].isin(["zero", "load"])], measure)
    drawn = [line.get_xdata()[0] for line in ax.lines if line.get_marker() in ("s", "o")]
    assert drawn == pytest.approx([0.5] * 6)
    assert "BEAM-B at 0: +0.50, over limit" in instrument_section.alt_at_loads(over, measure)


def test_nobody_is_told_of_instruments_where_none_was_tested():
    text = pages(session_of(frame(pairs("ABC", 8)), reference="A"))
    assert "Instruments:" not in text["opening"]
    assert (
        "There is no known_loads.csv: nothing is known of the instruments." in text["instruments"]
    )
    assert "the readings do not name the instrument" in text["instruments"]
