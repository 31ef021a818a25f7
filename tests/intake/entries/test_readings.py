import pytest
from folders import HEADER, counts_of, only_problem, place, problems_of, write_session

from anthroqa import read_session

RANGED = """\
[measure.weight]
recorded_to = "1 oz"
range = ["7 lb", "25 lb"]

[measure.held]
recorded_to = "1/4 lb"
range = ["7 lb", "45 lb"]
"""
GOOD = ["A,C1,length,1,24 3/8", "A,C1,length,2,24 1/2", "B,C1,length,1,24 3/8"]


@pytest.mark.parametrize(
    ("row", "column", "found", "problem", "remedy"),
    [
        (",C2,length,1,24", "measurer", "", "the measurer's code is missing",
         "Give the code on the paper."),
        ("A,,length,1,24", "subject", "", "the subject's code is missing",
         "Give the code on the paper."),
        ("A,C2,lenght,1,24", "measure", "lenght", "this measure is not described",
         "Did you mean 'length'? session.toml describes weight, length, mass."),
        ("A,C2,Length,1,24", "measure", "Length", "this measure is not described",
         "Did you mean 'length'? session.toml describes weight, length, mass."),
        ("A,C2,xyz,1,24", "measure", "xyz", "this measure is not described",
         "session.toml describes weight, length, mass."),
        ("A,C2,,1,24", "measure", "", "the measure is missing",
         "session.toml describes weight, length, mass."),
        *[("A,C2,length," + text + ",24", "round", text, "a round is a whole number from 1",
           "Write 1 for the first, 2 ...")
          for text in ("0", "-1", "1.5", "", "first", "NA", "1e0", "99999999", "nan", "²")],
        ("A,C2,length,1,24.3", "reading", "24.3", "it is not on a mark of this instrument",
         "The marks nearby are 24 1/4 and 24 3/8: was it estimated, converted, or mistyped?"),
        ("A,C2,length,1,'24", "reading", "'24", "as text with an apostrophe",
         "Delete the apostrophe."),
        ("A,C2,length,1,3/8/2026", "reading", "3/8/2026", "this is a date or a time",
         "after setting the column's format to Text; write 3/8 as 0 3/8."),
        ("A,C2,weight,1,11.10 lb", "reading", "11.10 lb", "can be read in two ways",
         "Write pounds and ounces with their units, as in 11 lb 10 oz."),
        ("A,C2,length,1,5 kg", "reading", "5 kg", "kg is the wrong kind of unit",
         "Write it with the unit in, or move the row to the measure it belongs to."),
        ("A,C2,mass,1,-3.0", "reading", "-3.0", "a reading cannot be negative",
         "Look at the paper and type it again, without the minus sign."),
        ("A,C2,mass,1,nan", "reading", "nan", "this is not a reading",
         "Leave the cell empty (or write NA) where nothing was read."),
        ("A,C2,mass,1," + "9" * 5000, "reading", "9" * 60 + "...",
         "this is too long to be a reading",
         "Look at the paper and type it again."),
    ],
    ids=lambda value: value[:24],
)  # fmt: skip
def test_a_row_that_is_not_understood_is_told_at_its_cell(
    tmp_path, row, column, found, problem, remedy
):
    told = only_problem(write_session(tmp_path, [*GOOD, row]))
    assert place(told) == ("readings.csv", 5, column, found)
    assert problem in told["problem"]
    assert remedy in told["remedy"]


