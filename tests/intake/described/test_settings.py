import datetime as dt
from fractions import Fraction

import pytest
from folders import only_problem, place, problems_of, write_session
from hypothesis import given, settings
from hypothesis import strategies as st

from anthroqa import read_session
from anthroqa.intake.described.settings import KINDS, Measure, read_measures, read_settings
from anthroqa.intake.written.steps import Step

FULL = """\
title = "Autumn standardisation, north clinics"
date = 2026-10-06
exercise = "drill"
reference = "LEAD"
handling_cap = 12

[conditions]
stop = ["upset", "left"]
moving = ["mov"]

[measure.infant_weight]
recorded_to = "1 oz"
kind = "weight"
range = ["3 lb", "45 lb 8 oz"]
expected_tem = "1 oz"
limit_tem = "1.5 oz"
limit_bias = "1/8 lb"
limit_pair = "4 oz"
limit_source = "program manual, chapter 4"
whole_mark = "1 lb"

[measure."standing height"]
recorded_to = "0.1 cm"
range = ["0 cm", "1300 mm"]
"""
ROWS = ["A,C1,w,1,9 lb 3 oz", "A,C1,w,2,9 lb 4 oz"]


def test_every_setting_is_kept_exactly_and_in_the_unit_of_the_step():
    found, problems = read_settings(FULL, "session.toml")
    assert problems == []
    assert found.title == "Autumn standardisation, north clinics"
    assert found.date == dt.date(2026, 10, 6)
    assert (found.exercise, found.reference, found.handling_cap) == ("drill", "LEAD", 12)
    assert found.conditions == {"stop": ("upset", "left"), "moving": ("mov",)}
    assert list(found.measures) == ["infant_weight", "standing height"]
    assert found.measures["infant_weight"] == Measure(
        name="infant_weight", step=Step(Fraction(1), "oz"), kind="weight",
        low=Fraction(48), high=Fraction(728), expected_tem=Fraction(1),
        limit_tem=Fraction(3, 2), limit_bias=Fraction(2), limit_pair=Fraction(4),
        limit_source="program manual, chapter 4", whole_mark=Fraction(16),
    )  # fmt: skip
    height = found.measures["standing height"]
    assert (height.low, height.high, height.limit_tem) == (0, 130, None)


def test_one_measure_with_its_step_is_enough():
    found, problems = read_settings('[measure.w]\nrecorded_to = "1 oz"', "session.toml")
    assert problems == []
    assert found.measures == {"w": Measure(name="w", step=Step(Fraction(1), "oz"))}
    assert (found.title, found.date, found.exercise, found.reference) == ("", None, "session", None)


