import io
import json
import shutil
import subprocess
import sys

import pandas as pd
import pytest

import anthroqa
from anthroqa.cli import main


@pytest.fixture
def outreach(request):
    return request.config.rootpath / "sample_sessions" / "outreach_metric"


@pytest.fixture
def broken(request, tmp_path):
    """The three clinics as typed, without their corrections."""
    folder = tmp_path / "typed"
    source = request.config.rootpath / "sample_sessions" / "clinics_customary_as_typed"
    shutil.copytree(source, folder, ignore=shutil.ignore_patterns("corrections.csv"))
    return folder


def test_help_lists_the_commands_with_an_example(capsys):
    assert main([]) == 0
    out = capsys.readouterr().out
    assert all(name in out for name in (
        "plan", "check", "score", "report", "drill", "feedback", "review", "records",
        "example: anthroqa report",
    ))  # fmt: skip


@pytest.mark.parametrize(
    "command", ["plan", "check", "score", "report", "drill", "feedback", "review", "records"]
)
def test_every_command_has_help_with_an_example(command, capsys):
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])
    assert stop.value.code == 0
    assert f"example: anthroqa {command}" in capsys.readouterr().out


def test_options_of_the_report_are_the_notebooks_parameters(capsys):
    with pytest.raises(SystemExit):
        main(["report", "--help"])
    out = capsys.readouterr().out
    assert "--confidence FLOAT" in out
    assert "coverage of every two-sided interval, default 0.9" in out
    assert "tables-folder" not in out


@pytest.mark.parametrize(
    "words",
    [["nope"], ["--nope"], ["check"], ["report", "x"], ["drill", "x"],
     ["feedback", "x"], ["review", "x"], ["records"], ["score", "x", "--format", "xml"],
     ["score", "x", "--confidence", "most"]],
)  # fmt: skip
def test_a_wrong_command_line_ends_with_1(words, capsys):
    with pytest.raises(SystemExit) as stop:
        sys.exit(main(words))
    assert stop.value.code == 1
    assert "usage: anthroqa" in capsys.readouterr().err