@pytest.mark.parametrize(
    ("column", "text", "problem", "remedy"),
    [
        ("retake", "0", "a retake is a whole number from 1, or empty", "Write 1, 2 ..."),
        ("retake", "x", "a retake is a whole number from 1, or empty", "Write 1, 2 ..."),
        ("retake", "-1", "a retake is a whole number from 1, or empty", "Write 1, 2 ..."),
        ("retake", "1.5", "a retake is a whole number from 1, or empty", "Write 1, 2 ..."),
        ("taken_at", "9:30", "this time is not in ISO form", "Write it as 2026-10-06T09:30."),
        ("taken_at", "6/10/2026", "not in ISO form", "Write it as 2026-10-06T09:30."),
        ("taken_at", "2026-02-30", "not in ISO form", "Write it as 2026-10-06T09:30."),
        ("tare", "24.3", "it is not on a mark", "The marks nearby are 24 1/4 and 24 3/8"),
        ("tare", "-1", "a tare cannot be negative", "without the minus sign."),
    ],
)
def test_an_optional_cell_that_is_not_understood_is_told(tmp_path, column, text, problem, remedy):
    rows = [GOOD[0] + ",", f"{GOOD[1]},{text}"]
    told = only_problem(write_session(tmp_path, rows, header=f"{HEADER},{column}"))
    assert place(told) == ("readings.csv", 3, column, text)
    assert problem in told["problem"]
    assert remedy in told["remedy"]


@pytest.mark.parametrize("text", ["2026-10-06", "2026-10-06T09:30", "2026-10-06 09:30:15+02:00"])
def test_iso_times_are_kept_as_written(tmp_path, text):
    session = read_session(
        write_session(tmp_path, [f"{GOOD[0]},{text}"], header=HEADER + ",taken_at")
    )
    assert session.readings["taken_at"].tolist() == [text]


@pytest.mark.parametrize("text", ["1", "01", "1.0", "1."])
def test_whole_rounds_are_taken_as_spreadsheets_write_them(tmp_path, text):
    session = read_session(write_session(tmp_path, [f"A,C1,length,{text},24"]))
    assert session.readings["round"].tolist() == [1]


@pytest.mark.parametrize(
    ("row", "found", "problem", "slips"),
    [
        ("A,C1,weight,1,4 oz", "4 oz", "(from 7 lb 0 oz to 25 lb 0 oz)",
         "kilograms written for pounds (near 8 lb 13 oz)"),
        ("A,C1,weight,1,11", "11", "(from 7 lb 0 oz to 25 lb 0 oz)",
         "kilograms written for pounds (near 24 lb 4 oz) or "
         "pounds written for ounces (near 11 lb 0 oz)"),
        ("A,C1,held,1,5", "5", "outside the range of this measure (from 7 lb to 45 lb)",
         "kilograms written for pounds (near 11 lb)"),
        ("A,C1,held,1,123 1/4", "123 1/4", "outside the range of this measure (from 7 lb",
         "a decimal point left out (near 12 1/4 lb)"),
        ("A,C1,held,1,5.1", "5.1", "it is not on a mark of this instrument",
         "kilograms written for pounds (near 11 1/4 lb)"),
        ("A,C1,weight,1,12.7 lb", "12.7 lb", "can be read in two ways",
         "ounces entered as tenths of a pound (near 12 lb 7 oz)."),
    ],
)  # fmt: skip
def test_a_reading_outside_the_range_names_the_slips_it_fits(tmp_path, row, found, problem, slips):
    told = only_problem(write_session(tmp_path, [row], toml=RANGED))
    assert place(told) == ("readings.csv", 2, "reading", found)
    assert problem in told["problem"]
    assert f"Consistent with {slips}" in told["remedy"]


@pytest.mark.parametrize("text", ["7 lb", "25 lb", "112 oz"])
def test_the_ends_of_the_range_belong_to_it(tmp_path, text):
    assert len(counts_of(write_session(tmp_path, [f"A,C1,weight,1,{text}"], toml=RANGED))) == 1


@pytest.mark.parametrize("text", ["6 lb 15 oz", "25 lb 1 oz"])
def test_one_step_beyond_the_range_is_a_problem(tmp_path, text):
    told = only_problem(write_session(tmp_path, [f"A,C1,weight,1,{text}"], toml=RANGED))
    assert place(told) == ("readings.csv", 2, "reading", text)
    assert "Look at the paper and type it again." in told["remedy"]


