"""The slow reference gives the published numbers itself."""

import pytest
import slow
from published.worked_examples import PEFR_1986, PEFR_1996, SHROUT_FLEISS, TEN_CHILDREN
from strategies import as_session


def case(layout, *, reference=None, confidence=0.95, recorded_to="1 mm"):
    session = as_session(layout, reference=reference, recorded_to=recorded_to)
    return slow.case_of(session, confidence)


def test_slow_within_tem_is_the_published_one():
    # Shrout & Fleiss (1979) Psychol. Bull. 86:420-428, Table 3: WMS 6.26, 18 df.
    estimate, *_, df, _ = slow.within_tem(case({"A": SHROUT_FLEISS}), "A")
    assert df == 18
    assert estimate**2 == pytest.approx(6.26, abs=0.005)
    # Bland & Altman (1996) BMJ 312:1654: 21.5 on 60 df; chi-squared interval worked from it.
    estimate, lower, upper, *_, df, _ = slow.within_tem(case({"A": PEFR_1996}), "A")
    assert df == 60
    assert estimate == pytest.approx(21.5, abs=0.05)
    assert (lower, upper) == pytest.approx((18.2131, 26.1259), abs=0.00005)


def test_slow_bias_and_limits_are_the_published_ones():
    # Bland & Altman (1986) Lancet i:307-310: -2.1, SD 38.8; both readings, corrected SD 37.7.
    first = case({m: [p[:1] for p in pairs] for m, pairs in PEFR_1986.items()}, reference="mini")
    estimate, lower, upper, *_ = slow.bias(first, "wright")
    assert estimate == pytest.approx(-2.1, abs=0.05)
    assert (lower, upper) == pytest.approx((-22.0488, 17.8135), abs=0.00005)
    ends = [slow.agreement(first, "wright", sign)[0] for sign in (-1, 1)]
    assert ends == pytest.approx([-78.0973, 73.8620], abs=0.00005)
    both = case(PEFR_1986, reference="mini")
    low, high = (slow.agreement(both, "wright", sign)[0] for sign in (-1, 1))
    assert (high - low) / (2 * 1.96) == pytest.approx(37.7, abs=0.05)


def test_slow_percent_and_reliability_are_those_worked_from_the_readings():
    both = case(PEFR_1986)
    assert slow.within_tem_percent(both, "wright")[0] == pytest.approx(3.41756, abs=0.000005)
    assert slow.reliability(both, "wright")[0] == pytest.approx(0.982648, abs=5e-7)


def test_slow_between_tem_of_two_is_the_root_of_squared_differences_over_twice_their_number():
    # Peak flow, first readings only: between meters 26.634785, worked from the same readings.
    first = case({m: [p[:1] for p in pairs] for m, pairs in PEFR_1986.items()})
    assert slow.between_tem(first)[0] == pytest.approx(26.634785, abs=5e-7)
    # With both readings rounds are pooled, never averaged first (that would give 23.173419).
    squares = [
        (a - b) ** 2
        for one, other in zip(PEFR_1986["wright"], PEFR_1986["mini"], strict=True)
        for a, b in zip(one, other, strict=True)
    ]
    assert slow.between_tem(case(PEFR_1986))[0] ** 2 == pytest.approx(sum(squares) / 2 / 34)


def test_slow_rms_error_of_ten_children():
    ten = case(TEN_CHILDREN, reference="supervisor", recorded_to="0.1 cm")
    found = slow.rms_error(ten, "trainee")[0]
    assert found == pytest.approx((0.235**2 + 1.34 / 20) ** 0.5, rel=1e-12)


def test_slow_shifts_by_hand():
    # B moves by 2 and 4 from round 1 to 2, A by 5 and 7: A's own shift is the mean of 3 and 3.
    two = case({"A": [[10, 15], [20, 27]], "B": [[10, 12], [20, 24]]})
    assert slow.own_round_shift(two, "A", 2)[0] == 3
    assert slow.round_shift(two, 2)[0] == 4.5
    # Less B's mean shift of 3, A's differences are 2 and 4, their squares (4 + 16) / 2. About its
    # own shift B has a variance of 2 / 2: 2 of a shift known from two changes, and n / 2 of it
    # is in the squares.
    assert slow.within_tem_less_shift(two, "A")[0] == pytest.approx(((10 - 2 / 2) / 2) ** 0.5)
