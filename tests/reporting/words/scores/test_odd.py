"""What odd readings, faults and steps of technique are called."""

import pytest

from anthroqa.notes import said
from anthroqa.notes.scores.odd import Explanation, Fault, SeenAgainst, Technique
from anthroqa.notes.scores.slips import Slipped
from anthroqa.reporting.words.scores.odd import name
from anthroqa.scores.odd.patterns import _VIEWS


@pytest.mark.parametrize("kind", [Explanation, Fault, Technique, Slipped])
def test_every_kind_has_words_of_its_own(kind):
    words = [said(member) for member in kind]
    assert all(words)
    assert len(set(words)) == len(words)


def test_a_fault_is_named_without_what_it_does():
    assert name(Fault.BOARD_LOOSE) == "board loose"
    assert name(Fault.KNEES_BENT) == "knees bent"
    for fault in Fault:
        assert said(fault).partition(":")[0] == name(fault)


def test_every_view_that_a_pattern_is_seen_against_has_words():
    assert said(SeenAgainst(views=_VIEWS)).startswith("seen against the reference, less")