def test_the_tare_is_subtracted_exactly_and_the_range_is_of_the_difference(tmp_path):
    rows = ["A,C1,held,1,139 1/4,129 3/4", "A,C1,held,2,139.5 lb,129 lb 12 oz", "A,C2,held,1,9,"]
    session = read_session(write_session(tmp_path, rows, header=HEADER + ",tare", toml=RANGED))
    table = session.readings
    assert table["count_read"].tolist() == [557, 558, 36]
    assert table["count_tare"].tolist() == [519, 519, 0]
    assert table["count"].tolist() == [38, 39, 36]
    assert table["value"].tolist() == [9.5, 9.75, 9.0]
    assert table["tare"].tolist() == ["129 3/4", "129 lb 12 oz", ""]


@pytest.mark.parametrize(
    ("reading", "tare", "problem", "remedy"),
    [
        ("129 3/4", "139 1/4", "the tare is more than the reading",
         "Were the two exchanged? The reading is what the display showed for both."),
        ("9 1/2", "129 3/4", "the tare is more than the reading",
         "Consistent with the tare taken twice."),
        ("139 1/4", "139", "outside the range", "Look at the paper and type it again."),
    ],
    ids=["exchanged", "taken twice", "nothing left"],
)  # fmt: skip
def test_a_tare_that_cannot_be_is_told(tmp_path, reading, tare, problem, remedy):
    rows = [f"A,C1,held,1,{reading},{tare}"]
    told = only_problem(write_session(tmp_path, rows, header=HEADER + ",tare", toml=RANGED))
    assert place(told) == ("readings.csv", 2, "reading", reading)
    assert problem in told["problem"]
    assert remedy in told["remedy"]


def test_a_bad_reading_and_its_bad_tare_are_both_told(tmp_path):
    rows = ["A,C1,held,1,24.3,10.1"]
    found = problems_of(write_session(tmp_path, rows, header=HEADER + ",tare", toml=RANGED))
    assert sorted(place(p)[2:] for p in found) == [("reading", "24.3"), ("tare", "10.1")]


CODES = (
    "Write {usual!r} wherever this code stands if it is the same; else choose codes that differ "
    "more."
)


@pytest.mark.parametrize("column", ["measurer", "subject", "group", "instrument"])
@pytest.mark.parametrize(
    ("usual", "other"),
    [("K1", "k1"), ("K1", "K01"), ("7", "007"), ("A 1", "a 01"), ("k01", "K1")],
)
def test_codes_that_differ_only_in_case_or_leading_zeros_are_told(tmp_path, column, usual, other):
    cells = {"measurer": "P", "subject": "Q", "group": "R", "instrument": "S"}
    rows = []
    for i, code in enumerate([usual, usual, usual, other, other]):
        mine = cells | {column: code}
        rows.append(f"{mine['measurer']},{mine['subject']},length,{i + 1},24,"
                    f"{mine['group']},{mine['instrument']}")  # fmt: skip
    folder = write_session(tmp_path, rows, header=HEADER + ",group,instrument")
    told = [p for p in problems_of(folder) if "leading zeros" in p["problem"]]
    assert [place(p) for p in told] == [("readings.csv", 5, column, other)]
    assert told[0]["problem"] == (
        f"this code differs from {usual!r} only in case, leading zeros or spaces"
    )
    assert told[0]["remedy"] == CODES.format(usual=usual, n=2)


def test_codes_that_differ_in_a_figure_or_in_inner_zeros_are_different_people(tmp_path):
    codes = ["K1", "K10", "K100", "K11", "L1"]
    rows = [f"{code},C1,length,1,24" for code in codes]
    assert len(counts_of(write_session(tmp_path, rows))) == 5


@pytest.mark.parametrize(
    ("reference", "hint"), [("LAED", "Did you mean 'LEAD'? "), ("zz", "")], ids=["near", "nobody"]
)
def test_a_reference_that_is_nobody_is_told(tmp_path, reference, hint):
    toml = f"reference = '{reference}'\n[measure.length]\nrecorded_to = '1/8 in'\n"
    rows = ["LEAD,C1,length,1,24", "B,C1,length,1,24"]
    told = only_problem(write_session(tmp_path, rows, toml=toml))
    assert place(told) == ("session.toml", None, "reference", reference)
    assert told["problem"] == "no reading is by this measurer"
    assert told["remedy"] == f"{hint}Name the measurer whose readings are the comparison."


