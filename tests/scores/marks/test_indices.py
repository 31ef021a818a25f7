from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from strategies import as_frame, as_session, sessions

from anthroqa.scores.marks.indices import (
    _weights,
    digit_preference_score,
    expected_by_chance,
    index_of_dissimilarity,
    myers_blended_index,
    published_indices,
)

COUNTS = st.lists(st.integers(0, 400), min_size=2, max_size=20).filter(any)
INDICES = ["digit preference score", "index of dissimilarity", "Myers' blended index"]


def indices_of(readings, **settings):
    table = published_indices(as_session(readings, **settings))
    return table.set_index(["measurer", "index"])


@given(COUNTS)
def test_score_and_dissimilarity_agree_with_sums_in_fractions(counts):
    n, k = sum(counts), len(counts)
    even = Fraction(n, k)
    chi2 = sum((c - even) ** 2 / even for c in counts)
    assert digit_preference_score(counts) == pytest.approx(
        100 * np.sqrt(float(chi2 / (n * (k - 1)))), rel=1e-12, abs=1e-9
    )
    apart = Fraction(1, 2) * sum(abs(Fraction(100 * c, n) - Fraction(100, k)) for c in counts)
    assert index_of_dissimilarity(counts) == pytest.approx(float(apart), rel=1e-12, abs=1e-9)


def test_both_reach_from_nothing_to_one_position_only_and_are_blank_without_readings():
    for k in (4, 8, 10, 16):
        one = [7] + [0] * (k - 1)
        assert digit_preference_score([3] * k) == 0
        assert index_of_dissimilarity([3] * k) == 0
        assert digit_preference_score(one) == pytest.approx(100)
        assert index_of_dissimilarity(one) == pytest.approx(100 - 100 / k)
        assert np.isnan(digit_preference_score([0] * k))
        assert np.isnan(index_of_dissimilarity([0] * k))
        assert np.isnan(expected_by_chance(0, k))


@pytest.mark.parametrize("bad", [[5], [3, -1]])
def test_counts_that_are_no_counts_are_refused(bad):
    with pytest.raises(ValueError, match="counts of two positions or more"):
        digit_preference_score(bad)


@pytest.mark.parametrize(("n", "k"), [(1, 2), (7, 4), (16, 16), (20, 10), (33, 8), (5000, 10)])
def test_chance_agrees_with_the_sum_over_the_binomial(n, k):
    x = np.arange(n + 1)
    slow = 50 * k * (stats.binom.pmf(x, n, 1 / k) * np.abs(x / n - 1 / k)).sum()
    assert expected_by_chance(n, k) == pytest.approx(slow, rel=1e-9)


def test_the_mean_square_of_the_score_is_what_chance_alone_gives():
    rng = np.random.default_rng(20261126)
    drawn = rng.multinomial(40, [1 / 16] * 16, size=4000)
    squares = np.array([digit_preference_score(row) for row in drawn]) ** 2
    error = squares.std(ddof=1) / np.sqrt(len(squares))
    assert abs(squares.mean() - 100**2 / 40) < 4 * error
    apart = np.array([index_of_dissimilarity(row) for row in drawn])
    error = apart.std(ddof=1) / np.sqrt(len(apart))
    assert abs(apart.mean() - expected_by_chance(40, 16)) < 4 * error


