"""A person's own page: what was planted is on it, and nothing of anybody else."""

import re
from dataclasses import replace
from fractions import Fraction

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from reporting.pages import frame, pairs, session_of, unlike_instruments
from reporting.person.tables import plain, sheets_of
from strategies import sessions

import anthroqa
from anthroqa.notes import registered
from anthroqa.notes.decisions import InstrumentDiffers
from anthroqa.reporting.person import pages

STATES = ("within limit", "over limit", "not settled", "not judged")


@pytest.fixture(scope="module")
def clinic_analysis(clinics):
    return anthroqa.analyse(clinics)


@pytest.fixture(scope="module")
def clinic_pages(clinic_analysis):
    return {code: plain(text) for code, text in sheets_of(clinic_analysis).items()}


@pytest.fixture(scope="module")
def outreach_pages(outreach):
    return {code: plain(text) for code, text in sheets_of(anthroqa.analyse(outreach)).items()}


def test_everybody_has_a_page_the_reference_first(clinic_pages):
    assert list(clinic_pages) == ["LEAD", *(f"K{i}" for i in range(1, 10))]


def test_every_finding_of_a_person_is_on_their_page_with_its_state(clinic_pages, clinic_analysis):
    for code, page in clinic_pages.items():
        mine = clinic_analysis.decisions[clinic_analysis.decisions["measurer"] == code]
        for state in STATES:
            assert page.count(f" {state}: ") == (mine["state"] == state).sum()


def test_what_was_planted_is_told_to_the_person_it_is_about(clinic_pages):
    k7 = clinic_pages["K7"]
    assert "Over the limit: infant length (difference)" in k7
    assert "Take shoes, headwear and hair pieces off first." in k7
    assert "against the reference about 11/16 in high (0.71 in; 0.65 to 0.78 in high)" in k7
    k2 = clinic_pages["K2"]
    assert "write the finest mark every time" in k2
    assert "Nearly all infant length readings are put on quarter inches (at least 62 %)" in k2
    k5 = clinic_pages["K5"]
    assert "BEAM-B (adult weight) read about 1/2 lb high" in k5
    assert "That is the instrument, not you: it is taken out of your difference." in k5
    assert "one 50 lb notch of the poise, which would give 186 1/2 lb" in k5
    assert "an odd reading is in it: without it within limit" in k5
    assert "shoes" not in clinic_pages["K8"]
    assert "Nothing in your readings points to a step to practise." in clinic_pages["K1"]


def test_outreach_tells_of_exchanged_subjects_and_second_readings(outreach_pages):
    assert (
        "Length, subjects C2 and C5, round 2: you wrote 64.0 cm and 68.6 cm"
        in (outreach_pages["M1"])
    )
    assert "Second readings of length are more alike than expected" in outreach_pages["M2"]
    assert "more alike" not in outreach_pages["M4"]
    assert "Hold both knees straight." in outreach_pages["M5"]
    assert "2 readings missing: never counted against you." in outreach_pages["M5"]
    assert "too few pairs of readings, 6 are the least" in outreach_pages["M5"]


def test_a_person_with_nothing_to_practise_has_no_list(clinic_analysis):
    pages = sheets_of(clinic_analysis)
    assert [code for code, text in pages.items() if "<ol>" not in text] == [
        code for code, text in pages.items() if "points to a step to practise" in text
    ]
    assert all(text.count("<li><strong>") <= 3 for text in pages.values())


def test_the_reference_has_repeatability_only(clinic_pages):
    page = clinic_pages["LEAD"]
    assert page.count("You are the reference: no difference is judged.") == 4
    assert "against the" not in page.replace("against the middle", "")
    assert "(difference)" not in page


def coded(session, word):
    """The same session with codes of measurers that occur nowhere else."""
    names = {c: f"{word}{i}QX" for i, c in enumerate(sorted(set(session.readings["measurer"])))}
    tables = {
        name: getattr(session, name).assign(measurer=getattr(session, name)["measurer"].map(names))
        for name in ("readings", "missing", "corrections", "absent")
    }
    return replace(session, reference=names.get(session.reference), **tables)


@pytest.mark.parametrize("sample", ["clinics", "outreach"])
def test_nobody_elses_code_is_on_a_page(sample, request):
    session = coded(request.getfixturevalue(sample), "ZZ")
    pages = sheets_of(anthroqa.analyse(session))
    for code, text in pages.items():
        assert code in text
        assert not [other for other in pages if other != code and other in text]


def test_nothing_is_ranked_graded_or_coloured(clinic_pages, clinic_analysis, request):
    style = request.config.rootpath / "anthroqa/reporting/page/template/feedback.css"
    for page in clinic_pages.values():
        assert not re.search(r"\b(rank|grade|score|pass|fail|poor|good|best|worst)", page, re.I)
    drawn = sheets_of(clinic_analysis)["K4"]
    found = set(re.findall(r"#([0-9a-f]{3,6})\b", style.read_text(encoding="utf-8") + drawn))
    assert len(found) > 3
    for colour in found:
        third = len(colour) // 3
        assert colour == colour[:third] * 3, f"#{colour} is no grey"