def test_one_subject_in_two_groups_is_asked_about(tmp_path):
    rows = ["A,C1,length,1,24,north", "A,C1,length,2,24,north", "B,C1,length,1,24,south"]
    told = only_problem(write_session(tmp_path, rows, header=HEADER + ",group"))
    assert place(told) == ("readings.csv", 4, "subject", "C1")
    assert told["problem"] == "this subject is in group 'south' here and in 'north' in row 2"
    assert told["remedy"].startswith("Is it one child in two groups? Give the second one a code")


def test_an_empty_group_beside_named_ones_is_told(tmp_path):
    rows = ["A,C1,length,1,24,north", "A,C2,length,1,24,"]
    told = only_problem(write_session(tmp_path, rows, header=HEADER + ",group"))
    assert place(told) == ("readings.csv", 3, "group", "")
    assert told["problem"] == "the group is missing here and given elsewhere"
    assert told["remedy"] == "Give the group."


def test_the_same_reading_given_twice_is_told_at_the_second_row(tmp_path):
    told = only_problem(write_session(tmp_path, [*GOOD, GOOD[0]]))
    assert place(told) == ("readings.csv", 5, "reading", "24 3/8")
    assert told["problem"].startswith("this reading is given twice in row 2 for the same measurer")
    assert told["remedy"] == "Delete one of the rows."


def test_two_readings_in_one_place_are_told_at_the_second_row(tmp_path):
    told = only_problem(write_session(tmp_path, [*GOOD, "A,C1,length,1,25"]))
    assert place(told) == ("readings.csv", 5, "reading", "25")
    assert told["problem"].startswith("this reading is different in row 2")
    assert told["remedy"] == (
        "Which came first? Write 1 in the column retake for the later one, or mend a code."
    )


def test_a_retake_is_kept_beside_the_first_reading(tmp_path):
    rows = ["A,C1,length,1,24,", "A,C1,length,1,25,1", "A,C1,length,1,25,2", "A,C2,length,1,,",
            "A,C2,length,1,26,1"]  # fmt: skip
    session = read_session(write_session(tmp_path, rows, header=HEADER + ",retake"))
    table = session.readings
    assert table["retake"].dtype == "Int64"
    assert table["retake"].isna().tolist() == [True, False, False, False]
    assert table["retake"].fillna(0).tolist() == [0, 1, 2, 1]
    assert table["count"].tolist() == [192, 200, 200, 208]


def test_the_same_retake_twice_is_told(tmp_path):
    rows = ["A,C1,length,1,24,", "A,C1,length,1,25,1", "A,C1,length,1,26,1"]
    told = only_problem(write_session(tmp_path, rows, header=HEADER + ",retake"))
    assert place(told) == ("readings.csv", 4, "reading", "26")


MIXED = "Write every reading in one form, best with units, as in 11 lb 10 oz."


@pytest.mark.parametrize(
    ("texts", "rarer"),
    [
        (["11 lb 10 oz", "11 lb", "186"], [4]),
        (["186", "187", "11 lb 10 oz", "188"], [4]),
        (["186", "11 lb 10 oz"], [2]),
        (["186 oz", "186 oz", "186 oz", "186", "11 lb", "12 lb"], [5]),
    ],
    ids=["a bare number", "a pound form", "as many of each", "ounces with their unit fit both"],
)
def test_bare_numbers_and_pounds_do_not_mix_and_the_rarer_form_is_told(tmp_path, texts, rarer):
    rows = [f"A,C{i},weight,1,{text}" for i, text in enumerate(texts)]
    found = problems_of(write_session(tmp_path, rows))
    assert [place(p) for p in found] == [
        ("readings.csv", row, "reading", texts[row - 2]) for row in rarer
    ]
    assert {p["problem"] for p in found} == {
        "bare numbers and pounds with ounces are mixed in this measure"
    }
    assert {p["remedy"] for p in found} == {MIXED}


