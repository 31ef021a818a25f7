"""What the page of staff over many sessions says, from its own sample and from tables by hand."""

import datetime as dt
import re
from types import SimpleNamespace as Row

import pandas as pd
import pytest
from reporting.staff.pages import (
    drawn,
    parts_of,
    plain,
    reviewed,
    texts_of,
    with_tables,
    write_session,
)

from anthroqa.program.staff.drift import DIFFERENCE, REFERENCE, REPEAT
from anthroqa.program.staff.instruments import moved_instruments
from anthroqa.reporting.staff import page, words
from anthroqa.scores.marks.screening import EXPECTED, NAMED

LIMITS = 'limit_tem = "0.6 cm"\nlimit_bias = "0.6 cm"'
STAFF = ["A", "B", "C", "D", "E", "F"]


@pytest.fixture(scope="module")
def tables(samples):
    return reviewed(samples / "four_quarters")


@pytest.fixture(scope="module")
def parts(tables):
    return parts_of(tables)


@pytest.fixture(scope="module")
def texts(parts):
    return {name: plain(part) for name, part in parts.items()}


def test_ten_seconds_tell_who_what_and_when(texts):
    text = texts["opening"]
    order = [
        "Four quarters", "Staff over 4 sessions from 20 January 2026 to 20 October 2026",
        "11 staff beside the reference LEAD, 2 measures", "In short",
        "Who differs or has moved: 3 people.", "V03, infant length: the difference moved by +0.3",
        "V05, infant length: repeat error 0.3", "V07, infant weight: repeat error 2.",
        "Retrained meanwhile: see there first", "The reference: it moved, or all the staff did.",
        "LEAD, infant weight: +2.", "Instruments: BABY-B reads 2.", "oz higher than at first",
        "Retraining:", "V07, infant weight: repeat error better than luck alone would give",
        "V09, infant weight: repeat error as luck alone would give", "Due again:",
        "at the next session: ", "21 April 2027: V02", "20 October 2027: LEAD", "Before you act.",
    ]  # fmt: skip
    places = [text.index(said) for said in order]
    assert places == sorted(places)
    assert "data need attention" not in text


def test_nobody_is_named_who_is_not_in_the_table(tables, texts):
    named = set(tables.named.loc[tables.named["state"] == NAMED, "measurer"])
    stands_out = texts["opening"].partition("Who differs")[2].partition("The reference:")[0]
    assert set(re.findall(r"\bV\d\d\b", stands_out)) == named - {"LEAD"}


def test_people_stand_by_code_and_never_by_result(parts):
    for name, part in parts.items():
        for table in re.findall(r"<tbody>.*?</tbody>", part.text, re.S):
            codes = re.findall(r'<th scope="row">(LEAD|V\d\d)</th>', table)
            assert codes == sorted(codes), name  # LEAD comes before V


def test_no_word_of_a_ranking_or_a_grade(texts):
    text = " ".join(texts.values()).lower()
    for word in ("rank", "grade", "best", "worst", "poor", "fail", "pass", "score", "red ", "top "):
        assert not re.search(rf"\b{word.strip()}\b", text), word


def test_every_figure_has_words_for_who_cannot_see_it(parts):
    images = 0
    for part in parts.values():
        for alt in re.findall(r'<img [^>]*alt="([^"]*)"', part.text):
            images += 1
            assert len(alt) > 60
    assert images == 4 + 2 + 2 + 2  # panels, funnels, moderated, before and after


def test_panels_say_every_figure_in_their_words(tables, parts):
    rows = tables.smoothed
    mine = rows[(rows["measurer"] == "V05") & (rows["measure"] == "infant_length")
                & (rows["what"] == REPEAT)]  # fmt: skip
    said = ", ".join(f"{v:.2f}" for v in mine["value"])
    assert f"V05 {said}" in parts["by session"].text


def test_differences_go_along_with_a_reference_that_moved(texts):
    said = "LEAD is seen to have moved in infant weight, or all the staff"
    assert said in texts["by session"]
    assert said in texts["due"]
    assert "have moved in infant length" not in texts["by session"] + texts["due"]


def test_reference_and_instruments_are_told_apart_from_people(texts):
    text = texts["reference"]
    assert "LEAD, infant weight, against all staff: +2." in text
    assert "BABY-B moved; not seen to have moved: BABY-A, BOARD-A and BOARD-B." in text
    assert "Error of BABY-B against known loads (oz)" in text
    assert "10 lb 0 oz" in text
    assert "LEAD" not in texts["moved"]


