"""When, why sooner, and how many subjects: against drawing."""

import datetime as dt
import math

import numpy as np
import pytest
from programs import QUARTERS, drawn_counts, drawn_program, write_session
from scipy import stats

from anthroqa.notes import notes_of
from anthroqa.notes.program.staff import (
    AtNextSession,
    Due,
    OtherInstruments,
    OtherReference,
    TooManyNeeded,
)
from anthroqa.program.staff.next_session import (
    later,
    settled_mean,
    settled_spread,
)
from anthroqa.program.staff.reviewed import review_of
from anthroqa.program.staff.sessions import read_program


def table_of(program, months=12):
    return review_of(program, months=months).due.set_index(["measurer", "question"])


def reasons(row):
    """Why somebody should not wait."""
    soon = row["note"].first(AtNextSession)
    return soon.why.of if soon else ()


def test_months_are_counted_on_the_calendar():
    assert later(dt.date(2026, 1, 31), 1) == dt.date(2026, 2, 28)
    assert later(dt.date(2027, 1, 31), 13) == dt.date(2028, 2, 29)
    assert later(dt.date(2026, 12, 1), 12) == dt.date(2027, 12, 1)


def test_everybody_is_due_so_many_months_after_their_own_last_session(tmp_path):
    rng = np.random.default_rng(1)
    for k in range(3):
        counts = drawn_counts(rng, tem=1.0)
        if k == 2:
            counts.pop("A")
        write_session(tmp_path / f"p/Q{k}", counts, QUARTERS[k])
    table = table_of(read_program(tmp_path / "p"), months=6)
    assert table.loc[("A", "repeatability"), "last"] == QUARTERS[1]
    assert table.loc[("A", "repeatability"), "due"] == dt.date(2026, 10, 15)
    assert table.loc[("A", "repeatability"), "sessions"] == 2
    assert table.loc[("B", "bias"), "due"] == dt.date(2027, 1, 15)
    assert table.loc[("B", "repeatability"), "state"] == "within limit"
    assert ("LEAD", "repeatability") in table.index
    assert ("LEAD", "bias") not in table.index
    with pytest.raises(ValueError, match="months"):
        table_of(read_program(tmp_path / "p"), months=0)


def test_over_the_limit_is_due_at_the_next_session(tmp_path):
    program = drawn_program(tmp_path, 2, sessions=2, tem={"A": 14.0}, bias={"B": 20.0})
    table = table_of(program)
    for row in (table.loc[("A", "repeatability")], table.loc[("B", "bias")]):
        assert row["state"] == "over limit"
        assert row["due"] == QUARTERS[1]
        assert reasons(row)[0] is Due.OVER_LIMIT
        assert str(row["note"]).startswith("at the next session: over the limit in the last one")
    assert table.loc[("C", "repeatability"), "due"] == later(QUARTERS[1], 12)


def test_another_instrument_or_reference_shortens_it(tmp_path):
    rng = np.random.default_rng(3)
    for k in range(3):
        counts = drawn_counts(rng, tem=1.0)
        used = {who: "NEW" if (who, k) == ("A", 2) else "OLD" for who in counts}
        write_session(
            tmp_path / f"p/Q{k}", counts, QUARTERS[k], instrument=used,
            reference="LEAD" if k < 2 else "G",
        )  # fmt: skip
    table = table_of(read_program(tmp_path / "p"))
    own = table.loc[("A", "repeatability")]
    assert reasons(own) == (OtherInstruments(instruments=("NEW",)),)
    assert "another instrument (NEW) in the last one" in str(own["note"])
    assert table.loc[("A", "repeatability"), "due"] == QUARTERS[2]
    assert reasons(table.loc[("B", "repeatability")]) == ()
    assert reasons(table.loc[("B", "bias")]) == (OtherReference(reference="G", since=False),)
    assert "another reference (G) in the last one" in str(table.loc[("B", "bias"), "note"])


def test_without_a_limit_there_is_no_number_of_subjects(tmp_path):
    rng = np.random.default_rng(4)
    place = write_session(tmp_path / "p/Q0", drawn_counts(rng), QUARTERS[0])
    toml = place.joinpath("session.toml")
    toml.write_text("\n".join(w for w in toml.read_text().splitlines() if "limit_tem" not in w))
    table = table_of(read_program(tmp_path / "p"))
    assert table.loc[("A", "repeatability"), "note"] == notes_of(Due.NO_LIMIT)
    assert table.loc[("A", "repeatability"), "state"] == "not judged"
    assert table["subjects"].isna()[("A", "repeatability")]


def test_near_the_limit_no_number_up_to_100_settles_it(tmp_path):
    program = drawn_program(tmp_path, 5, sessions=2, tem=6.0)
    table = table_of(program)
    rows = table.xs("repeatability", level="question")
    many = [TooManyNeeded in note for note in rows["note"]]
    assert any(many)
    assert rows.loc[many, "subjects"].isna().all()
    assert "over 100 subjects: too near the limit to settle" in str(rows.loc[many, "note"].iloc[0])


@pytest.mark.parametrize(("tem", "n"), [(0.6, 12), (1.5, 20), (0.9, 40)])
def test_the_chance_of_a_repeat_error_to_be_settled_is_that_of_drawing(tem, n):
    rng, many = np.random.default_rng(6), 20_000
    s = tem * np.sqrt(rng.chisquare(n, many) / n)
    low, high = (np.sqrt(n / stats.chi2.ppf(q, n)) for q in (0.95, 0.05))
    drawn = ((s * high < 1) | (s * low > 1)).mean()
    (found,) = settled_spread(tem, 1.0, np.array([n]), 0.90)
    assert found == pytest.approx(drawn, abs=4 * math.sqrt(0.25 / many))


@pytest.mark.parametrize(("mean", "n"), [(0.0, 8), (0.5, 20), (2.0, 12), (-0.3, 10)])
def test_the_chance_of_a_difference_to_be_settled_is_that_of_drawing(mean, n):
    rng, many = np.random.default_rng(7), 20_000
    d = mean + 0.9 / math.sqrt(n) * rng.standard_normal(many)
    half = 0.9 * stats.t.ppf(0.95, n - 1) / math.sqrt(n)
    drawn = ((np.abs(d) + half < 1) | (np.abs(d) - half > 1)).mean()
    (found,) = settled_mean(mean, 0.9, 1.0, np.array([n]), 0.90)
    assert found == pytest.approx(drawn, abs=4 * math.sqrt(0.25 / many))
