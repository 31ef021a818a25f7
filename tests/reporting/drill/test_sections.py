"""What the page of a drill says, on the sample and on drills where much cannot be had."""

import json
import re
from dataclasses import replace
from html import unescape

import numpy as np
import pandas as pd
import pytest

import anthroqa
from anthroqa import drill as make_page
from anthroqa.reporting.drill import sections
from anthroqa.scores.drill import read_back
from anthroqa.simulate.drills import Reader, read, settings

FILES = ["marks.csv", "marks_drill.html", "run.json", "scores.csv"]


@pytest.fixture(scope="module")
def session(samples):
    return anthroqa.read_session(samples / "marks_drill")


@pytest.fixture(scope="module")
def page(samples, tmp_path_factory):
    out = tmp_path_factory.mktemp("drill") / "out"
    assert make_page(samples / "marks_drill", out) == out / "marks_drill.html"
    return out


def plain(html):
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html)))


def said(session):
    """The opening and the part on each person, as plain text."""
    analysis = anthroqa.analyse(session)
    return plain(sections.opening(analysis).text), plain(sections.by_person(analysis).text)


def one_measure(readers, *, recorded_to="1/8 in", whole=8, n=24, codes=None, **measure):
    """A drill of people on settings drawn for them."""
    name = "board"
    frame = pd.DataFrame({"measurer": "P", "subject": "S", "measure": name, "round": [1],
                          "reading": "0"})  # fmt: skip
    empty = anthroqa.Session.from_frame(
        frame, measures={name: {"recorded_to": recorded_to, **measure}}
    )
    rng = np.random.default_rng(12)
    step = empty.measures[name].step
    amounts = settings(step, whole, low=18, high=38, rng=rng)[:n]
    true = np.array([float(a / step.size) for a in amounts])
    counts = np.stack([read(true, r, whole, rng=rng) for r in readers])
    person, at = np.indices(counts.shape).reshape(2, -1)
    names = codes or [f"P{i}" for i in range(len(readers))]
    readings = pd.DataFrame({
        "measurer": [names[p] for p in person], "subject": [f"S{a}" for a in at], "measure": name,
        "round": 1, "count": counts.ravel(), "written": "x",
    })  # fmt: skip
    known = pd.DataFrame({
        "subject": [f"S{a}" for a in range(n)], "measure": name, "true": "y", "steps": true,
    })  # fmt: skip
    return replace(empty, title="A drill", exercise="drill", readings=readings, true_values=known)


def test_a_drill_gives_four_files(page, session):
    assert sorted(p.name for p in page.iterdir()) == FILES
    record = json.loads((page / "run.json").read_text(encoding="utf-8"))
    assert record["inputs"] == dict(session.files)
    assert record["parameters"] == {"confidence": 0.9}


def test_the_same_drill_gives_the_same_bytes(page, samples, tmp_path):
    make_page(samples / "marks_drill", tmp_path / "again")
    for name in FILES:
        assert (tmp_path / "again" / name).read_bytes() == (page / name).read_bytes(), name


def test_the_page_opens_with_words_and_ends_with_cautions_and_record(page):
    html = (page / "marks_drill.html").read_text(encoding="utf-8")
    text = plain(html.split("</style>")[1])
    order = [
        "Read-back drill, board and beam", "9 people, 48 settings of 2 measures, 432 readings",
        "In short", "3 of 9 people read every mark (1/8 in) to the nearest: R1, R4 and R9.",
        "R2 reads the 1/8 in marks half a mark low (rounding down, or an offset of that size: "
        "one instrument cannot tell which): \u2212",
        "R3 reads the 1/2 in marks only, to the nearest.",
        "R7 counts the 1/8 in marks from the wrong side of the whole mark.",
        "5 of 9 people read every mark (1/4 lb) to the nearest: R1, R4, R5, R7 and R9.",
        "Before you act.", "It is no result on children",
        "Settings have an error of their own", "Local protocol and licensed practice decide.",
        "How does each person read the marks?", "Marks read, board", "Marks read, beam",
        "Notes on the data", "Methods and sources", "Cautions", "Run record",
    ]  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "<script" not in html
    assert not re.search(r"\b(grade|score of|rank|pass|fail)\b", text)