def test_forms_are_compared_within_one_ounces_measure_only(tmp_path):
    toml = "".join(f"[measure.{m}]\nrecorded_to = '{to}'\n"
                   for m, to in [("a", "1 oz"), ("b", "1 oz"), ("c", "1/4 lb")])  # fmt: skip
    rows = ["A,C1,a,1,186", "A,C1,b,1,11 lb 10 oz", "A,C1,c,1,11 1/4", "A,C1,c,2,11 lb 4 oz"]
    assert counts_of(write_session(tmp_path, rows, toml=toml)) == [186, 186, 45, 45]


def test_readings_too_far_apart_to_sum_exactly_are_told_at_the_far_one(tmp_path):
    rows = [*GOOD, "A,C2,length,1,999999999"]
    told = only_problem(write_session(tmp_path, rows))
    assert place(told) == ("readings.csv", 5, "reading", "999999999")
    assert told["problem"] == (
        "the readings of this measure lie too far apart to be summed exactly"
    )
    assert told["remedy"] == "Look for a figure too many; give the measure a range."


def test_readings_just_near_enough_to_sum_exactly_are_taken(tmp_path):
    # The bound is span x readings of one measurer < 3e9: two readings, span below 1.5e9 steps.
    near, far = 1_499_999_999, 1_500_000_000
    toml = "[measure.w]\nrecorded_to = '1 g'\n"
    rows = ["A,C1,w,1,0", f"A,C1,w,2,{near}", "B,C1,w,1,7"]
    folder = write_session(tmp_path, rows, toml=toml)
    assert counts_of(folder) == [0, near, 7]
    (folder / "readings.csv").write_text("\n".join([HEADER, rows[0], f"A,C1,w,2,{far}", rows[2]]))
    assert place(only_problem(folder)) == ("readings.csv", 3, "reading", str(far))


@pytest.mark.parametrize("code", ["NA", "(all)"])
def test_a_code_that_means_something_else_is_refused(tmp_path, code):
    told = only_problem(write_session(tmp_path, [*GOOD, f"{code},C2,mass,1,7.3"]))
    assert place(told) == ("readings.csv", 5, "measurer", code)
    assert told["remedy"] in ("Give the code on the paper.", "Choose another code.")


@pytest.mark.parametrize(
    "other", ["A\u00a01", "A\u200b 1", "A  1"], ids=["no-break space", "zero width", "two spaces"]
)
def test_codes_that_differ_in_what_cannot_be_seen_are_asked_about(tmp_path, other):
    rows = ["P,A 1,mass,1,7.3", "Q,A 1,mass,1,7.3", f"P,{other},mass,2,7.3"]
    told = only_problem(write_session(tmp_path, rows))
    assert place(told) == ("readings.csv", 4, "subject", other)
    assert "differs from 'A 1' only in case, leading zeros or spaces" in told["problem"]


def test_a_retake_of_nothing_is_told(tmp_path):
    rows = ["A,C1,mass,1,7.3,", "A,C1,mass,2,7.4,1"]
    told = only_problem(write_session(tmp_path, rows, header=HEADER + ",retake"))
    assert place(told) == ("readings.csv", 3, "retake", "1")
    assert told["remedy"].startswith("Leave retake empty for the first reading")


def test_a_bare_tare_beside_pounds_and_ounces_is_told(tmp_path):
    rows = ["A,C1,weight,1,20 lb 3 oz,10 lb 1 oz", "A,C2,weight,1,20 lb 4 oz,9"]
    told = only_problem(write_session(tmp_path, rows, header=HEADER + ",tare"))
    assert place(told) == ("readings.csv", 3, "tare", "9")
    assert "bare numbers and pounds with ounces are mixed" in told["problem"]


@pytest.mark.parametrize("round_", ["1.0", "01"])
def test_a_corrections_round_may_be_written_as_a_spreadsheet_does(tmp_path, round_):
    folder = write_session(tmp_path, GOOD, corrections=[f"B,C1,length,{round_},24,looked again,RT"])
    assert len(read_session(folder).corrections) == 1