@given(
    st.lists(st.integers(0, 60), min_size=64, max_size=64).filter(any),
    st.sampled_from([4, 8, 16]), st.booleans(), st.integers(0, 7),
)  # fmt: skip
def test_myers_index_agrees_with_its_sums_written_out(counts, k, equal, lowest):
    counts = counts[: 64 // k * k]
    cycles = len(counts) // k
    values = lowest + np.arange(len(counts))
    if not any(counts[: k * (cycles - 1)]):
        return
    blended = []
    for position in range(k):
        column = counts[position::k]
        first, second = column[:-1] if equal else column, column[1:]
        blended.append((position + 1) * sum(first) + (k - 1 - position) * sum(second))
    total = sum(blended)
    slow = sum(abs(Fraction(100 * b, total) - Fraction(100, k)) for b in blended)
    found = myers_blended_index(
        values, counts, lowest=lowest, highest=int(values[-1]), cycle=k, halved=False,
        convention="equal cycles" if equal else "whole range",
    )  # fmt: skip
    assert found == pytest.approx(float(slow), rel=1e-12, abs=1e-9)


def test_myers_index_says_what_it_cannot_do():
    with pytest.raises(ValueError, match="10 to 85 is not two or more whole cycles of 10"):
        myers_blended_index([20], lowest=10, highest=85, convention="equal cycles")
    with pytest.raises(ValueError, match="10 to 19 is not two or more whole cycles"):
        myers_blended_index([12], lowest=10, highest=19, convention="equal cycles")
    with pytest.raises(ValueError, match="unknown convention 'half'"):
        myers_blended_index([12], lowest=10, highest=29, convention="half")
    out = [5, 25, 35, 95]  # outside the range is left out
    inside = myers_blended_index([25, 35], lowest=10, highest=49, convention="equal cycles")
    assert myers_blended_index(out, lowest=10, highest=49, convention="equal cycles") == inside
    assert inside == 90


def test_what_chance_gives_the_blended_index_is_about_right():
    rng = np.random.default_rng(20261127)
    people = {f"P{i}": [[int(v)] for v in rng.normal(750, 60, 30)] for i in range(600)}
    rows = indices_of(people).xs("Myers' blended index", level="index").drop(index="(all)")
    assert len(rows) == 600
    error = rows["value"].std(ddof=1) / np.sqrt(600)
    expected = rows["expected_by_chance"].mean()
    assert abs(rows["value"].mean() - expected) < 4 * error
    assert expected > expected_by_chance(30, 10)  # end cycles weigh less
    assert rows["note"].str.contains("half of the sum; by chance: about").all()


def test_rows_are_in_order_and_each_names_its_source():
    two = {p: [[700 + 7 * i, 700 + 7 * i] for i in range(6)] for p in ("B", "LEAD", "A")}
    session = as_session(two, reference="LEAD", recorded_to="1 mm")
    table = published_indices(session)
    assert table.columns.tolist() == [
        "measure", "measurer", "index", "value", "expected_by_chance", "readings", "source", "note",
    ]  # fmt: skip
    assert table["measurer"].unique().tolist() == ["LEAD", "A", "B", "(all)"]
    assert table["index"].tolist() == INDICES * 4
    assert table["source"].str.contains(r"\(\d{4}\)").all()
    assert len(table[["index", "source"]].drop_duplicates()) == 3


def test_all_are_the_staff_without_the_reference():
    found = indices_of(
        {"LEAD": [[700], [710], [720]], "A": [[701], [712]], "B": [[703], [714]]}, reference="LEAD"
    )
    # positions 1, 2, 3 and 4: 10 x 4 / 16 - 1 = 1.5, of 9
    score = "digit preference score"
    assert found.loc[("(all)", score), "value"] == pytest.approx(100 * np.sqrt(1.5 / 9))
    assert found.loc[("(all)", score), "readings"] == 4
    assert found.loc[("(all)", score), "expected_by_chance"] == 50
    assert found.loc[("LEAD", score), "value"] == 100
    only = indices_of({"LEAD": [[700], [711]]}, reference="LEAD")
    assert only.loc["(all)", "value"].isna().all()
    assert only.loc["(all)", "note"].eq("no readings").all()


def test_the_display_is_what_was_read_gross_and_tare_each():
    # a caregiver of 140 lb and a child of 23 1/2 lb: 163 1/2 lb on the scale; eighths of a cycle
    rows = [("A", str(s), "length", 1, f"{150 + s} 1/2", f"{130 + s}") for s in range(4)]
    frame = pd.DataFrame(
        rows, columns=["measurer", "subject", "measure", "round", "reading", "tare"]
    )
    row = indices_of(frame, recorded_to="1/4 lb").loc["A", "index of dissimilarity"]
    assert row["readings"] == 8
    assert row["value"] == 50  # half of them on the pound, half on the half


def test_readings_in_the_other_system_are_left_out_and_said():
    found = indices_of({"A": [["25.4"], ["10 in"], ["31.7"]]}, recorded_to="0.1 cm").loc["A"]
    assert (found["readings"] == 2).all()
    said = "converted from the other system of units and left out: 1"
    assert found["note"].str.contains(said).all()


def test_a_comb_is_said_beside_each_index():
    eighths = (3175 * np.arange(180, 260, 3) + 500) // 1000
    found = indices_of({"A": [[int(v)] for v in eighths]}).loc["A"]
    said = "27 of 27 readings are what a reading to 1/8 in gives when it is converted"
    assert found["note"].str.contains(said).all()
    honest = indices_of({"A": [[v] for v in range(600, 790, 7)]}).loc["A"]
    assert not honest["note"].str.contains("converted").any()


def test_repeats_are_said_to_be_no_new_readings():
    said = "readings of one subject are nearly equal: chance alone gives more"
    once = as_frame({"A": [[701], [712], [723]], "B": [[701], [712], [723]]})
    found = indices_of(once)
    assert not found.loc["A", "note"].str.contains(said).any()
    assert found.loc["(all)", "note"].str.contains(said).all()
    assert indices_of({"A": [[701, 702]]}).loc["A", "note"].str.contains(said).all()


def test_what_cannot_be_had_is_blank_with_its_reason():
    none = indices_of({"A": [["70"], ["77"]]}, recorded_to="7 mm").loc["A"]
    assert none["value"].isna().all()
    assert none["expected_by_chance"].isna().all()
    assert (none["note"] == "the step does not say which marks are whole: give whole_mark in "
            "session.toml").all()  # fmt: skip
    short = indices_of({"A": [[705], [723]]}).loc["A"]
    assert short["value"].isna().tolist() == [False, False, True]
    assert short.loc["Myers' blended index", "note"] == (
        "the readings cover less than two whole cycles"
    )
    enough = indices_of({"A": [[705], [724]]}).loc["A", "Myers' blended index"]
    assert enough["value"] == 80
    assert enough["note"].startswith("equal cycles of 10 steps, 700 to 729 mm, half of the sum")
    inside = _weights(np.array([700, 705, 715, 729]), 700, 729, 10, "equal cycles")
    assert inside.tolist() == [1, 6, 10, 0]


@given(sessions())
def test_every_person_has_every_index_or_a_reason(session):
    table = published_indices(session)
    per = len(INDICES) * (1 + session.readings["measurer"].nunique())
    assert len(table) == per
    assert (table["note"] != "")[table["value"].isna()].all()
    assert (table["value"].isna() == table["expected_by_chance"].isna()).all()
    assert table["value"].dropna().between(0, 100 + 1e-9).all()
