"""The instrument and the reference come before the person."""

import numpy as np
import pandas as pd
import pytest
from strategies import as_session

from anthroqa.decisions.findings import COLUMNS as DECISION
from anthroqa.decisions.reference import COLUMNS as DOUBT
from anthroqa.decisions.tolerance_checks import COLUMNS as CHECK
from anthroqa.notes import notes_of
from anthroqa.notes.scores.odd import Fault, ReadOnInstrument
from anthroqa.reporting.person.first_lines import first
from anthroqa.scores.odd.patterns import COLUMNS as PATTERN

READ = pd.DataFrame(
    [(who, s, k, "700", "BOARD" if who == "A" else "OTHER")
     for who in ("LEAD", "A", "B") for s in ("1", "2") for k in (1, 2)],
    columns=["measurer", "subject", "round", "reading", "instrument"],
).assign(measure="length")  # fmt: skip
SESSION = as_session(READ, reference="LEAD", limit_bias="5 mm")


def told(code="A", *, statistic="bias", state="over limit", checks=(), patterns=(), doubts=()):
    decisions = [{"measure": "length", "measurer": code, "question": "bias",
                  "statistic": statistic, "state": state}]  # fmt: skip
    tables = [
        pd.DataFrame(rows, columns=columns)
        for rows, columns in (
            (decisions, DECISION), (list(checks), CHECK), (list(patterns), PATTERN),
            (list(doubts), DOUBT),
        )
    ]  # fmt: skip
    return list(first(SESSION, code, *tables))


OFF = {"instrument": "BOARD", "measure": "length", "statistic": "error", "estimate": 8.0,
       "load": 700.0, "unit": "mm", "tolerance": 2.0, "state": "over limit"}  # fmt: skip


@pytest.mark.parametrize(
    ("statistic", "then"),
    [("bias_less_instrument", "it is taken out of your difference."),
     ("bias", "it may be part of your difference.")],
)  # fmt: skip
def test_an_instrument_over_its_tolerance_is_told_to_who_used_it(statistic, then):
    ((lead, text),) = told(statistic=statistic, checks=[OFF, {**OFF, "estimate": -3.0}])
    assert lead == "First the instrument:"
    assert "BOARD (length) read 8.0 mm high for a known 700 mm" in text
    assert "That is the instrument, not you" in text
    assert text.endswith(then)
    assert told("B", statistic="bias_less_instrument", checks=[OFF]) == []


def test_a_difference_over_the_limit_on_an_unknown_instrument_asks_to_have_it_checked():
    ((_, text),) = told()
    assert "nothing is known of yours in length" in text
    assert told(state="not settled") == []
    assert told(statistic="bias_less_instrument") == []


def test_a_shift_that_all_users_of_an_instrument_share_is_told_and_none_of_them_is_named():
    row = {
        "measure": "length",
        "measurer": "(all)",
        "pattern": Fault.ZERO_OFFSET,
        "estimate": -7.0,
        "note": notes_of(ReadOnInstrument(instrument="BOARD", users=("A", "B"), others=("LEAD",))),
    }
    ((_, text),) = told(patterns=[row])
    assert text.startswith("all who used BOARD read 7.0 mm low in length")
    assert not any(code in text for code in ("LEAD", " B,"))
    assert told("B", state="within limit", patterns=[row]) == []
    row["note"] = notes_of(ReadOnInstrument(instrument="BOARD, old", users=("B",), others=("A",)))
    ((_, text),) = told(patterns=[row])
    assert "nothing is known of yours" in text


def test_a_reference_that_may_be_off_comes_first_for_the_staff_and_for_itself():
    doubt = {"measure": "length", "reference": "LEAD", "state": "the reference may be off",
             "estimate": np.nan, "without_one": "B"}  # fmt: skip
    staff = told(statistic="bias_less_instrument", doubts=[doubt])
    assert [lead for lead, _ in staff] == ["First the comparison:"]
    assert "the reference may be off in length" in staff[0][1]
    assert "LEAD" not in staff[0][1]
    own = told("LEAD", state="within limit", doubts=[doubt])
    assert own[0][1].startswith("as the reference, you may be off in length")
    assert told(state="within limit", doubts=[{**doubt, "state": "no sign of it"}]) == []