def test_retraining_shows_luck_beside_before_and_after(tables, texts):
    row = tables.retrained[
        (tables.retrained["measurer"] == "V09") & (tables.retrained["what"] == REPEAT)
    ].iloc[0]
    figures = [row["picked"], row["before"], row["luck_alone"], row["luck_lower"],
               row["luck_upper"], row["after"]]  # fmt: skip
    a, b, c, low, high, after = (f"{v:.1f}" for v in figures)
    said = f"V09 12 May 2026 {a} {b} {c} ({low} to {high}) {after} as luck alone would give"
    assert said.replace("\u00a0", " ") in texts["retraining"].replace("\u00a0", " ")


def test_a_session_is_headed_by_its_date_unless_two_share_it():
    rows = pd.DataFrame({
        "session": ["b", "a", "c"],
        "date": [dt.date(2026, 3, 1), dt.date(2026, 1, 2), dt.date(2026, 3, 1)],
    })  # fmt: skip
    assert words.heads(rows) == {"a": "2\u00a0Jan\u00a02026", "b": "b", "c": "c"}


def test_changes_in_words(clinics):
    oz = clinics.measures["infant_weight"]
    row = Row(change=1.26, lower=0.4, upper=2.1, sessions=4, what=DIFFERENCE, unit="oz")
    assert words.moved(row, oz) == (
        "the difference moved by +1.3 oz beside the other staff over 4 sessions (+0.4 to +2.1)"
    )
    row = Row(change=2.04, lower=1.2, upper=3.4, sessions=3, what=REPEAT, unit="times")
    assert words.moved(row, oz) == (
        "the repeat error went to 2.04 times what it was over 3 sessions (1.20 to 3.40)"
    )
    row = Row(change=-2.0, lower=-3.0, upper=-1.0, sessions=1, what=REFERENCE, unit="oz")
    assert words.moved(row, oz) == (
        "\u22122.0 oz against all staff together over 1 session (\u22123.0 to \u22121.0)"
    )


def known_load_rows(changes, *, session="s2"):
    return pd.DataFrame(
        [
            ("length", code, "rod", float(load), session, dt.date(2026, 4, 1), 0.0, 0.0, 0.0,
             change, change - 0.1, change + 0.1, "cm", "")
            for code, loads in changes.items()
            for load, change in enumerate(loads, start=60)
        ],
        columns=["measure", "instrument", "check", "load", "session", "date", "error", "lower",
                 "upper", "change", "change_lower", "change_upper", "unit", "note"],
    )  # fmt: skip


def test_one_load_of_many_moves_no_instrument():
    checks = known_load_rows({
        "ONE": [0.3, 0.0, 0.0], "BOTH": [0.3, -0.3, 0.0], "MOST": [0.2, 0.3, 0.0],
        "LOW": [-0.2, -0.3, -0.2],
    })  # fmt: skip
    assert moved_instruments(checks)["instrument"].tolist() == ["MOST", "LOW"]


def test_an_instrument_is_shown_at_a_load_that_moved_with_it():
    checks = known_load_rows({"MOST": [-0.3, 0.3, 0.4, 0.3, 0.3]})
    checks.loc[0, ["change_lower", "change_upper"]] = [-0.31, -0.29]  # known best, and against it
    checks.loc[2, ["change_lower", "change_upper"]] = [0.35, 0.45]
    (row,) = moved_instruments(checks).itertuples()
    assert (row.load, row.change) == (62.0, 0.4)


def test_nobody_named_says_so_and_with_how_many_questions(tables):
    rows = tables.named.assign(state=EXPECTED, adjusted=1.0)
    quiet = with_tables(tables, named=rows)
    text = plain(page.opening(quiet))
    n = int(rows.loc[(rows["measurer"] != "LEAD"), "p_value"].notna().sum())
    assert f"nobody. Of {n} questions asked of the staff none stands out" in text
    assert "LEAD: not seen to have a larger repeat error than the staff, nor to have moved" in text
    assert "Nobody is named in infant length." in plain(page.differing(quiet))
    assert "named" not in plain(page.moved(quiet))


def test_one_session_shows_what_it_can(tmp_path):
    write_session(tmp_path / "only", "2026-01-10", drawn(["LEAD", *STAFF], 10, seed=1), more=LIMITS)
    texts = texts_of(tmp_path / "only")
    assert "The data need attention: 1 problem" in texts["opening"]
    assert "One session says nothing of a change." in texts["opening"]
    assert "There is one session only" in texts["moved"]
    assert "Repeat error by session" in texts["by session"]
    assert "Due by date, length" in texts["due"]


