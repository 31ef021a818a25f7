"""What a person is told of their own figures, in the words of their instrument."""

from types import SimpleNamespace

import pandas as pd
import pytest
from reporting.person.tables import measure_of

from anthroqa.notes import NONE, Quoted, notes_of
from anthroqa.notes.decisions import (
    InstrumentDiffers,
    Limit,
    SharedShift,
    TooFewDifferences,
    TooFewSubjects,
    TooNear,
)
from anthroqa.notes.scores.odd import Explanation
from anthroqa.notes.scores.slips import Slipped
from anthroqa.reporting.person import words

NAN = float("nan")


def finding(**given):
    base = {
        "measure": "x", "measurer": "A", "question": "bias", "statistic": "bias", "estimate": 1.0,
        "lower": 0.5, "upper": 1.5, "unit": "oz", "limit": 2.0, "state": "not settled",
        "more_subjects": 3, "note": NONE,
    }  # fmt: skip
    return SimpleNamespace(**(base | given))


@pytest.mark.parametrize(
    ("step", "value", "said"),
    [
        ("1 oz", 2.62, "2.6 oz"), ("1 oz", -18.5, "1 lb 2.5 oz"), ("1/2 oz", 16, "1 lb 0.00 oz"),
        ("1/8 in", 0.146, "about 1/8 in"), ("1/8 in", 0.7135, "about 11/16 in"),
        ("1/8 in", -1.13, "about 1 1/8 in"), ("1/8 in", 2.0, "about 2 in"),
        ("1/8 in", 0.02, "less than 1/16 in"), ("1/4 lb", 0.3, "about 1/4 lb"),
        ("0.1 cm", 0.708, "0.71 cm"), ("0.1 kg", 0.0, "0.00 kg"), ("1 mm", 7, "7.0 mm"),
        ("0.1 lb", 0.3, "0.30 lb"),
    ],
)  # fmt: skip
def test_a_size_is_said_as_people_read_their_instrument(step, value, said):
    assert words.size(value, measure_of(step)) == said


@pytest.mark.parametrize(
    ("estimate", "lower", "upper", "said"),
    [
        (2.62, 1.96, 3.29, "2.6 oz high (2.0 to 3.3 oz high)"),
        (-2.62, -3.29, -1.96, "2.6 oz low (2.0 to 3.3 oz low)"),
        (-0.4, -1.0, 0.2, "0.4 oz low, or none (1.0 oz low to 0.2 oz high)"),
        (0.01, -0.5, 0.52, "none to be seen (0.5 oz low to 0.5 oz high)"),
        (0.4, 0.0, 0.8, "0.4 oz high, or none (0.0 to 0.8 oz high)"),
        (-0.4, -0.8, 0.0, "0.4 oz low, or none (0.0 to 0.8 oz low)"),
        (1.0, NAN, NAN, "1.0 oz high (no interval)"),
        (NAN, NAN, NAN, "no figure"),
    ],
)
def test_a_difference_is_high_or_low_and_never_signed(estimate, lower, upper, said):
    row = finding(estimate=estimate, lower=lower, upper=upper, limit=NAN)
    assert words.difference(row, measure_of("1 oz")) == said


def test_fractions_have_their_decimals_beside_them():
    row = finding(estimate=0.7135, lower=0.651, upper=0.776, unit="in", limit=0.25)
    said = words.difference(row, measure_of("1/8 in"))
    assert said == "about 11/16 in high (0.71 in; 0.65 to 0.78 in high)"
    row = finding(question="repeatability", estimate=0.146, lower=0.123, upper=0.182, unit="in",
                  statistic="within_tem", limit=0.3)  # fmt: skip
    assert (
        words.repeat_error(row, measure_of("1/8 in")) == "about 1/8 in (0.15 in; 0.12 to 0.18 in)"
    )


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"statistic": "within_tem", "estimate": 1.54, "lower": 1.16, "upper": 2.34},
         "1.5 oz (1.2 to 2.3 oz)"),
        ({"statistic": "within_tem", "estimate": 20.0, "lower": 15.0, "upper": 30.0},
         "1 lb 4.0 oz (15.0 to 30.0 oz)"),
        ({"statistic": "within_tem_resolved", "estimate": 0.91, "lower": 0.66, "upper": 1.43},
         "0.91 oz (0.66 to 1.43 oz)"),
        ({"statistic": "within_tem_resolved", "estimate": NAN, "lower": 0.0, "upper": 0.21},
         "below 0.21 oz"),
        ({"statistic": "within_tem", "estimate": NAN, "lower": NAN, "upper": NAN}, "no figure"),
    ],
)  # fmt: skip
def test_a_repeat_error_is_a_size_with_its_interval(given, said):
    row = finding(question="repeatability", limit=NAN, **given)
    assert words.repeat_error(row, measure_of("1 oz")) == said


