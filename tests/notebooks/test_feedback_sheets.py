"""The notebook of feedback sheets, run as a person and as the command run it."""

import pytest
from reporting.person.tables import sheets_of
from same_page import by_hand_and_by_command

import anthroqa
from anthroqa.reporting.page import notebooks
from anthroqa.reporting.person import pages


@pytest.mark.parametrize("sample", ["outreach_metric", "clinics_customary_as_typed"])
def test_notebook_runs_on_every_sample_and_shows_the_librarys_own_pages(request, sample, tmp_path):
    folder = request.config.rootpath / "sample_sessions" / sample
    values = {
        "session_folder": str(folder), "tables_folder": str(tmp_path / "t"), "confidence": 0.8,
        "seed": 3,
    }  # fmt: skip
    page = notebooks.to_html(notebooks.run("feedback_sheets", values), title="t")
    session = anthroqa.read_session(folder)
    expected = sheets_of(anthroqa.analyse(session, confidence=0.8, seed=3))
    names = {path.name for path in (tmp_path / "t").iterdir()}
    assert names == {"run.json", *(f"feedback_{code}.html" for code in expected)}
    for code, text in expected.items():
        assert text in page
        alone = (tmp_path / "t" / f"feedback_{code}.html").read_text(encoding="utf-8")
        assert text in alone
        assert alone.count('class="person"') == 1
    assert pages.people(session) == list(expected)


def test_run_all_in_its_own_folder_gives_the_same_page_as_the_command(request, monkeypatch):
    root = request.config.rootpath
    by_hand, by_command = by_hand_and_by_command(
        root, monkeypatch, "feedback_sheets", "clinics_customary"
    )
    assert by_hand == by_command
    assert not list((root / "notebooks").glob("feedback_*.html"))


def test_parameters_are_told_with_their_help():
    found = {p.name: p for p in notebooks.parameters("feedback_sheets")}
    assert list(found) == [
        "session_folder", "tables_folder", "confidence", "seed", "measurer", "paper",
    ]  # fmt: skip
    assert found["measurer"].default == ""
    assert found["measurer"].help == "only the page of this code; empty: everybody's"
