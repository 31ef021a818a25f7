import json
import tomllib

import pytest

from anthroqa.files import sha256_of
from anthroqa.intake import SessionError
from anthroqa.intake.described.settings import read_settings
from anthroqa.planning.plan import plan_of
from anthroqa.planning.session_files import RECORD, check_free, session_toml

PLAN = """
title = "North \\"clinics\\""
date = 2027-03-09
reference = "LEAD"
staff = ["K1", "K2"]
rounds = 2
paper = "Letter"
[subjects]
infants = 6
[conditions]
stop = ["upset"]
[measure.infant_weight]
of = "infants"
tared = true
minutes = 3
recorded_to = "1 oz"
range = ["4 lb", "45 lb"]
limit_tem = "2 oz"
limit_source = "manual \u00e9"
[instrument.BABY-A]
accuracy_class = "III"
"""


def test_session_toml_says_what_the_plan_says_and_is_read_without_a_problem():
    plan = plan_of(PLAN)
    settings, problems = read_settings(session_toml(plan), "session.toml")
    assert problems == []
    assert settings.measures == plan.measures
    assert (settings.title, settings.date, settings.reference) == (
        plan.title, plan.date, plan.reference
    )  # fmt: skip
    assert settings.handling_cap == plan.handling_cap == 12
    assert settings.conditions["stop"] == ("upset",)
    assert list(settings.instruments) == ["BABY-A"]


def test_session_toml_has_nothing_that_only_a_plan_needs():
    raw = tomllib.loads(session_toml(plan_of(PLAN)))
    assert not {"staff", "subjects", "rounds", "paper"} & set(raw)
    assert not {"of", "tared", "minutes"} & set(raw["measure"]["infant_weight"])


def planned_before(folder, **files):
    """A folder as a plan leaves it."""
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    outputs = {name: sha256_of(folder / name) for name in files}
    (folder / RECORD).write_text(json.dumps({"outputs": outputs}), encoding="utf-8")


FILES = ["session.toml", "readings.xlsx", RECORD]
AS_LEFT = {"session.toml": "title = 1", "readings.xlsx": "rows"}


def test_an_empty_folder_and_one_as_the_last_plan_left_it_are_free(tmp_path):
    check_free(tmp_path, FILES)
    planned_before(tmp_path, **AS_LEFT)
    check_free(tmp_path, FILES)


@pytest.mark.parametrize(
    ("name", "problem"),
    [("readings.xlsx", "may hold some"), ("readings.csv", "may hold some"),
     ("session.toml", "not as a plan left it")],
)  # fmt: skip
def test_what_somebody_typed_is_never_replaced(tmp_path, name, problem):
    planned_before(tmp_path, **AS_LEFT)
    (tmp_path / name).write_text("typed", encoding="utf-8")
    with pytest.raises(SessionError, match=problem) as stop:
        check_free(tmp_path, FILES)
    (told,) = stop.value
    assert told.file == name
    assert told.remedy.startswith("Nothing was written.")


@pytest.mark.parametrize("record", [None, "{", "[]", '{"outputs": 3}', "{}"])
def test_without_a_record_of_a_plan_every_file_is_somebodys(tmp_path, record):
    planned_before(tmp_path, **AS_LEFT)
    (tmp_path / RECORD).unlink()
    if record is not None:
        (tmp_path / RECORD).write_text(record, encoding="utf-8")
    with pytest.raises(SessionError) as stop:
        check_free(tmp_path, FILES)
    assert {"session.toml", "readings.xlsx"} <= {p.file for p in stop.value}


def test_a_folder_in_the_place_of_a_file_is_told(tmp_path):
    (tmp_path / "readings.xlsx").mkdir()
    with pytest.raises(SessionError, match="a folder stands where this file goes"):
        check_free(tmp_path, FILES)
