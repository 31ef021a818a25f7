"""Every sentence replaced by a number: columns, findings and the build of every page stay."""

import importlib
import pkgutil
import re
from dataclasses import is_dataclass
from enum import Enum
from pathlib import Path

import pandas as pd
import pytest

import anthroqa
from anthroqa import notes
from anthroqa.intake import look
from anthroqa.notes.cells import worded
from anthroqa.program.routine.audited import RoutineAudit
from anthroqa.program.staff.reviewed import review_of
from anthroqa.program.staff.sessions import read_program
from anthroqa.reporting.check.listing import check
from anthroqa.reporting.drill import page as drill
from anthroqa.reporting.person import pages
from anthroqa.reporting.routine import page as routine
from anthroqa.reporting.session import page as report
from anthroqa.reporting.staff import page as staff

SAMPLES = Path(__file__).parents[3] / "sample_sessions"
# columns whose cells are words of notes
WORDS = ["note", "consistent_with", "kind", "why", "pattern", "technique", "said", "problem",
         "remedy"]  # fmt: skip
TABLES = ("scores", "decisions", "mark_findings", "slips", "hidden_slips", "instrument_checks",
          "variants", "parts", "doubts", "by_size", "patterns", "too_fine", "retakes", "indices",
          "entangled")  # fmt: skip
LAST = {"saved", "audited", "folders_of"}  # of a face: no section


@pytest.fixture
def numbers(monkeypatch):
    """A call of it replaces the words of every kind by a number."""

    def replace():
        words = {
            kind: tuple(f"{n} {i}" for i in range(len(of))) if isinstance(of, tuple) else str(n)
            for n, (kind, of) in enumerate(notes.registered().items())
        }
        monkeypatch.setattr(notes, "_words", words)

    return replace


def kinds():
    """Every kind of note that there is: members of enums, and classes with parts."""
    for module in pkgutil.walk_packages(notes.__path__, "anthroqa.notes."):
        importlib.import_module(module.name)
    below = list(notes.Note.__subclasses__())
    while below:
        kind = below.pop()
        below += kind.__subclasses__()
        if issubclass(kind, Enum):
            yield from kind
        elif is_dataclass(kind) and kind is not notes.Quoted:
            yield kind


def built(part):
    """How a section is built: its tags without their text, headings and codes left alone."""
    return re.findall(r"<(/?[a-z][a-z0-9]*)", part.text)


def headings(part):
    return re.findall(r"<h\d[^>]*>(.*?)</h\d>|<caption>(.*?)</caption>", part.text)


def sections(face, of):
    return {name: getattr(face, name)(of) for name in face.__all__ if name not in LAST}


def test_every_kind_of_note_has_words():
    words = notes.registered()
    bare = [kind for kind in kinds() if kind not in words]
    # a class that others inherit, and that is never made itself, needs none
    assert [kind for kind in bare if isinstance(kind, Enum) or not kind.__subclasses__()] == []
    assert len(words) > 250


@pytest.mark.parametrize("name", ["clinics_customary", "outreach_metric"])
def test_tables_and_pages_of_a_session_stay_as_they_are(name, numbers):
    analysis = anthroqa.analyse(anthroqa.read_session(SAMPLES / name))
    before = {n: getattr(analysis, n) for n in TABLES}
    said = {n: worded(t) for n, t in before.items() if "note" in t}
    faces = sections(report, analysis), pages.sheets(analysis)
    numbers()
    other = anthroqa.analyse(anthroqa.read_session(SAMPLES / name))
    for table, frame in before.items():
        again = getattr(other, table)
        plain = [c for c in frame if c not in WORDS]
        pd.testing.assert_frame_equal(frame[plain], again[plain])
    changed = [n for n, text in said.items()
               if (worded(getattr(other, n))["note"] != text["note"]).any()]  # fmt: skip
    assert len(changed) >= 5  # the sentences did go
    for one, two in zip(faces, (sections(report, other), pages.sheets(other)), strict=True):
        assert {n: built(p) for n, p in one.items()} == {n: built(p) for n, p in two.items()}
        assert {n: headings(p) for n, p in one.items()} == {n: headings(p) for n, p in two.items()}


def test_the_page_of_a_drill_stays_as_it_is(numbers):
    analysis = anthroqa.analyse(anthroqa.read_session(SAMPLES / "marks_drill"))
    before, page = analysis.drill_marks, sections(drill, analysis)
    numbers()
    other = anthroqa.analyse(anthroqa.read_session(SAMPLES / "marks_drill"))
    columns = before.columns.drop("note")
    pd.testing.assert_frame_equal(before[columns], other.drill_marks[columns])
    again = sections(drill, other)
    assert {n: built(p) for n, p in page.items()} == {n: built(p) for n, p in again.items()}


def test_the_page_of_a_program_stays_as_it_is(numbers):
    folders = sorted(p.parent for p in (SAMPLES / "four_quarters").glob("*/session.toml"))
    review = review_of(read_program(folders))
    before = {n: getattr(review, n) for n in staff.TABLES}
    page = sections(staff, review)
    numbers()
    other = review_of(read_program(folders))
    for table, frame in before.items():
        plain = [c for c in frame if c not in WORDS]
        pd.testing.assert_frame_equal(frame[plain], getattr(other, table)[plain])
    again = sections(staff, other)
    assert {n: built(p) for n, p in page.items()} == {n: built(p) for n, p in again.items()}


def test_the_page_of_routine_records_stays_as_it_is(numbers):
    audit = routine.audited(
        str(SAMPLES / "valley_records"), confidence=0.9, clusters="day",
        recorded_to="infant_weight=1 oz; infant_length=1/8 in",
    )  # fmt: skip
    page = sections(routine, audit)
    numbers()
    again = sections(routine, RoutineAudit(tally=audit.tally, confidence=0.9))
    assert {n: built(p) for n, p in page.items()} == {n: built(p) for n, p in again.items()}


def test_problems_of_a_session_are_the_same_ones(tmp_path, numbers):
    typed = SAMPLES / "clinics_customary_as_typed"
    for name in ("session.toml", "readings.csv"):
        (tmp_path / name).write_bytes((typed / name).read_bytes())
    before, listing = look(tmp_path), check(tmp_path)[0]
    text = [str(p) for p in before.problems]
    numbers()
    again = look(tmp_path)
    assert len(text) > 5
    assert again.problems == before.problems
    assert [str(p) for p in again.problems] != text
    assert len(check(tmp_path)[0].splitlines()) <= len(listing.splitlines())