def test_how_to_question_it_and_what_it_cannot_show_are_on_every_page(clinic_pages):
    for page in clinic_pages.values():
        for said in ("For you, before anybody else", "corrections.csv", "second look",
                     "local protocol decides", "What such a session cannot show",
                     "No child is judged by this page"):  # fmt: skip
            assert said in page


def test_one_page_is_the_page_of_that_person_among_all(clinic_analysis):
    (alone,) = pages.sheets(clinic_analysis, "K4").values()
    assert alone.text == sheets_of(clinic_analysis)["K4"]


def test_a_drill_is_refused_with_what_to_do(samples):
    drill = anthroqa.read_session(samples / "marks_drill")
    with pytest.raises(ValueError, match=r"this is a drill: .*anthroqa drill FOLDER --out DIR"):
        pages.people(drill)


def test_an_unknown_code_is_refused_with_the_codes_there_are(outreach):
    assert pages.people(outreach, "M2") == ["M2"]
    with pytest.raises(
        ValueError, match="nobody in this session has the code 'M9'; codes are LEAD,"
    ):
        pages.people(outreach, "M9")


def test_a_session_of_one_person_has_nothing_to_draw_against():
    session = session_of(frame(pairs("A", 8)), limit_tem="0.5 cm")
    ((_, page),) = sheets_of(anthroqa.analyse(session)).items()
    assert "Nobody else read these subjects: there is nothing to draw against." in plain(page)
    assert "<svg" not in page
    assert "repeat error" in plain(page)


def test_without_a_reference_it_is_said_what_a_difference_shows():
    session = session_of(frame(pairs("ABC", 8)), limit_bias="0.5 cm")
    page = plain(sheets_of(anthroqa.analyse(session))["B"])
    assert "against the other staff" in page
    assert "Without a reference, a difference shows that people differ, not who is off." in page


def test_without_limits_nothing_is_judged_and_figures_are_shown():
    session = session_of(frame(pairs(("LEAD", "A", "B"), 8)), reference="LEAD")
    pages = sheets_of(anthroqa.analyse(session))
    page = plain(pages["A"])
    assert page.count("the program has set no limit") == 2
    assert "Keep doing" not in page
    assert re.search(r"repeat error \d\.\d+ cm \(\d\.\d+ to \d\.\d+ cm\)", page)


@pytest.mark.parametrize("reworded", [False, True])
def test_that_the_reference_used_another_instrument_is_told_however_it_is_named_or_said(
    reworded, monkeypatch
):
    if reworded:
        monkeypatch.setitem(registered(), InstrumentDiffers, "of another tool")
    sheets = sheets_of(anthroqa.analyse(unlike_instruments()))
    caution = "the reference used another instrument, and part of it may be theirs"
    assert caution in plain(sheets["A"])
    assert caution not in plain(sheets["B"])


def test_a_correction_is_told_without_who_made_it_or_why():
    session = session_of(frame(pairs("ABC", 8)))
    made = pd.DataFrame([{
        "measurer": "A", "subject": "S3", "measure": "length", "round": 1, "written": "7.65",
        "corrected": "76.5", "reason": "Kim typed it", "by": "K9",
    }])  # fmt: skip
    pages = sheets_of(anthroqa.analyse(replace(session, corrections=made)))
    assert "Corrected after entry: length, subject S3, round 1: 7.65 became 76.5." in (
        plain(pages["A"])
    )
    assert "K9" not in pages["A"]
    assert "Kim" not in pages["A"]
    assert "Corrected" not in pages["B"]


def test_what_people_typed_is_text(hostile_session):
    session = anthroqa.read_session(hostile_session)
    pages = sheets_of(anthroqa.analyse(session))
    assert len(pages) == 7
    for text in pages.values():
        assert not re.search(r"<script|<img|<b>len|\son\w+=", text.replace("onerror=alert", ""))
        assert "\u202e" not in text
        assert "&lt;b&gt;len" in text.replace("B", "b")


@settings(max_examples=8, suppress_health_check=list(HealthCheck))
@given(session=sessions())
@pytest.mark.filterwarnings("error")
def test_odd_sessions_give_everybody_a_page(session):
    limited = {
        name: replace(
            m, limit_tem=m.step.size, limit_bias=Fraction(2) * m.step.size,
            typed={"limit_tem": str(m.step), "limit_bias": f"2 {m.step}"},
        )
        for name, m in session.measures.items()
    }  # fmt: skip
    for some in (session, replace(session, measures=limited)):
        pages = sheets_of(anthroqa.analyse(some))
        assert set(pages) == set(some.readings["measurer"])
        for text in pages.values():
            assert not re.search(r"\bnan\b|None|<NA>|&lt;NA", text)
            assert text.count("<li><strong>") <= 3