def test_no_reference_compares_staff_with_each_other(tmp_path):
    for k in range(3):
        write_session(
            tmp_path / "p" / f"s{k}", f"2026-0{k + 1}-10", drawn(STAFF, 8, seed=k), reference=None
        )
    texts = texts_of(tmp_path / "p")
    assert "beside the reference" not in texts["opening"]
    assert "The reference:" not in texts["opening"]
    assert "staff are compared with each other" in texts["reference"]
    assert "No session has a known_loads.csv" in texts["reference"]
    assert "Nobody was retrained as far as the files say" in texts["retraining"]


def test_a_change_of_instrument_and_of_reference_is_drawn_and_said(tmp_path):
    for k in range(3):
        rows = [
            (*row, "NEW" if k == 2 and row[0] in "AB" else "OLD")
            for row in drawn(["LEAD", "X", *STAFF], 8, seed=k)
        ]
        write_session(
            tmp_path / "p" / f"s{k}", f"2026-0{k + 1}-10", rows, reference="X" if k else "LEAD"
        )
    (tmp_path / "p" / "retraining.csv").write_text("measurer,date\nC,2026-01-20\n")
    tables = reviewed(tmp_path / "p")
    happened = tables.events
    assert set(happened[happened["event"] == "another instrument"]["measurer"]) == {"A", "B"}
    other = happened[happened["event"] == "another reference"]
    assert set(other["date"]) == {dt.date(2026, 2, 10)}
    assert set(other["measurer"]) == {"LEAD", *STAFF}
    (one,) = happened[happened["event"] == "retrained"].itertuples()
    assert (one.measurer, one.date) == ("C", dt.date(2026, 1, 20))
    texts = {name: plain(part) for name, part in parts_of(tables).items()}
    assert "T retrained, K another instrument, R another reference" in texts["by session"]
    text = texts["reference"].replace("\u00a0", " ")
    assert "Another instrument in length from 10 Mar 2026 on (OLD, then NEW): A, B." in text
    assert "Another reference in length from 10 Feb 2026 on (LEAD, then X)" in text


def crowded(tables, people):
    """The tables of a program with everybody of `people` in the place of A, and nobody else."""
    many = {}
    for name in ("smoothed", "funnel", "drifts", "named", "moderated", "due"):
        table = getattr(tables, name)
        one = table[table["measurer"] == "A"]
        many[name] = pd.concat([one.assign(measurer=who) for who in people], ignore_index=True)
    return with_tables(tables, **many)


def test_sixty_people_stay_readable_and_whoever_is_named_is_shown(tmp_path):
    for k in range(3):
        rows = drawn(["LEAD", *STAFF], 8, seed=k)
        write_session(tmp_path / "p" / f"s{k}", f"2026-0{k + 1}-10", rows, more=LIMITS)
    t = crowded(reviewed(tmp_path / "p"), [f"P{i:02d}" for i in range(60)])
    named = (t.named["measurer"] == "P58") & (t.named["what"] == DIFFERENCE)
    t.named.loc[named, "state"] = NAMED
    parts = parts_of(t)
    texts = {name: plain(part) for name, part in parts.items()}
    assert "P58, length: the difference moved by " in texts["opening"]
    assert "P58" in texts["moved"]
    assert "P57" not in texts["moved"]
    assert "And 19 more people, in drifts.csv." in texts["moved"]
    assert ": 60 people, listed below." in texts["opening"]
    heights = [int(h) for h in re.findall(r'height="(\d+)"', parts["by session"].text)]
    assert len(heights) == 4 + 4  # 40 people; in differences also the one who is named
    assert max(heights) < 600
    for part in parts.values():
        for table in re.findall(r"<tbody>.*?</tbody>", part.text, re.S):
            assert table.count("<tr>") <= 41


def test_what_such_a_review_cannot_show_has_its_figures(tables, texts):
    rows = tables.funnel[tables.funnel["measure"] == "infant_length"]
    low, high = (f"{rows[c].median():.2f}" for c in ("lower_95", "upper_95"))
    assert f"repeat errors from {low} to {high} in are all alike by chance" in texts["cannot"]
    assert "puts nobody in an order" in texts["cannot"]
