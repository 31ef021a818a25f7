import contextlib
import shutil

import openpyxl
import pytest

from anthroqa.reporting.check.following import follow
from anthroqa.reporting.check.listing import check, open_elsewhere

TOML = """
handling_cap = 12
[conditions]
stop = ["upset"]
[measure.length]
recorded_to = "1 mm"
expected_tem = "2 mm"
"""


def session(folder, readings, *, header="measurer,subject,measure,round,reading"):
    folder.mkdir(exist_ok=True)
    (folder / "session.toml").write_text(TOML, encoding="utf-8")
    rows = [f"{who},{subject},length,{turn},{reading}" for who, subject, turn, reading in readings]
    (folder / "readings.csv").write_text("\n".join([header, *rows, ""]), encoding="utf-8")
    return folder


def flat(text):
    return " ".join(text.split())


def test_pairs_beyond_the_programs_limit_are_listed_without_any_value(samples):
    listing, attention = check(samples / "outreach_metric")
    assert attention
    assert "C4: length by LEAD, round 2; length by M3, round 2; length by M4, rounds 1 and 2." in (
        flat(listing)
    )
    assert "length: two readings further apart than 0.7 cm" in listing
    assert "86.1" not in listing  # the reading itself must not be seen
    assert "for the cap of handlings is reached: 11 subjects" in listing
    assert "for a stop code stands there: 1 subject" in listing


def test_a_sound_folder_lists_what_was_passed_over_and_needs_no_attention(tmp_path):
    rows = [("A", "C1", 1, 600), ("A", "C1", 2, 601), ("", "", "", "")]
    folder = session(tmp_path / "s", rows, header=" measurer,subject,measure,round,reading")
    (folder / "readings.csv").write_text(
        (folder / "readings.csv").read_text().replace(",,length,,\n", ",,,,\nA,C2,length,1,700 \n")
    )
    listing, attention = check(folder)
    assert not attention
    assert listing == (
        "readings.csv: empty rows passed over: 4.\n"
        "readings.csv: outer spaces removed in 1 rows.\n"
        "3 readings by 1 person, 1 missing, read without a problem."
    )


@pytest.mark.parametrize(
    ("old", "new"), [("kit.csv", "known_loads.csv"), ("settings.csv", "true_values.csv")]
)
def test_a_file_with_an_old_name_needs_attention(tmp_path, old, new):
    folder = session(tmp_path / "s", [("A", "C1", 1, 600)])
    (folder / old).write_text("typed", encoding="utf-8")
    listing, attention = check(folder)
    assert attention
    assert f"{old}:\n    this file is called {new} now" in listing
    assert f"Rename it to {new}." in flat(listing)


def test_subjects_are_called_once_in_the_order_people_count(tmp_path):
    rows = [(who, f"C{s}", turn, 600 + 9 * (turn == 2)) for who in "AB" for s in (2, 10)
            for turn in (1, 2)]  # fmt: skip
    listing, attention = check(session(tmp_path / "s", rows))
    assert attention
    assert (
        "To take again while the child is here: 2 subjects.\n"
        "  C2: length by A, rounds 1 and 2; length by B, rounds 1 and 2.\n"
        "  C10: length by A, rounds 1 and 2; length by B, rounds 1 and 2.\n"
        "length: two readings further apart than 5.54 mm (2.77 times the expected"
    ) in listing
    assert "609" not in listing


def test_what_is_still_too_far_after_a_retake_is_told_apart(tmp_path):
    rows = [("A", "C1", 1, "600,"), ("A", "C1", 2, "650,"), ("A", "C1", 2, "640,1")]
    header = "measurer,subject,measure,round,reading,retake"
    folder = session(tmp_path / "s", rows, header=header)
    listing, attention = check(folder)
    assert attention
    assert "Taken again and still too far, to be taken once more at most: 1 subject." in listing
    assert "(2, if it was taken again before)" in flat(listing)
    assert "while the child is here" not in listing
    assert not check(session(folder, [*rows, ("A", "C1", 2, "640,2")], header=header))[1]


@pytest.mark.parametrize("sample", ["outreach_metric", "clinics_customary"])
def test_a_screen_of_80_columns_is_wide_enough(samples, sample):
    listing, _ = check(samples / sample)
    assert max(map(len, listing.splitlines())) < 80


def test_problems_are_counted_and_sound_rows_are_still_judged(tmp_path):
    rows = [("A", "C1", 1, 600), ("A", "C1", 2, 650), ("A", "C2", 1, "x")]
    listing, attention = check(session(tmp_path / "s", rows))
    assert attention
    assert "1 problem." in listing
    assert "C1: length by A, rounds 1 and 2." in listing
    assert "2 readings by 1 person, read beside these problems." in listing