@pytest.mark.parametrize(
    ("given", "odd", "said"),
    [
        ({"state": "within limit"}, False, ""),
        ({"more_subjects": 3}, False, "3 more subjects would settle it if it stays so"),
        ({"more_subjects": 1}, False, "1 more subject would settle it if it stays so"),
        ({"more_subjects": 3}, True, ""),
        ({"more_subjects": pd.NA, "note": notes_of(TooNear(most=100))},
         False, "too near the limit: over 100 more subjects would be needed"),
        ({"more_subjects": pd.NA, "note": notes_of(Quoted(text="one subject: no interval"))}, False,
         "one subject: no interval"),
        ({"state": "not judged", "limit": NAN, "more_subjects": pd.NA}, False,
         "the program has set no limit"),
        ({"state": "not judged", "more_subjects": 4,
          "note": notes_of(TooFewDifferences(differences=5.0, least=6))}, False,
         "too few pairs of readings, 6 are the least: 4 more subjects would settle it if it stays "
         "so"),
        ({"state": "not judged", "more_subjects": pd.NA,
          "note": notes_of(TooFewSubjects(subjects=3, least=6))}, False,
         "too few subjects that both measured, 6 are the least"),
        ({"state": "not judged", "more_subjects": pd.NA,
          "note": notes_of(
              Quoted(text="no subject in common with the reference"), Quoted(text="x"))}, False,
         "no subject in common with the reference"),
    ],
)  # fmt: skip
def test_what_is_open_says_why_and_what_settles_it(given, odd, said):
    assert words.why_open(finding(**given), odd=odd) == said


def slip(**given):
    base = {
        "measure": "x", "measurer": "A", "subject": "S1", "round": 1, "written": "37.5",
        "value": 37.5, "expected": 73.46, "off_by": -36.0, "spread": 0.4, "unit": "cm", "place": 1,
        "consistent_with": Slipped.DIGITS_EXCHANGED, "would_have_been": 73.5,
        "left_over": 0.04, "chance": 0.031, "partner": "", "note": None,
    }  # fmt: skip
    row = base | given
    return row | {column: notes_of(row[column]) for column in ("consistent_with", "note")}


def odd(*rows, step="0.1 cm"):
    return words.odd_readings(pd.DataFrame(rows), {"x": measure_of(step)})


def test_an_odd_reading_says_what_was_written_what_was_expected_and_what_fits():
    assert odd(slip()) == [
        "X, subject S1, round 1: you wrote 37.5 cm; about 73.5 cm was expected. Consistent with "
        "two adjacent digits exchanged, which would give 73.5 cm (so would 3 in 100 errors by "
        "pure chance)."
    ]


def test_an_odd_reading_that_nothing_fits_says_so():
    nothing = {"consistent_with": None, "would_have_been": NAN, "chance": NAN}
    (line,) = odd(slip(**nothing, note=Explanation.EITHER))
    assert line.endswith(
        "was expected. No known slip fits (two people read this subject: which of them is off "
        "cannot be told from this session)."
    )


def test_other_kinds_that_fit_are_told_too_but_not_all():
    others = (Slipped.POINT_LEFT_OUT, Slipped.POINT_MOVED)
    more = [slip(place=i, consistent_with=kind) for i, kind in enumerate(others, start=2)]
    (line,) = odd(slip(), *more)
    assert "; or a decimal point left out, which" in line
    assert "slipped" not in line


