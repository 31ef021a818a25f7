"""The workbook: written by XlsxWriter, read back by intake, recalculated by LibreOffice."""

import shutil
import subprocess
import zipfile

import numpy as np
import openpyxl
import pytest

from anthroqa import read_session
from anthroqa.intake import look
from anthroqa.intake.written.grammar import as_written
from anthroqa.planning import planned, session_toml, write_workbook
from anthroqa.planning.plan import plan_of

PLAN = """
reference = "LEAD"
staff = ["=1+1", "K2", "+K3", "-K4", "@K5", "K6"]
subjects = 6
other_codes = ["wet"]
[conditions]
stop = ["upset"]
[measure.length]
recorded_to = "1/8 in"
range = ["15 in", "40 in"]
[measure.held]
recorded_to = "1/4 lb"
tared = true
[measure.weight]
recorded_to = "0.1 kg"
range = ["2 kg", "20 kg"]
[measure.infant]
recorded_to = "1 oz"
range = ["4 lb", "45 lb"]
[instrument.BOARD-A]
"""


@pytest.fixture(scope="module")
def plan():
    return plan_of(PLAN)


@pytest.fixture
def folder(plan, tmp_path):
    (tmp_path / "session.toml").write_text(session_toml(plan), encoding="utf-8")
    write_workbook(plan, planned(plan), tmp_path / "readings.xlsx")
    return tmp_path


def columns_of(sheet):
    return {cell.value: cell.column for cell in sheet[1]}


def type_in(folder, plan, *, skip=(), second=False):
    """Type a reading into every row, as a person would; gives the counts that were meant."""
    rng = np.random.default_rng(4)
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    meant = []
    first, twice = book["readings"], book["second_entry"]
    at, again = columns_of(first), columns_of(twice)
    for row in range(2, 2 + len(planned(plan))):
        measure = plan.measures[first.cell(row, at["measure"]).value]
        count = int(rng.integers(150, 190))
        text = as_written(count, measure.step)
        if row in skip:
            continue
        if measure.name == "held":
            tare = int(rng.integers(40, 90))
            first.cell(row, at["tare"]).value = as_written(tare, measure.step)
            meant.append(count - tare)
        else:
            meant.append(count)
        first.cell(row, at["reading"]).value = text
        if second:
            twice.cell(row, again["reading"]).value = text
    book.save(folder / "readings.xlsx")
    return meant


def test_a_fresh_workbook_has_every_planned_row_in_the_order_of_the_sheets(folder, plan):
    rows = planned(plan)
    sheet = openpyxl.load_workbook(folder / "readings.xlsx")["readings"]
    at = columns_of(sheet)
    assert list(at) == [
        "sheet", "line", "group", "measurer", "subject", "measure", "round", "reading", "tare",
        "instrument", "condition", "taken_at", "retake", "note",
    ]  # fmt: skip
    for key in ("sheet", "group", "measurer", "subject", "measure"):
        found = [sheet.cell(r, at[key]).value for r in range(2, 2 + len(rows))]
        assert found == rows[key].tolist()
    assert sheet.freeze_panes == "H2"
    assert sheet.print_title_rows == "$1:$1"
    assert (sheet.page_setup.orientation, sheet.page_setup.fitToHeight) == ("landscape", 0)
    found = look(folder)
    assert (found.problems, found.session, found.second) == ((), None, True)
    assert found.progress["planned"].sum() == len(rows)


def test_cells_for_typing_are_text_where_rows_are_and_where_they_may_be_added(folder, plan):
    sheet = openpyxl.load_workbook(folder / "readings.xlsx")["readings"]
    at, last = columns_of(sheet), 1 + len(planned(plan))
    for column in ("reading", "tare", "condition", "retake"):
        assert sheet.cell(2, at[column]).number_format == "@"
        letter = openpyxl.utils.get_column_letter(at[column])
        assert sheet.column_dimensions[letter].width >= 7
    for row in (last + 1, last + 50):
        assert sheet.cell(row, at["measurer"]).number_format == "@"


def test_codes_that_look_like_formulas_stay_text(folder):
    sheet = openpyxl.load_workbook(folder / "readings.xlsx")["readings"]
    cells = [c for row in sheet.iter_rows(min_row=2) for c in row if c.value is not None]
    assert not [c.coordinate for c in cells if c.data_type == "f"]
    assert {"=1+1", "+K3", "-K4", "@K5"} <= {c.value for c in cells}


def test_lists_and_ranges_warn_and_never_stop(folder, plan):
    sheet = openpyxl.load_workbook(folder / "readings.xlsx")["readings"]
    rules = sheet.data_validations.dataValidation
    lists = {r.formula1 for r in rules if r.type == "list"}
    assert len(lists) == 8
    assert all(r.errorStyle == "warning" for r in rules if r.type in ("list", "custom"))
    custom, *_ = [r for r in rules if r.type == "custom"]
    assert "2.0" in custom.formula1
    assert "20.0" in custom.formula1
    assert "NUMBERVALUE" in custom.formula1
    # rules stay in place when rows are sorted: this one is silent on rows of other measures
    row = str(custom.sqref).split()[0].split(":")[0].lstrip("H")
    assert custom.formula1.startswith(f"OR(F{row}<>INDEX(lists!$C$2:$C$5,3),")
    assert max(len(str(r.sqref).split()) for r in rules) <= 50
    said = " ".join(str(r.prompt) for r in rules)
    for words in ("To 1/8 in. From 15 in to 40 in.", "To 1 oz.", "lb ", "both together"):
        assert words in said


