"""Session folders become a page with its tables; problems are shown beside it."""

import json
import re
import shutil

import pandas as pd
import pytest
from reporting import test_browser
from reporting.session.test_folder import ADDRESSES, Page
from reporting.staff.pages import drawn, write_session

from anthroqa.intake import SessionError
from anthroqa.reporting.staff.folder import folders_of, left_out, review

FILES = [
    "drifts.csv", "due.csv", "funnel.csv", "history.csv", "instrument_drifts.csv",
    "moderated.csv", "named.csv", "retrained.csv", "run.json", "staff_review.html",
]  # fmt: skip
PEOPLE = ["LEAD", "<b>x", "=1+1", "$x_1$", "\u202eabc", "a&b"]


def read(folder):
    return (folder / "staff_review.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def made(samples, tmp_path_factory):
    out = tmp_path_factory.mktemp("review") / "out"
    page = review([samples / "four_quarters"], out)
    assert page == out / "staff_review.html"
    return out


@pytest.fixture(scope="module")
def faulty(tmp_path_factory):
    """Hostile codes, a session without a date, one that cannot be read, one to another step."""
    folder = tmp_path_factory.mktemp("faulty") / "it's <i>"
    for k in range(2):
        write_session(folder / f"s{k}", f"2026-0{k + 1}-10", drawn(PEOPLE, 6, seed=k))
    write_session(folder / "undated", None, drawn(PEOPLE, 6, seed=2))
    coarse = [(*row[:3], f"{float(row[3]):.0f}") for row in drawn(PEOPLE, 6, seed=3)]
    write_session(folder / "coarse", "2026-03-10", coarse, step="1 cm")
    folder.joinpath("broken").mkdir()
    folder.joinpath("broken", "session.toml").write_text("title =", encoding="utf-8")
    folder.joinpath("retraining.csv").write_text(
        "measurer,date,measure,picked_in,note\n<b>x,2026-01-20,,,<script>x</script>\n"
        "nobody,2026-01-20,,,\n=1+1,yesterday,,,\n",
        encoding="utf-8",
    )
    return folder


@pytest.fixture(scope="module")
def faulty_out(faulty, tmp_path_factory):
    out = tmp_path_factory.mktemp("faulty-out") / "out"
    review([faulty], out)
    return out


def test_the_page_its_tables_and_the_record_appear_together(made):
    assert sorted(p.name for p in made.iterdir()) == FILES
    assert left_out(made) == []


def test_every_section_stands_in_its_place(made):
    text = Page(read(made)).text
    order = [
        "Four quarters", "In short", "Before you act.", "How did each person's figures go?",
        "Who differs from the others?", "Own and moderated figures", "Who has moved?",
        "Has the reference moved, or an instrument?", "Did retraining help?", "Who is due again?",
        "What such a review cannot show", "Notes on the data", "Methods and sources", "Cautions",
        "Run record",
    ]  # fmt: skip
    places = [text.index(said) for said in order]
    assert places == sorted(places)


def test_page_holds_no_script_no_address_and_headings_in_order(made):
    text = read(made)
    page = Page(text)
    assert "script" not in {tag for tag, _ in page.tags}
    assert not ADDRESSES.search(text)
    assert page.headings[0] == 1
    assert all(b <= a + 1 for a, b in zip(page.headings, page.headings[1:], strict=False))
    assert all(len(image["alt"]) > 60 for image in page.images)


@pytest.mark.skipif(test_browser.CHROMIUM is None, reason="needs Chromium, an outside program")
def test_page_fits_a_phone(made, tmp_path):
    shutil.copy(made / "staff_review.html", tmp_path / "session_report.html")
    test_browser.test_page_fits_a_phone_without_scrolling_sideways(tmp_path, tmp_path)


def test_what_the_page_names_is_what_the_table_names(made):
    rows = pd.read_csv(made / "named.csv")
    text = Page(read(made)).text
    short = text.partition("Who differs or has moved:")[2].partition("The reference:")[0]
    named = rows[(rows["state"] == "named") & (rows["measurer"] != "LEAD")]
    assert set(re.findall(r"\bV\d\d\b", short)) == set(named["measurer"])
    assert {"V03", "V05"} <= set(named["measurer"])


def test_same_sessions_give_the_same_bytes_whichever_way_they_are_given(made, samples, tmp_path):
    folder = samples / "four_quarters"
    quarters = sorted(p for p in folder.iterdir() if p.is_dir())
    out = tmp_path / "again"
    review(reversed(quarters), out, retraining_file=str(folder / "retraining.csv"))
    for name in FILES:
        if name in ("run.json", "staff_review.html"):
            continue  # they name the folder that was given
        assert (out / name).read_bytes() == (made / name).read_bytes(), name
    record, one = (json.loads((f / "run.json").read_text()) for f in (out, made))
    assert record["inputs"] == one["inputs"]


def test_run_record_names_every_file_and_no_path(made, samples):
    text = (made / "run.json").read_text(encoding="utf-8")
    record = json.loads(text)
    assert len([name for name in record["inputs"] if name.endswith("readings.csv")]) == 4
    assert "retraining.csv" in record["inputs"] or any(
        name.endswith("/retraining.csv") for name in record["inputs"]
    )
    assert record["parameters"] == {"recheck_months": 12, "confidence": 0.9, "seed": 0}
    assert str(samples.parent) not in text + read(made)
    page = Page(read(made)).text
    assert all(digest in page for digest in record["inputs"].values())


def test_problems_are_on_the_page_and_told_while_it_is_still_written(faulty_out):
    problems = left_out(faulty_out)
    text = Page(read(faulty_out)).text
    assert f"The data need attention: {len(problems)} problems" in text
    for where in ("undated", "coarse", "broken", "nobody", "yesterday"):
        assert any(where in problem for problem in problems), where
        assert where in text
    assert "Staff over 2 sessions" in text
    assert sorted(p.name for p in faulty_out.iterdir()) == FILES


def test_hostile_codes_are_shown_as_text_and_start_no_formula(faulty_out):
    text = read(faulty_out)
    page = Page(text)
    assert {tag for tag, _ in page.tags}.isdisjoint({"script", "i", "b"})
    for typed in ("<b>x", "=1+1", "$x_1$", "a&b"):
        assert typed in page.text, typed
    assert "\u202e" not in text
    for name in FILES:
        if name.endswith(".csv"):
            table = pd.read_csv(faulty_out / name, keep_default_na=False, dtype=str)
            for column in table.columns:
                starts = table[column].str.match(r"[=+@\t\r\n]|-[^0-9]")
                assert not starts.any(), (name, column)


def test_nothing_readable_writes_nothing(tmp_path):
    (tmp_path / "empty").mkdir()
    out = tmp_path / "out"
    with pytest.raises(SessionError) as caught:
        review([tmp_path / "empty", tmp_path / "not there"], out)
    assert "empty" in str(caught.value)
    assert "not there" in str(caught.value)
    assert not out.exists()


def test_a_folder_of_the_sessions_is_refused_as_the_place_of_the_page(samples):
    folder = samples / "four_quarters"
    for out in (folder, folder / "2026_1_winter"):
        with pytest.raises(ValueError, match="folder of the sessions: give another"):
            review([folder], out)
    with pytest.raises(ValueError, match="no folder is given"):
        review([], folder / "out")


def test_inputs_stay_as_they_are_and_an_unknown_parameter_is_refused(samples, tmp_path):
    with pytest.raises(ValueError, match="no parameter months; it has program_folders"):
        review([samples / "four_quarters"], tmp_path / "out", months=3)
    assert not (tmp_path / "out").exists()


def test_folders_of_a_parameter():
    assert [str(f) for f in folders_of(" a ;b c\n;\n d/e ")] == ["a", "b c", "d/e"]
    assert folders_of("") == []
