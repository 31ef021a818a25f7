"""The fast figures agree with slow, obvious ones on generated sessions."""

import math

import pytest
from hypothesis import given, settings
from slow import case_of, figures
from strategies import sessions

import anthroqa

# those that are drawn or fitted have slow twins of their own, in the tests of their files
EXACT = [
    "within_tem", "within_tem_percent", "within_tem_less_shift", "own_round_shift", "reliability",
    "bias", "agreement_lower", "agreement_upper", "bias_from_others", "rms_error", "between_tem",
    "total_tem", "round_shift",
]  # fmt: skip
PARTS = ("estimate", "lower", "upper", "subjects", "readings", "df", "p_value")


@settings(max_examples=250)
@given(sessions())
def test_every_figure_agrees_with_the_slow_one_and_is_blank_where_that_is_blank(session):
    table = anthroqa.score(session, confidence=0.8, only=EXACT)
    expected = figures(case_of(session, 0.8))
    rows = {(row.measurer, row.statistic): row for row in table.itertuples()}
    assert rows.keys() == expected.keys()
    size = max(session.readings["value"].max(), 1)
    for key, row in rows.items():
        for name, other in zip(PARTS, expected[key], strict=True):
            if key[1] == "between_tem" and name in ("lower", "upper"):
                continue  # drawn
            one = getattr(row, name)
            if other is None:
                assert math.isnan(one), (key, name, one)
            else:
                assert one == pytest.approx(other, rel=1e-9, abs=1e-12 * size), (key, name)


@settings(max_examples=40)
@given(sessions())
def test_what_is_blank_has_its_reason_beside_it(session):
    table = anthroqa.score(session)
    never = table["statistic"].isin(["reliability", "rms_error", "total_tem"])  # by definition
    blank = table["estimate"].isna() | (table["lower"].isna() & ~never)
    assert (table.loc[blank, "note"] != "").all(), table[blank & (table["note"] == "")]
    assert (table.loc[table["lower"].isna(), "upper"].isna()).all()