def test_every_row_of_the_page_is_that_of_the_table(page, session):
    marks = read_back.marks(session)
    html = (page / "marks_drill.html").read_text(encoding="utf-8")
    rows = re.findall(r'<tr><th scope="row">(R\d)</th>(.*?)</tr>', html)
    assert len(rows) == len(marks)
    for (who, cells), row in zip(rows, marks.itertuples(), strict=True):
        mark, how, shift, *_ = [unescape(c) for c in re.findall(r"<td>(.*?)</td>", cells)]
        assert (who, mark) == (row.measurer, row.mark.replace(" ", "\u00a0"))
        assert how == row.finding.replace(" ", "\u00a0")
        shown = [float(n) for n in re.findall(r"[-+]?\d\.\d\d", shift.replace("\u2212", "-"))]
        assert shown == pytest.approx([row.shift, row.lower, row.upper], abs=0.00501)
    written = pd.read_csv(page / "marks.csv", keep_default_na=False, na_values=[""])
    pd.testing.assert_series_equal(written["shift"], marks["shift"], rtol=1e-15)


def test_every_image_says_what_was_found(page):
    html = (page / "marks_drill.html").read_text(encoding="utf-8")
    texts = re.findall(r'<img [^>]*alt="([^"]*)"', html)
    assert len(texts) == 2
    assert "R7: 1/8 in, from the wrong side" in texts[0]
    assert "R3: 1/2 lb, to the nearest" in texts[1]


def test_a_displacement_that_everybody_shares_is_said_before_anybody_is(session):
    opening, _ = said(one_measure([Reader(shift=-0.5, error=0.1)] * 3))
    assert "The instrument or the settings? P0, P1 and P2: nearly everybody" in opening
    assert "check both before anything is said to a person" in opening
    apart, _ = said(session)
    assert "The instrument or the settings?" not in apart


def test_a_setting_that_nearly_everybody_reads_far_off_is_listed():
    session = one_measure([Reader(error=0.1)] * 4)
    moved = session.true_values.copy()
    moved.loc[moved["subject"] == "S3", "steps"] += 16
    opening, _ = said(replace(session, true_values=moved))
    assert "Settings to look at:" in opening
    assert "S3, board: y" in opening
    assert "Settings to look at:" not in said(session)[0]


def test_one_person_who_read_too_little_gets_the_reason():
    opening, person = said(one_measure([Reader()], n=4))
    assert "0 of 1 person read every mark (1/8 in) to the nearest." in opening
    assert "P0: settings read: 4, and 6 are the least to judge by." in opening
    assert "P0 \u2013 not judged \u2013 \u2013 \u2013 4" in person


def test_a_step_without_a_whole_mark_is_shown_on_ten_steps():
    session = one_measure([Reader(error=0.1)], recorded_to="3 mm", whole=10)
    opening, person = said(session)
    assert "1 of 1 person read every mark (3 mm) to the nearest: P0." in opening
    assert "no coarser mark is known: give whole_mark to compare" in opening
    assert "P0 3 mm to the nearest" in person


def test_an_error_too_small_to_show_is_not_shown_as_none():
    _, person = said(one_measure([Reader(error=0.0)]))
    assert "under 0.01" in person
    assert " 0.00 24" not in person


def test_a_crowd_is_counted_and_drawn_in_parts():
    session = one_measure([Reader(error=0.1)] * 23)
    analysis = anthroqa.analyse(session)
    opening = plain(sections.opening(analysis).text)
    assert "23 of 23 people read every mark (1/8 in) to the nearest." in opening
    assert sections.by_person(analysis).text.count("<img") == 3


def test_hostile_codes_are_shown_as_text():
    codes = ["<script>alert(1)</script>", "$x_1$", "\u202eabc"]
    session = one_measure([Reader(shift=-0.5, error=0.1)] * 3, codes=codes)
    session = replace(session, title="<b>title</b>")
    analysis = anthroqa.analyse(session)
    html = sections.opening(analysis).text + sections.by_person(analysis).text
    assert "<script" not in html
    assert "<b>" not in html
    assert "\u202e" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html


def test_the_drills_own_folder_is_refused(samples):
    with pytest.raises(ValueError, match="own folder: give another"):
        make_page(samples / "marks_drill", samples / "marks_drill")