def test_what_is_typed_is_read_back_without_loss(folder, plan):
    meant = type_in(folder, plan)
    session = read_session(folder)
    assert session.readings["count"].tolist() == meant
    assert session.unused == ()
    assert session.notices == ()


def test_rows_may_be_sorted_added_and_columns_moved(folder, plan):
    meant = type_in(folder, plan)
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    sheet = book["readings"]
    rows = [[c.value for c in row] for row in sheet.iter_rows(max_row=1 + len(meant))]
    head, body = rows[0], rows[1:]
    again = [*body[0]]
    again[head.index("retake")], again[head.index("reading")] = "1", "20 1/8"
    body = sorted([*body, again], key=lambda row: str(row[::-1]))
    order = list(range(len(head)))[::-1]
    book.remove(sheet)
    fresh = book.create_sheet("readings", 0)
    for row in [head, *body]:
        fresh.append([row[i] for i in order])
    for cell in (c for row in fresh for c in row if c.data_type == "f"):
        cell.data_type = "s"  # as a spreadsheet program keeps a text that begins so
    book.save(folder / "readings.xlsx")
    readings = read_session(folder).readings
    assert sorted(readings.loc[readings["retake"].isna(), "count"]) == sorted(meant)
    assert readings.loc[readings["retake"].notna(), "count"].tolist() == [161]


def test_the_same_plan_gives_the_same_bytes(folder, plan, tmp_path):
    other = tmp_path / "again.xlsx"
    write_workbook(plan, planned(plan), other)
    assert other.read_bytes() == (folder / "readings.xlsx").read_bytes()


@pytest.mark.parametrize(("paper", "number"), [("A4", 9), ("Letter", 1)])
def test_paper_is_that_of_the_plan(tmp_path, paper, number):
    plan = plan_of(f'paper = "{paper}"\n{PLAN}')
    write_workbook(plan, planned(plan), tmp_path / "w.xlsx")
    book = openpyxl.load_workbook(tmp_path / "w.xlsx")
    assert int(book["readings"].page_setup.paperSize) == number


def test_a_plan_without_groups_tares_or_instruments_has_no_columns_for_them(tmp_path):
    plan = plan_of('staff = 2\nsubjects = 6\n[measure.x]\nrecorded_to = "1 mm"\n')
    write_workbook(plan, planned(plan), tmp_path / "w.xlsx")
    head = columns_of(openpyxl.load_workbook(tmp_path / "w.xlsx")["readings"])
    assert not {"group", "tare", "instrument"} & set(head)


def office(folder, kind, name="readings.xlsx"):
    """What LibreOffice makes of a workbook, recalculated."""
    program = shutil.which("soffice") or shutil.which("libreoffice")
    if program is None:
        pytest.skip("needs LibreOffice, an outside program")
    out = folder / "office"
    subprocess.run(
        [program, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless",
         "--convert-to", kind, "--outdir", out, folder / name],
        check=True, capture_output=True, timeout=240,
    )  # fmt: skip
    return out


def test_libreoffice_works_the_formulas_out_and_keeps_text_as_text(folder, plan):
    meant = type_in(folder, plan, skip={3, 4}, second=True)
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    twice = book["second_entry"]
    twice.cell(2, columns_of(twice)["reading"]).value = "3/8"  # another reading than the first
    first, at = book["readings"], columns_of(book["readings"])
    first.cell(3, at["condition"]).value = "upset"  # entered, though nothing was read
    added = {key: first.cell(2, at[key]).value for key in ("sheet", "group", "measurer", "subject",
             "measure", "round")} | {"reading": "20 1/8", "retake": "1"}  # fmt: skip
    for key, value in added.items():
        first.cell(2 + len(planned(plan)), at[key]).value = value
        first.cell(2 + len(planned(plan)), at[key]).data_type = "s"
    book.save(folder / "readings.xlsx")
    out = office(folder, "xlsx:Calc MS Excel 2007 XML")
    saved = openpyxl.load_workbook(out / "readings.xlsx", data_only=True)
    rows = {row[0]: row[1:5] for row in saved["entered"].iter_rows(values_only=True) if row[0]}
    n = len(planned(plan))
    assert [int(v) for v in rows["all sheets"]] == [n, n - 1, n - 2, 1]
    code = planned(plan)["sheet"].iloc[0]
    per = int((planned(plan)["sheet"] == code).sum())
    assert [int(v) for v in rows[code]] == [per, per - 1, per - 2, 1]
    again = saved["second_entry"]
    assert again.cell(2, columns_of(again)["reading"]).value == "3/8"
    assert "=1+1" in {c.value for c in saved["readings"]["D"]}
    # LibreOffice's own file is read to the same counts
    (folder / "readings.xlsx").write_bytes((out / "readings.xlsx").read_bytes())
    found = look(folder)
    assert found.session.readings["count"].tolist() == [*meant, 161]
    (problem,) = found.problems
    assert problem.cell == "second_entry!H2"
    assert "it differs from readings!H2" in problem.problem


def test_the_file_is_a_whole_workbook(folder):
    assert zipfile.ZipFile(folder / "readings.xlsx").testzip() is None
