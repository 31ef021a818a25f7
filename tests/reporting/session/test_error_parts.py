"""What the page says of the parts of an error, and which part comes first."""

from types import SimpleNamespace

import pandas as pd
import pytest
from reporting.pages import pages, plain

from anthroqa.notes import NONE, notes_of
from anthroqa.notes.scores.components import BelowZero, Components, NoInstruments
from anthroqa.reporting.session import error_parts

COLUMNS = ["measure", "part", "sd", "share", "lower", "upper", "unit", "largest", "note"]


def parts(*largest, measure="length", note=NONE):
    names = ["between measurers", "repeat error"]
    rows = [
        (measure, name, 0.2, 100 * p, 10.0, 90.0, "cm", p, note)
        for name, p in zip(names, largest, strict=True)
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def said(outreach, table, other=None):
    without = SimpleNamespace(parts=table.iloc[:0] if other is None else other)
    analysis = SimpleNamespace(session=outreach, confidence=0.9, parts=table, without_slips=without)
    return plain(error_parts.divided(analysis))


@pytest.mark.parametrize(
    ("largest", "words"),
    [
        (0.95, "length: work first on what differs between measurers (95 % of the error, the"),
        (0.7, "length: probably work first on what differs between measurers (70 %"),
        (0.55, "length: which part is the largest is not settled; it may be what differs"),
    ],
)
def test_the_sentence_is_as_sure_as_the_draws(outreach, largest, words):
    assert words in said(outreach, parts(largest, 1 - largest))


def test_odd_readings_do_not_lead_the_sentence_astray(outreach):
    text = said(outreach, parts(0.05, 0.95), parts(0.95, 0.05))
    assert (
        "odd readings are inside, so look these up first; without them work first on what" in text
    )
    assert "Open circles: without the odd readings." in text


def test_a_part_that_cannot_be_had_is_said_with_its_reason(outreach):
    table = parts(0.2, 0.8)
    gone = table.iloc[[0]].assign(
        part="instrument", sd=float("nan"), note=[notes_of(NoInstruments.ONE_ONLY)]
    )
    text = said(outreach, pd.concat([table, gone]))
    assert "instrument (length): one instrument only: let the staff measure some" in text


def test_a_variance_below_zero_is_said_with_a_true_minus(outreach):
    below = notes_of(BelowZero(variance=-0.0123, unit="cm"))
    assert str(below) == "estimated variance -0.0123 cm²: taken as zero"
    text = said(outreach, parts(0.2, 0.8, note=below))
    assert "(length): estimated variance \u22120.0123 cm²: taken as zero." in text


def test_without_any_part_only_reasons_are_given(outreach):
    table = parts(0.2, 0.8, note=notes_of(Components.ONE_PERSON)).assign(sd=float("nan"))
    text = said(outreach, table)
    assert text.startswith(" The error cannot be divided here.") or "cannot be divided" in text
    assert "one person only" in text


def test_plot_shows_each_share_where_it_is():
    table = parts(0.3, 0.7)
    ax = error_parts.shares(table, table.iloc[:0])
    at = [line.get_xdata()[0] for line in ax.lines]
    assert at == pytest.approx([30.0, 70.0])
    texts = [t.get_text() for t in ax.texts]
    assert {"length", "between staff", "repeat error", "30 %", "70 %"} <= set(texts)
    assert "length, repeat error 70 %" in error_parts.alt_shares(table)


def test_samples_have_a_sentence_for_every_measure(clinics):
    text = pages(clinics)["divided"]
    assert all(f"{name}:" in text for name in ("infant weight", "infant length", "held weight"))
    assert "infant length: work first on what differs between measurers" in text