ONE = '[measure.w]\nrecorded_to = "1 oz"\n'
AMOUNT = 'Write an amount with its unit, as in "1 oz".'
ENDS = 'Write the lowest and the highest, as in ["3 lb", "45 lb"].'
TO = 'Write an amount and one of kg, g, lb, oz, cm, mm, in, as in "1/8 in".'
WRONG = [
    # the text, row, column, found, problem, remedy
    ("titel = 'x'\n" + ONE, 1, "titel", "", "not known here", "Did you mean 'title'? Known keys"),
    ("\n[measures.w]\nrecorded_to = '1 oz'\n" + ONE, 2, "measures", "", "not known here",
     "Did you mean 'measure'? Known keys are"),
    (ONE + "\nlimit_tme = '1 oz'", 4, "measure.w.limit_tme", "", "this key is not known here",
     "Did you mean 'limit_tem'? Known keys are expected_tem, kind,"),
    (ONE + "zzz = 1", 3, "measure.w.zzz", "", "this key is not known here", "Known keys are"),
    ("[conditions]\nstopp = ['x']\n" + ONE, 2, "conditions.stopp", "", "this key is not known here",
     "Did you mean 'stop'? Known keys are moving, stop."),
    ("title = 3\n" + ONE, 1, "title", "3", "this must be a text", 'Write title = "...".'),
    ("reference = 7\n" + ONE, 1, "reference", "7", "must be a text", 'Write reference = "...".'),
    (ONE + "limit_source = 4", 3, "measure.w.limit_source", "4", "this must be a text",
     'Write limit_source = "...".'),
    ("date = '2026-10-06'\n" + ONE, 1, "date", "2026-10-06", "this is not a date",
     "Write date = 2026-10-06, without quotes."),
    ("date = 2026-10-06T09:00:00\n" + ONE, 1, "date", "2026-10-06 09:00:00", "this is not a date",
     "without quotes."),
    ("exercise = 'test'\n" + ONE, 1, "exercise", "test", "this exercise is not known",
     'Write "session" or "drill".'),
    ("exercise = ['drill']\n" + ONE, 1, "exercise", "['drill']", "this exercise is not known",
     'Write "session" or "drill".'),
    *[(f"handling_cap = {cap}\n" + ONE, 1, "handling_cap", found,
       "this is not a whole number above 0", "Write, say, 12.")
      for cap, found in [("'12'", "12"), ("0", "0"), ("-1", "-1"), ("1.5", "1.5"),
                         ("true", "True")]],
    ("[conditions]\nstop = 'upset'\n" + ONE, 2, "conditions.stop", "upset",
     "this must be a list of codes", 'Write stop = ["code"].'),
    ("[conditions]\nmoving = [1]\n" + ONE, 2, "conditions.moving", "[1]",
     "this must be a list of codes", 'Write moving = ["code"].'),
    ("conditions = 'upset'\n" + ONE, 1, "conditions", "upset", "this must be a table",
     "Write [conditions] above its keys."),
    ("title = 'x'\n", None, "measure", "", "no measure is described",
     'Add a table such as [measure.weight] with recorded_to = "0.1 kg".'),
    ("[measure]\n", 1, "measure", "", "no measure is described", "Add a table such as"),
    ("measure = 'w'\n", 1, "measure", "", "no measure is described", "Add a table such as"),
    ("[measure]\nw = '1 oz'\n", 2, "measure.w", "1 oz", "this must be a table",
     "Write [measure.w] on a line of its own."),
    ("[measure.w]\nkind = 'weight'\n", 1, "measure.w", "", "recorded_to is missing",
     'Say what one mark of the instrument is, as in recorded_to = "1 oz".'),
    *[(f"[measure.w]\nrecorded_to = {to}\n", 2, "measure.w.recorded_to", found, problem, TO)
      for to, found, problem in [
          ("'1'", "1", "this is not a step: there is no unit"), ("0.1", "0.1", "there is no unit"),
          ("'0 oz'", "0 oz", "a step cannot be zero"), ("'1 st'", "1 st", "'st' is not a unit"),
          ("'-1 oz'", "-1 oz", "this is not a step: a reading cannot be negative"),
          ("'oz'", "oz", "this is not a step"), ("'1/0 in'", "1/0 in", "divides by zero"),
          ("''", "", "this is not a step"), ("['1 oz']", "['1 oz']", "this is not a step")]],
    (ONE + "kind = 'mass'", 3, "measure.w.kind", "mass", "this kind is not known",
     "Use one of weight, length, height, circumference, skinfold."),
    (ONE + "kind = ['weight']", 3, "measure.w.kind", "['weight']", "this kind is not known",
     "Use one of weight, length"),
    (ONE + "kind = 'height'", 3, "measure.w.kind", "height", "a height is not recorded in oz",
     "Mend the kind or recorded_to."),
    *[(ONE + f"{key} = {value}", 3, f"measure.w.{key}", found, problem, AMOUNT)
      for key in ("expected_tem", "limit_tem", "limit_bias", "limit_pair", "whole_mark")
      for value, found, problem in [
          ("'1.5'", "1.5", "there is no unit"), ("1.5", "1.5", "this must be a text with a unit"),
          ("'1 cm'", "1 cm", "cm is the wrong kind of unit beside 1 oz"),
          ("'0 oz'", "0 oz", "this cannot be zero"), ("'-1 oz'", "-1 oz", "cannot be negative"),
          ("'1 stone'", "1 stone", "'stone' is not a unit known here")]],
    (ONE + "whole_mark = '2.5 oz'", 3, "measure.w.whole_mark", "2.5 oz",
     "this is not a whole number of 1 oz", "Name the mark that people read from, such as 1 lb"),
    (ONE + "range = ['45 lb', '3 lb']", 3, "measure.w.range", "['45 lb', '3 lb']",
     "the range ends before it begins", ENDS),
    (ONE + "range = ['3 lb', '48 oz']", 3, "measure.w.range", "['3 lb', '48 oz']",
     "the range ends before it begins", ENDS),
    (ONE + "range = ['3 lb']", 3, "measure.w.range", "['3 lb']", "a range has two ends", ENDS),
    (ONE + "range = '3 lb'", 3, "measure.w.range", "3 lb", "a range has two ends", ENDS),
    (ONE + "range = [3, '45 lb']", 3, "measure.w.range", "3", "a text with a unit", AMOUNT),
    (ONE + "range = ['3', '45 lb']", 3, "measure.w.range", "3", "there is no unit", AMOUNT),
    (ONE + "range = ['3 lb', '45 in']", 3, "measure.w.range", "45 in", "wrong kind", AMOUNT),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "row", "column", "found", "problem", "remedy"),
    WRONG,
    ids=[f"{c[2]} {c[3] or c[4]}" for c in WRONG],
)
def test_a_wrong_setting_is_told_with_its_line_and_remedy(
    tmp_path, text, row, column, found, problem, remedy
):
    told = only_problem(write_session(tmp_path, ROWS, toml=text))
    assert place(told) == ("session.toml", row, column, found)
    assert problem in told["problem"]
    assert remedy in told["remedy"]


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ('title = "x"\n[measure.w]\nrecorded_to = 1 oz\n', 3),
        ('title = "x"\ntitle = "y"\n', 2),
        ("title = 'x'\ndate = 2026-13-40\n", 2),
    ],
    ids=["no quotation marks", "key twice", "no such date"],
)
def test_a_settings_file_that_is_not_toml_names_the_line(tmp_path, text, row):
    told = only_problem(write_session(tmp_path, ROWS, toml=text))
    assert place(told) == ("session.toml", row, "", "")
    assert "this line cannot be read" in told["problem"]
    assert 'Texts need quotation marks, as in recorded_to = "1 oz"; a key' in told["remedy"]


