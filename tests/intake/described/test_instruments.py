"""The [instrument.CODE] tables of session.toml are read exactly, and every fault is told."""

from fractions import Fraction

import pytest
from folders import TOML, only_problem, place, write_session

from anthroqa import read_session
from anthroqa.intake.described.instruments import Instrument, kind_of

ROWS = ["A,C1,mass,1,7.3"]


def described(tmp_path, text):
    return write_session(tmp_path, ROWS, toml=f"{TOML}\n{text}\n")


def test_an_instrument_is_kept_exactly_and_in_the_units_that_were_written(tmp_path):
    text = """[instrument.BEAM-A]
    accuracy_class = "III"
    division = "1/4 lb"
    uncertainty = "5 g"
    capacity = "400 lb"
    tolerance_table = "Handbook-44"

    [instrument."top shelf"]
    """
    found = read_session(described(tmp_path, text)).instruments
    assert list(found) == ["BEAM-A", "top shelf"]
    assert found["BEAM-A"] == Instrument(
        code="BEAM-A", accuracy_class="III", division=(Fraction(1, 4), "lb"),
        uncertainty=(Fraction(5), "g"), capacity=(Fraction(400), "lb"),
        tolerance_table="handbook 44",
    )  # fmt: skip
    assert found["top shelf"] == Instrument(code="top shelf")
    assert kind_of((Fraction(5), "g")) == "mass"


@pytest.mark.parametrize(
    ("written", "kept"), [("iii", "III"), ("IIII", "IIII"), ("IV", "IIII"), (" ii ", "II")]
)
def test_a_class_may_be_written_in_either_case(tmp_path, written, kept):
    text = f'[instrument.S]\naccuracy_class = "{written}"'
    assert read_session(described(tmp_path, text)).instruments["S"].accuracy_class == kept


def test_a_standard_may_be_without_error(tmp_path):
    found = read_session(described(tmp_path, '[instrument.S]\nuncertainty = "0 g"'))
    assert found.instruments["S"].uncertainty == (0, "g")


@pytest.mark.parametrize(
    ("line", "column", "found", "problem", "remedy"),
    [
        ('acuracy_class = "III"', "acuracy_class", "", "not known", "Did you mean 'accuracy_clas"),
        ('accuracy_class = "V"', "accuracy_class", "V", "not known", 'one of "I", "II", "III"'),
        ("accuracy_class = 3", "accuracy_class", "3", "not known", 'one of "I", "II", "III"'),
        ('division = "0.1"', "division", "0.1", "there is no unit", 'as in "0.1 kg"'),
        ("division = 0.1", "division", "0.1", "must be a text with a unit", 'as in "0.1 kg"'),
        ('division = "0 kg"', "division", "0 kg", "cannot be zero", 'as in "0.1 kg"'),
        ('uncertainty = "5 mg"', "uncertainty", "5 mg", "'mg' is not a unit", 'as in "5 g"'),
        ('capacity = "big"', "capacity", "big", "a word", 'as in "400 lb"'),
        ('tolerance_table = "r111"', "tolerance_table", "r111", "not known", '"oiml r76"'),
    ],
)  # fmt: skip
def test_a_wrong_key_is_told_with_its_place(tmp_path, line, column, found, problem, remedy):
    told = only_problem(described(tmp_path, f"[instrument.S]\n{line}"))
    row = len(TOML.splitlines()) + 3
    assert place(told) == ("session.toml", row, f"instrument.S.{column}", found)
    assert problem in told["problem"]
    assert remedy in told["remedy"]


def test_amounts_of_two_kinds_are_told_once(tmp_path):
    told = only_problem(
        described(tmp_path, '[instrument.S]\ndivision = "1/8 in"\nuncertainty = "5 g"')
    )
    assert "some of them masses and some lengths" in told["problem"]
    assert "a code for each" in told["remedy"]


def test_codes_that_differ_only_in_case_are_told(tmp_path):
    told = only_problem(described(tmp_path, "[instrument.S1]\n[instrument.s1]"))
    assert "differs from 'S1' only in case" in told["problem"]


@pytest.mark.parametrize(
    "toml", [f'instrument = "BEAM-A"\n{TOML}', f'{TOML}\n[instrument]\nBEAM-A = "III"\n']
)
def test_what_is_no_table_is_told(tmp_path, toml):
    told = only_problem(write_session(tmp_path, ROWS, toml=toml))
    assert told["problem"] == "this must be a table"
    assert "[instrument." in told["remedy"]