def test_problems_of_a_sample_are_counted(samples, tmp_path):
    folder = tmp_path / "typed"
    shutil.copytree(samples / "clinics_customary_as_typed", folder)
    (folder / "corrections.csv").unlink()
    listing, attention = check(folder)
    assert attention
    assert "\n\n8 problems.\n\n" in listing


@pytest.mark.parametrize(
    ("plain", "bar"),
    [(False, "\u2588" * 5 + "\u2591" * 15), (True, "#" * 5 + "." * 15)],
    ids=["blocks", "plain"],
)
def test_progress_of_entry_is_a_bar_a_round_and_no_reason_for_attention(tmp_path, plain, bar):
    rows = [("A", "C1", 1, 600), *(("A", f"C{i}", 1, "") for i in (2, 3, 4))]
    rows += [("A", f"C{i}", 2, "") for i in (1, 2, 3, 4)]
    listing, attention = check(session(tmp_path / "s", rows), plain=plain)
    assert not attention
    assert f"Round 1  {bar} 1 of 4 entered" in listing
    assert f"Round 2  {bar[-1] * 20} 0 of 4 entered" in listing
    assert "A, round 1: 3 not entered" in listing
    assert "A, round 2" not in listing  # not begun: nobody is behind


def test_a_file_without_a_row_says_so(tmp_path):
    assert check(session(tmp_path / "s", [])) == ("Nothing is entered yet.", False)


def test_a_fresh_session_needs_no_attention(tmp_path):
    listing, attention = check(session(tmp_path / "s", [("A", "C1", 1, "")]), plain=True)
    assert (listing, attention) == (f"Round 1  {'.' * 20} 0 of 1 entered", False)


@pytest.mark.parametrize("lock", ["~$readings.csv", ".~lock.readings.csv#"])
def test_a_file_that_is_open_elsewhere_is_told(tmp_path, lock):
    folder = session(tmp_path / "s", [("A", "C1", 1, 600)])
    assert open_elsewhere(folder) == []
    (folder / lock).write_text("")
    assert "readings.csv is open in a spreadsheet program" in check(folder)[0]


def steps(monkeypatch, *actions):
    """Something that happens between one look and the next; the last one stops."""
    left = list(actions)

    def sleep(seconds):
        if not left:
            raise KeyboardInterrupt
        if (action := left.pop(0)) is not None:
            action()

    monkeypatch.setattr("anthroqa.reporting.check.following.time.sleep", sleep)


def looks(folder):
    found = []
    with contextlib.suppress(KeyboardInterrupt):
        found.extend(follow(folder, plain=True))
    return found


def test_following_looks_again_only_when_a_file_changes(tmp_path, monkeypatch):
    folder = session(tmp_path / "s", [("A", "C1", 1, 600)])
    lock = folder / ".~lock.readings.csv#"
    steps(
        monkeypatch, None, None, lambda: lock.write_text(""),
        lambda: session(folder, [("A", "C1", 1, "x7")]), None,
    )  # fmt: skip
    first, second = looks(folder)
    assert "1 reading by 1 person" in first[0]
    assert "found 'x7'" in second[0]
    assert (first[1], second[1]) == (False, True)


def test_a_workbook_that_is_half_saved_is_waited_for(tmp_path, monkeypatch):
    folder = session(tmp_path / "s", [])
    (folder / "readings.csv").unlink()
    book = openpyxl.Workbook()
    book.active.title = "readings"
    book.active.append(["measurer", "subject", "measure", "round", "reading"])
    book.active.append(["A", "C1", "length", 1, "600"])
    path = folder / "readings.xlsx"
    book.save(path)
    whole = path.read_bytes()
    steps(monkeypatch, lambda: path.write_bytes(whole[:900]), None, lambda: path.write_bytes(whole))
    found = looks(folder)
    assert [attention for _, attention in found] == [False, False]


@pytest.mark.parametrize(
    ("name", "half"),
    [("session.toml", None), ("readings.csv", None), ("session.toml", "[measure")],
)
def test_a_file_that_is_being_replaced_is_waited_for(tmp_path, monkeypatch, name, half):
    folder = session(tmp_path / "s", [("A", "C1", 1, 600)])
    path = folder / name
    whole = path.read_text(encoding="utf-8")
    cut = path.unlink if half is None else lambda: path.write_text(half, encoding="utf-8")
    steps(monkeypatch, cut, None, lambda: path.write_text(whole + "\n", encoding="utf-8"))
    assert [attention for _, attention in looks(folder)] == [False, False]


def test_a_workbook_that_stays_broken_is_told_after_some_looks(tmp_path, monkeypatch):
    folder = session(tmp_path / "s", [])
    (folder / "readings.csv").unlink()
    path = folder / "readings.xlsx"
    path.write_bytes(b"")
    steps(monkeypatch, lambda: path.write_bytes(b"PK half"), *[None] * 8)
    found = looks(folder)
    assert len(found) == 2
    assert "is not whole" in found[1][0]
    assert "wait a moment" in flat(found[1][0])