def test_a_settings_file_in_another_encoding_is_a_problem(tmp_path):
    folder = write_session(tmp_path, ROWS)
    (folder / "session.toml").write_bytes("title = 'Zoë'\n".encode("cp1252"))
    told = only_problem(folder)
    assert place(told) == ("session.toml", None, "", "")
    assert told["problem"] == "the file is not UTF-8 text"
    assert told["remedy"] == "Save it again."


def test_a_settings_file_may_begin_with_a_byte_order_mark(tmp_path):
    folder = write_session(tmp_path, ROWS)
    (folder / "session.toml").write_bytes(ONE.encode("utf-8-sig"))
    assert read_session(folder).readings["count"].tolist() == [147, 148]


def test_all_wrong_settings_are_told_together_in_the_order_of_their_lines(tmp_path):
    text = "titel = 'x'\nhandling_cap = 0\n" + ONE + "kind = 'height'\nlimit_tem = '2'\n"
    found = problems_of(write_session(tmp_path, ROWS, toml=text))
    assert [(p["row"], p["column"]) for p in found] == [
        (1, "titel"), (2, "handling_cap"), (5, "measure.w.kind"), (6, "measure.w.limit_tem"),
    ]  # fmt: skip


def test_rows_of_a_measure_without_a_step_are_not_blamed_for_it(tmp_path):
    text = "[measure.w]\nrecorded_to = 'ounces'\n[measure.length]\nrecorded_to = '1/8 in'\n"
    rows = [*ROWS, "A,C1,length,1,24.3", "A,C1,other,1,3"]
    found = problems_of(write_session(tmp_path, rows, toml=text))
    assert [place(p)[:3] for p in found] == [
        ("session.toml", 2, "measure.w.recorded_to"),
        ("readings.csv", 4, "reading"),
        ("readings.csv", 5, "measure"),
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_agrees_with_the_unit_of_its_step(kind):
    unit, wrong = ("kg", "cm") if kind == "weight" else ("cm", "kg")
    found, problems = read_measures(
        {"m": {"recorded_to": f"0.1 {unit}", "kind": kind}}, "measures", reference=None
    )
    assert problems == []
    assert found.measures["m"].kind == kind
    _, problems = read_measures(
        {"m": {"recorded_to": f"0.1 {wrong}", "kind": kind}}, "measures", reference=None
    )
    assert [p.problem for p in problems] == [f"a {kind} is not recorded in {wrong}"]


VALUES = st.recursive(
    st.one_of(st.text(max_size=6), st.integers(), st.floats(), st.booleans(), st.none()),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=4,
)
KEYS = st.sampled_from(
    ["kind", "range", "expected_tem", "limit_tem", "whole_mark", "limit_source", "recorded_to"]
)


@settings(max_examples=300)
@given(table=st.dictionaries(KEYS, VALUES, max_size=3))
def test_any_value_of_a_measure_is_taken_or_told_never_raised(table):
    found, problems = read_measures(
        {"m": {"recorded_to": "1 oz"} | table}, "measures", reference=None
    )
    assert all(p.problem and p.remedy and p.column.startswith("measure.m") for p in problems)
    assert problems or found.measures["m"].step.size > 0


@pytest.mark.parametrize(
    "text", ["x = " + "9" * 5000, "x = " + "[" * 3000], ids=["long number", "deep nesting"]
)
def test_settings_that_no_parser_takes_are_told_and_do_not_stop_the_program(text):
    _, (told,) = read_settings(text, "session.toml")
    assert told.problem == "this line cannot be read"


def test_measures_that_differ_only_in_case_are_told():
    text = '[measure.Weight]\nrecorded_to = "1 oz"\n[measure.weight]\nrecorded_to = "1 oz"'
    _, (told,) = read_settings(text, "session.toml")
    assert (told.row, told.column) == (3, "measure.weight")
    assert told.problem == "this measure differs from 'Weight' only in case"