def test_two_readings_that_changed_places_are_told_once():
    one = slip(partner="S2", consistent_with=Slipped.SUBJECTS_EXCHANGED, chance=0.03)
    two = slip(subject="S2", partner="S1", consistent_with=Slipped.SUBJECTS_EXCHANGED, chance=0.09,
               written="73.5", value=73.5, expected=37.4)  # fmt: skip
    assert odd(one, two) == [
        "X, subjects S1 and S2, round 1: you wrote 37.5 cm and 73.5 cm; about 73.5 cm and 37.4 cm "
        "was expected. Consistent with two subjects exchanged (so would 9 in 100 errors by pure "
        "chance)."
    ]


def test_a_weight_with_a_tare_says_what_came_of_it():
    (line,) = odd(
        slip(written="145 3/4", value=22.5, expected=15.75, would_have_been=16.0), step="1/4 lb"
    )
    assert "you wrote 145 3/4 lb; which gave 22 1/2 lb; about 15 3/4 lb was expected" in line
    (line,) = odd(
        slip(written="11 lb 10 oz", value=186, expected=170.2, would_have_been=170), step="1 oz"
    )
    assert "you wrote 11 lb 10 oz; about 10 lb 10 oz was expected" in line


def lead(**given):
    base = {"measure": "x", "test": "coarse marks", "statistic": "coarse_share:1/4 in",
            "estimate": 0.99, "lower": 0.62, "upper": 1.0, "state": "named"}  # fmt: skip
    return base | given


def test_leads_say_the_mark_the_share_and_whether_it_is_sure():
    measures = {"x": measure_of("1/8 in")}
    rows = pd.DataFrame([lead(), lead(test="terminal digits", state="worth a look")])
    assert list(words.mark_findings(rows, measures)) == [
        "Nearly all x readings are put on quarter inches (at least 62\u00a0%)."
    ]
    (line,) = words.mark_findings(rows.iloc[1:], measures)
    assert line.endswith("about 1 in 10 such is chance.")
    (line,) = words.mark_findings(pd.DataFrame([lead(state="habit of the group")]), measures)
    assert line.endswith("as most of the staff do: a habit of the group.")
    assert not list(words.mark_findings(pd.DataFrame([lead(state="as expected")]), measures))


def test_second_readings_are_more_alike_with_reasons_and_never_more():
    rows = pd.DataFrame([lead(test="second readings", estimate=8 / 12)] * 2)
    first, _, reasons = words.mark_findings(rows, {"x": measure_of("1/8 in")})
    assert first == (
        "Second readings of x are more alike than expected: 67\u00a0% equal the first."
    )
    assert "many possible reasons" in reasons


def test_an_instrument_is_told_with_its_load_and_tolerance():
    row = SimpleNamespace(instrument="BEAM", statistic="error", estimate=0.5, load=0.0, unit="lb",
                          tolerance=0.25)  # fmt: skip
    measure = measure_of("1/4 lb")
    assert words.instrument(row, measure) == (
        "BEAM (x) read about 1/2 lb high with nothing on it; the published tolerance there is "
        "0.25 lb"
    )
    row.estimate, row.load, row.statistic = -0.5, 50.0, "error:left"
    assert "read about 1/2 lb low for a known 50 lb" in words.instrument(row, measure)
    row.statistic = "repeat_range"
    assert "was unsteady by about 1/2 lb" in words.instrument(row, measure)


def test_a_list_says_how_many_it_leaves_out():
    assert list(words.some_of(list("abcd"), "readings")) == list("abcd")
    assert list(words.some_of(list("abcdef"), "readings"))[4:] == [
        "and 2 more readings, which you may ask to see"
    ]


def test_findings_are_listed_by_measure():
    rows = pd.DataFrame({"measure": ["a_b", "a_b", "c"],
                         "question": ["repeatability", "bias", "bias"]})  # fmt: skip
    assert words.by_measure(rows) == "a b (repeat error and difference) and c (difference)"


def test_what_else_is_in_a_finding_is_said():
    note = notes_of(InstrumentDiffers(own=("X",), reference=("Y",)))
    assert "another instrument" in " ".join(words.held(finding(note=note)))
    assert list(words.held(finding(note=NONE))) == []
    assert "too fine" in " ".join(words.held(finding(note=notes_of(Limit.TOO_FINE))))
    shift = words.held(finding(note=notes_of(SharedShift.DECIDES)))
    assert list(shift) == ["it hangs on a shift between rounds that all share"]
    assert list(words.held(finding(note=notes_of(SharedShift.TAKEN_OUT)))) == []
