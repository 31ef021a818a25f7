"""The one object of a program holds what the functions of the program give."""

import pandas as pd
import pytest
from programs import QUARTERS, drawn_program

from anthroqa import program
from anthroqa.notes.cells import worded


def test_every_table_is_that_of_the_function_of_its_name_and_worked_out_once(tmp_path):
    sessions = drawn_program(tmp_path, 1, sessions=3, tem={"A": 14.0})
    review = program.review_of(sessions, confidence=0.8, seed=2, months=6)
    history = program.history(sessions, confidence=0.8, seed=2)
    errors, moved = program.repeat_errors(history), program.differences(history)
    funnel = program.funnel(errors)
    drifts = program.drifts(errors, moved, confidence=0.8)
    moderated = program.moderated(errors, confidence=0.8)
    expected = {
        "history": history, "repeat_errors": errors, "differences": moved, "funnel": funnel,
        "drifts": drifts, "named": program.named(funnel, drifts), "moderated": moderated,
        "retrained": program.retrained(sessions, errors, moved),
        "due": program.due(sessions, history, moderated, months=6),
        "instrument_drifts": program.instrument_drifts(sessions, confidence=0.8),
    }  # fmt: skip
    for name, table in expected.items():
        own = getattr(review, name)
        assert getattr(review, name) is own
        pd.testing.assert_frame_equal(worded(own), table)
    pd.testing.assert_frame_equal(review.smoothed, program.smoothed(errors, moved))
    soon = expected["due"].set_index(["measurer", "question"]).loc[("A", "repeatability")]
    assert soon["due"] == QUARTERS[2]
    assert soon["note"].startswith("at the next session: over the limit in the last one")


def test_what_is_no_confidence_and_no_time_is_refused_at_once(tmp_path):
    sessions = drawn_program(tmp_path, 2, sessions=1)
    with pytest.raises(ValueError, match="confidence"):
        program.review_of(sessions, confidence=1.5)
    with pytest.raises(ValueError, match="months must be 1 or more, not 0"):
        program.review_of(sessions, months=0)
