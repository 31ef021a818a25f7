"""One object holds what counts say: the same tables as the functions give, with codes in them."""

import pandas as pd
import pytest
from reporting.routine.tallied import audit_of, even, person

from anthroqa.notes import Notes
from anthroqa.notes.cells import worded
from anthroqa.notes.program.routine import FewReadings
from anthroqa.program import audit, by_month, changes, converted, quality, repeated


@pytest.fixture(scope="module")
def records():
    staff = [
        person(f"V{i}", even(160, 16), period=f"2026-{m:02d}", followed=80, same=8 + i)
        for i in range(1, 8) for m in range(1, 5)
    ]  # fmt: skip
    leaning = person("K3", even(1200, 16, extra=400), followed=800, same=300)
    few = person("N1", even(16, 16), missing=9, followed=8, same=1)
    return audit_of(*staff, leaning, few)


def test_tables_are_those_of_the_functions(records):
    counts, confidence = records.tally.counts, {"confidence": 0.9}
    for ours, theirs in (
        (records.audit, audit(counts, **confidence)), (records.conversions, converted(counts)),
        (records.changes, changes(counts, **confidence)),
        (records.repeated, repeated(counts, **confidence)), (records.quality, quality(counts)),
    ):  # fmt: skip
        assert all(isinstance(note, Notes) for note in ours["note"])
        pd.testing.assert_frame_equal(worded(ours), theirs)
    assert records.audit is records.audit  # worked out once


def test_notes_are_asked_for_their_kind(records):
    mine = records.audit[records.audit["who"] == "N1"]
    assert {note.first(FewReadings) for note in mine["note"]} == {FewReadings(least=50)}


def test_months_are_of_places_and_of_people_with_a_finding(records):
    counts = records.tally.counts
    places = by_month(counts, levels=("everybody", "site", "instrument"))
    people = by_month(counts[counts["measurer"] == "K3"], levels=("measurer",))
    both = pd.concat([places, people], ignore_index=True)
    pd.testing.assert_frame_equal(worded(records.months), both)
