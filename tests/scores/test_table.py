"""The score table: its columns, the order of its rows, `only`, and what it refuses."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from strategies import as_frame, as_session, figures_of, sessions

import anthroqa

COLUMNS = [
    "measure", "measurer", "statistic", "estimate", "lower", "upper", "confidence", "unit",
    "subjects", "readings", "df", "p_value", "note",
]  # fmt: skip
MARKS = {"weight": ("2 g", "5 g", "10 g"), "length": ("2 mm", "5 mm", "1 cm")}
OF_A_PERSON = [
    "within_tem", "within_tem_percent", "within_tem_resolved", "within_tem_less_shift",
    "own_round_shift:2", "own_round_shift:3", "reliability", "bias", "agreement_lower",
    "agreement_upper", "bias_from_others", "rms_error", "digit_dissimilarity", "coarse_share",
    "identical_repeats",
]  # fmt: skip
OF_ALL = [
    "coarse_share", "between_tem", "total_tem", "round_shift:2", "round_shift:3", "sd_subject",
    "sd_measurer", "sd_measurer_subject", "sd_instrument", "sd_repeat", "sd_reproducibility",
    "icc_agreement", "icc_consistency",
]  # fmt: skip
SHARES = (
    "reliability", "digit_dissimilarity", "coarse_share", "identical_repeats", "icc_agreement",
    "icc_consistency",
)  # fmt: skip
NOT_OF_THE_REFERENCE = {"bias", "agreement_lower", "agreement_upper", "rms_error"}


def session_of_two_measures() -> anthroqa.Session:
    layout = {p: [[100, 101, 103], [120, 122, 120]] for p in ("zoe", "M10", "LEAD", "M2")}
    frame = pd.concat([as_frame(layout, measure=m) for m in ("weight", "length")])
    return anthroqa.Session.from_frame(
        frame.sample(frac=1, random_state=1), reference="LEAD",
        measures={"weight": {"recorded_to": "1 g"}, "length": {"recorded_to": "1 mm"}},
    )  # fmt: skip


def test_columns_are_those_of_the_design():
    assert list(anthroqa.score(session_of_two_measures()).columns) == COLUMNS


def test_rows_stand_by_measure_person_and_statistic():
    table = anthroqa.score(session_of_two_measures())
    expected = [
        (measure, person, statistic)
        for measure in ("weight", "length")
        for person in ("LEAD", "M10", "M2", "zoe", "(all)")
        for base in (OF_ALL if person == "(all)" else OF_A_PERSON)
        for statistic in (
            [f"{base}:{mark}" for mark in MARKS[measure]] if base == "coarse_share" else [base]
        )
        if person != "LEAD" or statistic not in NOT_OF_THE_REFERENCE
    ]
    found = table[["measure", "measurer", "statistic"]].itertuples(index=False, name=None)
    assert list(found) == expected


@settings(max_examples=25)
@given(sessions())
def test_the_order_of_rows_read_does_not_matter(session):
    mixed = replace(session, readings=session.readings.sample(frac=1, random_state=0))
    pd.testing.assert_frame_equal(anthroqa.score(mixed), anthroqa.score(session))


def test_units_are_those_of_the_step():
    table = anthroqa.score(session_of_two_measures())
    table["statistic"] = table["statistic"].str.replace(
        "coarse_share:.*", "coarse_share", regex=True
    )
    units = table.set_index(["measure", "statistic"])["unit"]
    for statistic in [*OF_A_PERSON, *OF_ALL]:
        of_weight, of_length = (set(units.loc[[(m, statistic)]]) for m in ("weight", "length"))
        if statistic == "within_tem_percent":
            assert of_weight == of_length == {"%"}
        elif statistic in SHARES:
            assert of_weight == of_length == {"share"}
        else:
            assert (of_weight, of_length) == ({"g"}, {"mm"})


def test_a_quarter_pound_is_told_in_pounds():
    table = figures_of({"A": [["10 1/4", "10 3/4"]]}, recorded_to="1/4 lb")
    row = table.loc["A", "within_tem"]
    assert row["unit"] == "lb"
    assert row["estimate"] == pytest.approx(0.5 / 2**0.5)


def test_ounces_and_pounds_give_the_same_error():
    ounces = figures_of({"A": [["11 lb 10 oz", "11 lb 12 oz"]]}, recorded_to="1 oz")
    assert ounces.loc["A", "within_tem"]["estimate"] == pytest.approx(2**0.5)


def test_measures_do_not_touch_one_another():
    both = anthroqa.score(session_of_two_measures())
    layout = {p: [[100, 101, 103], [120, 122, 120]] for p in ("zoe", "M10", "LEAD", "M2")}
    alone = anthroqa.score(as_session(layout, reference="LEAD"))
    rest = both[both["measure"] == "length"].reset_index(drop=True)
    pd.testing.assert_frame_equal(rest, alone)


def test_only_gives_the_same_rows_as_all_and_no_others():
    session = session_of_two_measures()
    table = anthroqa.score(session)
    for names in (["bias"], ["within_tem", "bias"], ["round_shift", "reliability"], ["total_tem"],
                  ["coarse_share", "within_tem_resolved"]):  # fmt: skip
        base = table["statistic"].str.split(":").str[0]
        kept = table[base.isin(names)].reset_index(drop=True)
        found = anthroqa.score(session, only=names)
        pd.testing.assert_frame_equal(found, kept, check_dtype=False)


def test_only_can_name_one_round_of_a_shift_or_all_of_them():
    session = session_of_two_measures()

    def found(name):
        return set(anthroqa.score(session, only=[name])["statistic"])

    assert found("own_round_shift:2") == {"own_round_shift:2"}
    assert found("own_round_shift") == {"own_round_shift:2", "own_round_shift:3"}
    assert found("round_shift:3") == {"round_shift:3"}
    assert len(anthroqa.score(session, only=["own_round_shift:9"])) == 0


@pytest.mark.parametrize("name", ["tem", "within_tem:2", "bias:2", "own_round_shift:two", ""])
def test_an_unknown_statistic_is_refused_with_the_known_names(name):
    session = as_session({"A": [[1, 2]]})
    message = re.escape(f"unknown statistic {name}; known are within_tem, within_tem_percent")
    with pytest.raises(ValueError, match=message + ".*icc_consistency$"):
        anthroqa.score(session, only=["bias", name])


@pytest.mark.parametrize("confidence", [0, 1, -0.5, 90, float("nan")])
def test_a_confidence_that_is_not_between_0_and_1_is_refused(confidence):
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1, not"):
        anthroqa.score(as_session({"A": [[1, 2]]}), confidence=confidence)


def test_the_confidence_stands_in_every_row_and_widens_every_interval():
    session = session_of_two_measures()
    narrow, wide = (anthroqa.score(session, confidence=c) for c in (0.8, 0.95))
    assert set(narrow["confidence"]) == {0.8}
    assert set(wide["confidence"]) == {0.95}
    there = narrow["lower"].notna()
    assert there.sum() > 10
    none = narrow["statistic"].str.startswith("sd_") & (narrow["lower"] == 0)
    assert (wide["lower"] < narrow["lower"])[there & ~none].all()
    assert (wide["upper"] > narrow["upper"])[there].all()
    assert narrow["estimate"].equals(wide["estimate"])
    assert set(anthroqa.score(session)["confidence"]) == {0.9}


@settings(max_examples=25)
@given(sessions(recorded_to="1 mm"))
def test_every_interval_holds_its_estimate(session):
    table = anthroqa.score(session).dropna(subset=["lower"])
    # a share may be none or all, and what is under the step only bounded
    share = table["unit"] == "share"
    resolved = table["statistic"] == "within_tem_resolved"
    drawn = table["statistic"].str.match("sd_|between")  # a variance may be none
    assert (table["lower"] < table["estimate"])[~share & ~resolved & ~drawn].all()
    assert (table["estimate"] < table["upper"])[~share & ~resolved & ~drawn].all()
    some = table.dropna(subset=["estimate"])
    assert (some["lower"] <= some["estimate"]).all()
    assert (some["estimate"] <= some["upper"]).all()
    assert (table["lower"] <= table["upper"]).all()


def test_a_measure_without_readings_has_no_rows():
    session = anthroqa.Session.from_frame(
        as_frame({"A": [[1, 2]]}),
        measures={"length": {"recorded_to": "1 mm"}, "weight": {"recorded_to": "1 g"}},
    )
    assert set(anthroqa.score(session)["measure"]) == {"length"}


def test_a_measure_in_which_the_reference_did_not_read_says_so():
    frame = as_frame({"LEAD": [[1, 2]], "A": [[1, 2]]})
    frame = pd.concat([frame, as_frame({"A": [[5, 6]]}, measure="weight")])
    session = anthroqa.Session.from_frame(
        frame, measures={"length": {"recorded_to": "1 mm"}, "weight": {"recorded_to": "1 g"}},
        reference="LEAD",
    )  # fmt: skip
    table = anthroqa.score(session).set_index(["measure", "measurer", "statistic"])
    row = table.loc["weight", "A", "bias"]
    assert row["note"] == "no reference measurer in this measure"
    assert ("weight", "LEAD", "within_tem") not in table.index


def test_scoring_leaves_the_session_as_it_was_and_gives_the_same_twice():
    session = session_of_two_measures()
    before = session.readings.copy()
    one, other = anthroqa.score(session, seed=7), anthroqa.score(session, seed=7)
    pd.testing.assert_frame_equal(session.readings, before)
    pd.testing.assert_frame_equal(one, other)


def test_blank_is_nan_and_never_zero():
    table = anthroqa.score(as_session({"A": [[5]]}))
    values = table[["estimate", "lower", "upper", "p_value"]].to_numpy(dtype=float)
    assert np.isnan(values).all()
    assert (table["note"] != "").all()
