"""What the sections say, on sessions where much cannot be had."""

import re
from dataclasses import replace

import pandas as pd
import pytest
from reporting.pages import LIMITS, frame, pages, pairs, session_of

import anthroqa


def test_one_person_who_read_once_gets_reasons_and_no_figure():
    text = pages(session_of(frame([("A", "S1", 1, 70.1)]), **LIMITS))
    assert "Over a limit: none of 0 findings." in text["opening"]
    assert "1 staff, 1 subject, 1 reading of 1 measure." in text["opening"]
    few = "not judged (0 repeat differences, and 6 are the least to judge by): A no figure"
    assert few in text["opening"]
    assert "chance had no finding to give" in text["opening"]
    assert "Limits of agreement need a reference measurer" in text["agreement"]


def test_without_a_reference_the_other_staff_are_the_comparison():
    text = pages(session_of(frame(pairs("ABCD", 8)), **LIMITS))
    assert "Difference from the other staff:" in text["opening"]
    assert "Difference from the other staff, length" in text["difference"]


def test_without_limits_figures_are_given_and_nothing_is_judged():
    text = pages(session_of(frame(pairs("ABC", 8)), reference="A"))
    assert "The program has set no limit: figures are given, nothing is judged." in text["opening"]
    assert "not judged (no limit is set)" in text["opening"]
    assert "no source" not in text["opening"]


def test_a_limit_without_a_source_is_said_to_have_none():
    text = pages(session_of(frame(pairs("ABC", 8)), **LIMITS))
    assert "(no source given)" in text["opening"]


def test_readings_that_are_all_equal_give_no_false_certainty():
    rows = [(p, f"S{s}", turn, 70.0) for p in "ABC" for s in range(8) for turn in (1, 2)]
    text = pages(session_of(frame(rows), reference="A", **LIMITS))
    bound = re.search(
        r"within limit \(under one step of 0.1 cm, so the error behind the rounding\): "
        r"A below (0.\d{3}) cm;", text["opening"],
    )  # fmt: skip
    scores = anthroqa.score(session_of(frame(rows), reference="A", **LIMITS))
    upper = scores.loc[scores["statistic"] == "within_tem_resolved", "upper"].iloc[0]
    assert upper <= float(bound.group(1)) < upper + 0.001
    row = f"A \u25cf within limit below {bound.group(1)}\u2021 \u2013 8 \u2013 \u2013"
    assert row in text["repeatability"]
    assert "0.000" not in text["opening"] + text["repeatability"]
    assert "every difference is equal: no interval" in text["opening"]


def test_a_repeat_error_under_a_step_is_the_one_behind_the_rounding(outreach, outreach_analysis):
    row = outreach_analysis.scores.query(
        "measure == 'weight' and measurer == 'M3' and statistic == 'within_tem_resolved'"
    ).iloc[0]
    text = pages(outreach)
    figure, low, high = (f"{row[k]:.3f}" for k in ("estimate", "lower", "upper"))
    assert re.search(
        r"within limit \(under one step of 0.1 kg, so the error behind the rounding\): [^(]*"
        rf".*M3 {figure} kg \({low} to {high}\)", text["opening"],
    )  # fmt: skip
    assert f"M3 \u25cf within limit {figure}\u2021 {low} to {high} 12" in text["repeatability"]
    assert "\u2021 behind the rounding: under one step of 0.1 kg" in text["repeatability"]
    length = text["repeatability"].split("Repeat error (within TEM), height")[0]
    assert "\u2021" not in length  # every repeat error of length is over a step


def test_what_a_session_cannot_show_holds_mild_habits_of_marks(outreach):
    text = pages(outreach)["opening"]
    assert "small differences between them, mild habits of reading marks, and whether" in text
    assert "which marks they prefer" not in text
    assert re.search(
        r"A habit of marks must take at least this share .*: length \d+ % \(0.2 cm\) or \d+ % "
        r"\(1 cm\); height", text,
    )  # fmt: skip
    assert "Chance in marks and second readings. 34 tests of marks" in text


def test_too_few_subjects_are_named_with_how_many_more_would_do():
    text = pages(session_of(frame(pairs("ABC", 5)), reference="A", **LIMITS))
    assert re.search(r"not judged \(too few readings\): .*, \d+ more", text["opening"])


def test_retakes_missing_readings_and_unused_columns_are_told():
    table = frame(pairs("ABC", 8), retake="", weather="sun")
    extra = table.iloc[[0]].assign(retake="1", reading=70.9)
    gone = table.iloc[[0]].assign(subject="S9", reading="", condition="left")
    session = session_of(pd.concat([table.assign(condition=""), extra, gone]), **LIMITS)
    text = pages(session)
    assert "Readings taken again: 1, kept and in no figure" in text["notes"]
    assert "length 1 1 70.9 +0.90 cm +0.90 cm" in text["notes"]  # 70.0 first, and in the middle
    assert "Readings missing: 2, never counted against anybody" in text["notes"]
    assert "S9 length 1 left" in text["notes"]
    assert "S9 length 2 no row" in text["notes"]
    assert "Columns not used: weather." in text["notes"]