def test_check_ends_with_0_when_there_is_nothing_to_list(tmp_path, capsys):
    (tmp_path / "session.toml").write_text('[measure.length]\nrecorded_to = "1 mm"\n')
    head = "measurer,subject,measure,round,reading\n"
    (tmp_path / "readings.csv").write_text(f"{head}A,C1,length,1,600\nA,C1,length,2,\n")
    assert main(["check", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "1 of 1 entered" in out
    assert "read without a problem." in out


def test_check_ends_with_2_when_readings_are_to_be_taken_again(outreach):
    assert main(["check", str(outreach)]) == 2


def test_check_lists_every_problem_and_ends_with_2(broken, capsys):
    assert main(["check", str(broken)]) == 2
    out = capsys.readouterr().out
    assert "8 problems." in out
    assert "12 lb 17 oz" in out or "ounces run from 0 to 15" in out


def test_score_writes_the_table_as_csv(outreach, capsys):
    assert main(["score", str(outreach)]) == 0
    written = pd.read_csv(io.StringIO(capsys.readouterr().out))
    expected = anthroqa.score(anthroqa.read_session(outreach))
    assert list(written.columns) == list(expected.columns)
    pd.testing.assert_series_equal(written["estimate"], expected["estimate"], rtol=1e-15)


def test_score_keeps_to_what_is_asked_for_and_writes_json(outreach, capsys):
    words = ["--only", "bias, within_tem", "--format", "json", "--confidence", "0.95"]
    assert main(["score", str(outreach), *words]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert {r["statistic"] for r in rows} == {"bias", "within_tem"}
    assert {r["confidence"] for r in rows} == {0.95}


def test_score_of_faulty_data_prints_no_table_and_ends_with_2(broken, capsys):
    assert main(["score", str(broken)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("readings.csv, row") == 8


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--only", "biass"], "unknown statistic biass; known are within_tem"),
        (["--confidence", "2"], "confidence must lie between 0 and 1"),
    ],
)
def test_a_wrong_value_ends_with_1_in_plain_words(outreach, words, said, capsys):
    assert main(["score", str(outreach), *words]) == 1
    assert said in capsys.readouterr().err


def test_report_of_faulty_data_says_what_to_mend_and_writes_nothing(broken, tmp_path, capsys):
    out = tmp_path / "report"
    assert main(["report", str(broken), "--out", str(out)]) == 2
    err = capsys.readouterr().err
    assert err.count("readings.csv, row") == 8
    assert f"Nothing was written to {out}." in err
    assert not out.exists()


def test_report_into_the_sessions_own_folder_ends_with_1(outreach, capsys):
    assert main(["report", str(outreach), "--out", str(outreach)]) == 1
    assert "own folder: give another" in capsys.readouterr().err


def test_report_with_an_impossible_confidence_ends_with_1(outreach, tmp_path, capsys):
    words = ["report", str(outreach), "--out", str(tmp_path / "r"), "--confidence", "2"]
    assert main(words) == 1
    assert "confidence must lie between 0 and 1" in capsys.readouterr().err


def test_the_module_runs_as_the_command(outreach):
    run = [sys.executable, "-m", "anthroqa", "--version"]
    done = subprocess.run(run, capture_output=True, text=True, check=True)
    assert done.stdout == f"anthroqa {anthroqa.__version__}\n"


@pytest.mark.parametrize(
    "words",
    [["check"], ["score"], ["report", "--out", "r"], ["drill", "--out", "r"],
     ["feedback", "--out", "r"]],
)  # fmt: skip
def test_a_missing_folder_is_a_wrong_command_line_and_is_named(words, tmp_path, capsys):
    folder = str(tmp_path / "autumn")
    assert main([words[0], folder, *words[1:]]) == 1
    err = capsys.readouterr().err
    assert f"there is no folder {folder}: give the folder of a session" in err


def test_an_out_folder_that_cannot_be_is_told_without_a_temporary_name(outreach, tmp_path, capsys):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    out = tmp_path / "file" / "report"
    assert main(["report", str(outreach), "--out", str(out)]) == 1
    err = capsys.readouterr().err
    assert f"nothing can be written to {out}" in err


def test_drill_makes_its_page_and_says_where(request, tmp_path, capsys):
    folder = request.config.rootpath / "sample_sessions" / "marks_drill"
    out = tmp_path / "drill"
    assert main(["drill", str(folder), "--out", str(out), "--confidence", "0.8"]) == 0
    assert capsys.readouterr().out.strip() == str(out / "marks_drill.html")
    assert json.loads((out / "run.json").read_text())["parameters"] == {"confidence": 0.8}


def test_drill_of_faulty_settings_says_what_to_mend_and_writes_nothing(request, tmp_path, capsys):
    folder = tmp_path / "copy"
    shutil.copytree(request.config.rootpath / "sample_sessions" / "marks_drill", folder)
    (folder / "true_values.csv").unlink()
    out = tmp_path / "drill"
    assert main(["drill", str(folder), "--out", str(out)]) == 2
    err = capsys.readouterr().err
    assert "true_values.csv: a drill needs this file" in err
    assert f"Nothing was written to {out}." in err
    assert not out.exists()


def test_drill_of_a_session_that_is_none_ends_with_1_in_plain_words(outreach, tmp_path, capsys):
    assert main(["drill", str(outreach), "--out", str(tmp_path / "r")]) == 1
    err = capsys.readouterr().err
    assert err.startswith("anthroqa: nothing is known of what was set in outreach_metric")
    assert 'exercise = "drill" in session.toml, and true_values.csv' in err
    assert not (tmp_path / "r").exists()


def test_score_of_a_drill_has_rounding_shift_and_the_usual_figures(request, capsys):
    folder = request.config.rootpath / "sample_sessions" / "marks_drill"
    assert main(["score", str(folder), "--only", "rounding_shift,bias_from_others"]) == 0
    table = pd.read_csv(io.StringIO(capsys.readouterr().out))
    assert table["statistic"].value_counts().to_dict() == {
        "rounding_shift": 18, "bias_from_others": 18,
    }  # fmt: skip
