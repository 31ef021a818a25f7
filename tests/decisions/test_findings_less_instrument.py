"""Bias is judged less the known error of the instruments: the scale is found, not its users."""

import math

import numpy as np
import pytest
from calibration.known_loads import study
from strategies import as_frame, as_session
from tested_instruments import with_known_loads

import anthroqa
from anthroqa.decisions.enough import more_for_mean
from anthroqa.simulate import draw, nearest

ONLY = [
    "within_tem", "within_tem_resolved", "within_tem_less_shift", "round_shift", "bias",
    "bias_less_instrument", "bias_from_others",
]  # fmt: skip
LIMITS = {"limit_tem": "6 mm", "limit_bias": "4 mm", "limit_source": "manual"}
KIT = [(code, "load", load, load + high) for code, high in (("P", 0), ("B", 12))
       for load in (5000, 7000, 9000) for _ in range(2)]  # fmt: skip


def session(codes=None, *, reference="LEAD", high=12.0):
    """Three staff who read as the lead does, on a scale that is `high`."""
    rng = np.random.default_rng(20261125)
    true = rng.uniform(6000, 9000, 12)
    values = nearest(draw(true, tem=[2.0] * 4, bias=[0, high, high, high], rng=rng))
    names = ("LEAD", "A", "B", "C")
    frame = as_frame({n: block.tolist() for n, block in zip(names, values, strict=True)})
    codes = codes or {"LEAD": "P", "A": "B", "B": "B", "C": "B"}
    frame["instrument"] = frame["measurer"].map(codes)
    return as_session(frame, reference=reference, **LIMITS)


def decided(of):
    table = anthroqa.decide(anthroqa.score(of, only=ONLY), of)
    return table[table["question"] == "bias"].set_index("measurer")


def test_with_its_kit_file_nobody_is_over_and_the_statistic_is_named():
    without = decided(session())
    assert set(without["state"]) == {"over limit"}
    assert set(without["statistic"]) == {"bias"}
    table = decided(with_known_loads(session(), KIT, uncertainty=0.1))
    assert set(table["state"]) == {"within limit"}
    assert set(table["statistic"]) == {"bias_less_instrument"}
    assert (
        table["note"].tolist()
        == ["mean error of the instruments taken out: own (B) +12 mm, the reference's (P) +0 mm"]
        * 3
    )


def test_where_the_kit_file_lacks_an_instrument_bias_is_judged_and_says_why():
    table = decided(with_known_loads(session(), [row for row in KIT if row[0] == "P"]))
    assert set(table["statistic"]) == {"bias"}
    assert set(table["state"]) == {"over limit"}
    assert table.loc["A", "note"] == (
        "measured on B, the reference on P: it holds what these differ by; the instruments' "
        "errors are not taken out: the file of known loads knows no error of B"
    )


def test_without_a_reference_bias_is_judged_against_the_others():
    table = decided(with_known_loads(session(reference=None), KIT))
    assert set(table["statistic"]) == {"bias_from_others"}


def test_scores_made_without_it_are_refused_where_there_is_a_kit_file():
    tested = with_known_loads(session(), KIT)
    scores = anthroqa.score(tested, only=[name for name in ONLY if name != "bias_less_instrument"])
    with pytest.raises(ValueError, match="scores lack bias_less_instrument"):
        anthroqa.decide(scores, tested)


def test_equal_differences_have_no_interval_and_give_their_reason_once():
    same = {p: [[100 + d, 100 + d] for d in range(0, 80, 10)] for p in ("LEAD", "A")}
    frame = as_frame(same)
    frame["instrument"] = frame["measurer"].map({"LEAD": "P", "A": "B"})
    loads = [(code, "load", 100, 100) for code in "PB"]
    of = with_known_loads(as_session(frame, reference="LEAD", **LIMITS), loads)
    row = decided(of).loc["A"]
    assert row["state"] == "not settled"
    assert row["note"].count("every difference is equal: no interval") == 1


def test_more_subjects_do_not_make_the_kit_more_certain():
    # half width 3 of the person on 12 subjects, limit 4, estimate 2
    alone = more_for_mean(2.0, 12, 3.0, 4.0, confidence=0.9)
    with_some = more_for_mean(2.0, 12, 3.0, 4.0, confidence=0.9, of_instrument=1.5)
    assert alone < with_some <= 100
    assert more_for_mean(2.0, 12, 3.0, 4.0, confidence=0.9, of_instrument=2.1) is None
    assert more_for_mean(2.0, 12, 3.0, 4.0, confidence=0.9, of_instrument=0.0) == alone


def test_the_number_of_subjects_leaves_the_kits_part_as_it_is():
    # a coarse standard: its uncertainty alone is more than the limit leaves
    coarse = decided(with_known_loads(session(high=15.0), KIT, uncertainty=4.0))
    assert set(coarse["state"]) == {"not settled"}
    assert coarse["more_subjects"].isna().all()
    assert coarse["note"].str.startswith("too near the limit to settle").all()


def test_over_drawn_sessions_the_scale_is_found_and_its_users_are_not():
    sessions = 15
    table = study(sessions, 20261125)
    high = table[table["beam_high_lb"] == 0.5].set_index("limit")
    assert (
        high.loc["1/4 lb", "over_by_bias"] > 0.5
    )  # without the file of known loads they are blamed
    assert (high["over_less_instrument"] == 0).all()
    assert (high["beam_over"] == 1).all()
    assert (table["port_over"] == 0).all()
    sound = table[table["beam_high_lb"] == 0]
    assert (sound["beam_over"] == 0).all()
    assert (table["covered"] >= 0.9 - 4 * math.sqrt(0.9 * 0.1 / sessions)).all()