def test_corrections_are_shown_with_reason_and_initials(samples):
    text = pages(anthroqa.read_session(samples / "clinics_customary_as_typed"))
    assert "Corrections applied: 8; the file of readings is unchanged" in text["notes"]
    assert "read again from the paper sheet RT" in text["notes"]
    assert "empty rows passed over: 203" in text["notes"]


def test_pairs_beyond_the_limit_and_conditions_are_told(outreach):
    text = pages(outreach)["notes"]
    assert "Pairs further apart than the program allows: 19" in text
    assert "3 readings carry a condition that the program calls moving" in text
    assert "Readings missing: 4" in text


def test_without_known_loads_unlike_instruments_are_told_once_for_those_who_share_them(clinics):
    text = pages(replace(clinics, known_loads=clinics.known_loads.iloc[:0]))
    told = "K4, K5 and K6: measured on BEAM-B, the reference on PORT-1: it holds what these differ"
    assert text["difference"].count(told) == 1
    assert "There is no known_loads.csv" in text["instruments"]
    assert "As read" not in text["difference"]


def test_with_known_loads_the_scale_is_over_and_its_users_are_not(clinics):
    text = pages(clinics)
    assert "1 of 4 tested is over the published tolerance" in text["opening"]
    assert "BEAM-B, adult weight: reads 0.50 lb high at 0 lb" in text["opening"]
    assert "K6 \u25cf within limit +0.03" in text["difference"]
    assert "+0.55" in text["difference"].split("Difference from LEAD, adult weight")[1]  # as read


def test_three_rounds_have_two_shifts():
    rows = [
        (p, f"S{s}", turn, (700 + 20 * s + 5 * (turn == 3) + (s * (i + 2) * turn) % 3) / 10)
        for i, p in enumerate("ABC")
        for s in range(8)
        for turn in (1, 2, 3)
    ]
    text = pages(session_of(frame(rows), **LIMITS))["repeatability"]
    assert "round 3 came out" in text
    assert "rounds 1 and 2" in text


@pytest.mark.parametrize("people", [2, 40])
def test_few_or_many_staff_fit_every_figure(people):
    codes = [f"person number {i}" for i in range(people)]
    text = pages(session_of(frame(pairs(codes, 6)), reference=codes[0], **LIMITS))
    assert codes[-1] in text["repeatability"]


def test_a_crowd_is_counted_and_whoever_is_over_is_named():
    codes = [f"P{i:02}" for i in range(30)]
    rows = pairs(codes, 8)
    rows = [(*r[:3], r[3] + 3) if (r[0], r[2]) == ("P07", 2) else r for r in rows]
    text = pages(session_of(frame(rows), reference="P00", **LIMITS))["opening"]
    assert re.search(r"\d\d people, each with figure and interval in the sections below", text)
    assert "over limit: P07" in text


def test_without_a_reference_a_difference_is_said_to_blame_nobody():
    text = pages(session_of(frame(pairs("ABCD", 8)), **LIMITS))["opening"]
    assert "a difference says only that people disagree, not who is right" in text


def test_an_odd_reading_is_marked_wherever_its_figure_stands(outreach):
    text = pages(outreach)
    assert "M1\u2020 1.77 cm" in text["opening"]
    assert (
        "an odd reading is in this figure: look it up on paper before anything" in text["opening"]
    )
    assert "an odd reading is inside, and no number of subjects outweighs it" in text["opening"]
    assert "M1\u2020 \u25a0 over limit 1.77" in text["repeatability"]
    assert "M2\u2020" not in text["repeatability"]


def test_a_retake_far_from_the_rest_is_not_held_against_its_reader():
    table = frame(pairs("ABCD", 8), retake="")
    again = table.iloc[[0]].assign(retake="1", reading=95.0)
    text = pages(session_of(pd.concat([table, again]), **LIMITS))["opening"]
    assert "\u2020" not in text
    assert "far from the rest" not in text


def test_a_session_without_a_first_reading_is_told_and_has_no_page():
    table = frame([("A", "S1", 1, ""), ("B", "S1", 1, "")], retake="")
    again = frame([("A", "S1", 1, 70.1)], retake="1")
    with pytest.raises(anthroqa.SessionError, match="there is no reading"):
        session_of(pd.concat([table, again]))


def test_an_end_of_an_interval_is_never_rounded_onto_the_limit(clinics):
    # K7's infant weights: +2.6 oz (1.96 to 3.3) with a limit of 2 oz is not settled
    assert "K7 +2.6 oz (+1.96 to +3.3), 2 more subjects" in pages(clinics)["opening"].replace(
        "\u2060", ""
    )


def test_a_limit_is_shown_as_it_was_written():
    session = session_of(frame(pairs("ABC", 8)), limit_tem="6 mm", limit_source="manual")
    assert "limits: repeat error 6 mm (0.6 cm) (manual)" in pages(session)["opening"]


def test_a_measures_name_keeps_its_capitals():
    table = frame(pairs("ABC", 8)).assign(measure="MUAC_left")
    session = anthroqa.Session.from_frame(table, measures={"MUAC_left": {"recorded_to": "0.1 cm"}})
    text = pages(session)
    assert all(" MUAC left " in text[part] for part in ("opening", "repeatability", "difference"))
    assert "Muac" not in text["opening"]
