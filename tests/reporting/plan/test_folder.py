"""A plan becomes a folder that is ready to use, whole or not at all."""

import json
import shutil

import pytest

import anthroqa
from anthroqa import plan
from anthroqa.cli import main
from anthroqa.files import sha256_of
from anthroqa.intake import look

PLAN = """
title = "Spring"
staff = ["K1", "K2", "K3"]
subjects = 6
[measure.length]
recorded_to = "1/8 in"
expected_tem = "1/8 in"
limit_tem = "0.3 in"
"""
NAMES = {
    "session_plan.html", "sheets.html", "session.toml", "readings.xlsx", "order.csv",
    "chances.csv", "run.json",
}  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plans") / "spring"
    folder.mkdir()
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    written = plan(folder)
    return folder, written


@pytest.fixture
def folder(made, tmp_path):
    """A copy of the folder that was made."""
    return shutil.copytree(made[0], tmp_path / "spring")


def test_everything_is_there_and_the_plan_is_as_it_was(made):
    folder, written = made
    names = {path.name for path in written}
    assert names - {"sheets.pdf"} == NAMES
    assert {p.name for p in folder.iterdir()} == names | {"plan.toml"}
    assert written[0].name == "session_plan.html"
    assert (folder / "plan.toml").read_text(encoding="utf-8") == PLAN
    record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert set(record["outputs"]) == names - {"run.json"}
    assert list(record["inputs"]) == ["plan.toml"]
    assert record["parameters"] == {"confidence": 0.9, "seed": 0}


def test_the_folder_is_a_session_without_a_reading_yet(made):
    found = look(made[0])
    assert (found.problems, found.session) == ((), None)
    assert found.progress["planned"].sum() == 3 * 6 * 2


def test_planning_again_gives_the_same_bytes(folder):
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    plan(folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_another_seed_of_the_plan_gives_another_order(folder):
    before = (folder / "order.csv").read_bytes()
    (folder / "plan.toml").write_text(f"seed = 5\n{PLAN}", encoding="utf-8")
    plan(folder)
    assert (folder / "order.csv").read_bytes() != before


def test_a_workbook_that_somebody_typed_into_is_never_replaced(folder):
    (folder / "readings.xlsx").write_bytes(b"typed")
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    with pytest.raises(anthroqa.SessionError, match="may hold some"):
        plan(folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert list(folder.parent.iterdir()) == [folder]


def test_a_pdf_of_an_earlier_order_does_not_stay(folder, monkeypatch):
    (folder / "sheets.pdf").write_bytes(b"old")
    record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    record["outputs"]["sheets.pdf"] = sha256_of(folder / "sheets.pdf")
    (folder / "run.json").write_text(json.dumps(record), encoding="utf-8")
    written = plan(folder)
    there = (folder / "sheets.pdf").exists()
    assert there == any(p.name == "sheets.pdf" for p in written)
    assert not there or (folder / "sheets.pdf").read_bytes() != b"old"


def test_without_a_pdf_the_command_says_what_prints_the_same(tmp_path, capsys, monkeypatch):
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    monkeypatch.setattr(
        "anthroqa.reporting.plan.folder.plan", lambda folder, **_: [folder / "sheets.html"]
    )
    assert main(["plan", str(tmp_path)]) == 0
    assert "Print sheets.html from a browser" in capsys.readouterr().err


def test_the_command_prints_what_it_wrote(tmp_path, capsys):
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    assert main(["plan", str(tmp_path)]) == 0
    assert str(tmp_path / "sheets.html") in capsys.readouterr().out
    assert main(["check", str(tmp_path)]) == 0
    assert "0 of 18 entered" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        (None, 2, "plan.toml: this file is missing"),
        ("staff = 0\n", 2, "column staff"),
        (
            "subjects = 6\nstaff = 2\n[measure.x]\nrecorded_to = '1 g'\nof = 'y'\n",
            2,
            "measure.x.of",
        ),
    ],
)
def test_a_plan_that_needs_attention_ends_with_2_and_writes_nothing(
    tmp_path, capsys, monkeypatch, text, code, said
):
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    if text is not None:
        (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    assert main(["plan", str(tmp_path)]) == code
    error = capsys.readouterr().err
    assert said in error
    assert "Nothing was written" in error
    assert {p.name for p in tmp_path.iterdir()} <= {"plan.toml"}


def test_a_wrong_parameter_is_a_failure(tmp_path, capsys):
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    assert main(["plan", str(tmp_path), "--confidence", "2"]) == 1
    assert "confidence must lie between 0 and 1" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["plan.toml"]


def answers(monkeypatch, *given):
    left = iter(given)

    def ask(question):
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr("builtins.input", ask)


ANSWERS = ("Spring", "", "3", "6", "", "", "", "length", "1/8 in", *[""] * 6, "")


def test_questions_make_the_plan_and_the_folder(tmp_path, monkeypatch, capsys):
    answers(monkeypatch, *ANSWERS)
    folder = tmp_path / "new" / "spring"
    assert main(["plan", str(folder), "--ask"]) == 0
    assert (folder / "plan.toml").exists()
    assert (folder / "readings.xlsx").exists()
    answers(monkeypatch, *ANSWERS)
    assert main(["plan", str(folder), "--ask"]) == 1
    assert "is there already" in capsys.readouterr().err


def test_answers_that_end_too_early_leave_nothing(tmp_path, monkeypatch, capsys):
    answers(monkeypatch, "Spring", "", "3")
    folder = tmp_path / "spring"
    assert main(["plan", str(folder), "--ask"]) == 1
    assert "nothing was written" in capsys.readouterr().err
    assert not folder.exists()
