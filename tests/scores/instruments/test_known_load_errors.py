"""Figures of instruments: by hand, against a slow twin, and against drawn truth."""

from math import sqrt

import numpy as np
import pytest
from scipy import stats
from strategies import as_session
from tested_instruments import known_loads_of, with_known_loads

from anthroqa.notes.cells import worded
from anthroqa.notes.scores.instruments import NotTwoSides, SideLessSide, TooFewLoads
from anthroqa.scores.instruments.known_load_errors import curve, instrument_figures

Z = 1.6448536269514722  # two-sided 90 %


def figures(rows, *, confidence=0.9, recorded_to="1 mm", **more):
    session = with_known_loads(as_session({"A": [["20"]]}, recorded_to=recorded_to), rows, **more)
    return worded(instrument_figures(session, confidence=confidence))


def row(table, statistic, load=None):
    some = table[table["statistic"] == statistic]
    some = some if load is None else some[some["load"] == load]
    assert len(some) == 1
    return some.iloc[0]


def test_the_error_at_a_load_is_the_mean_reading_less_the_load():
    rows = [("S", "load", 100.5, 101), ("S", "load", 100.5, 102), ("S", "zero", 0, 1)]
    table = figures(rows)
    assert row(table, "error", 100.5)["estimate"] == pytest.approx(1.0)
    assert row(table, "error", 100.5)["readings"] == 2
    assert row(table, "error", 0)["check"] == "zero"
    assert row(table, "error", 0)["estimate"] == 1


def test_amounts_are_in_the_unit_of_the_measure():
    table = figures([("S", "load", 100, 102)], recorded_to="1/4 lb")
    assert row(table, "error")["estimate"] == 0.5
    assert row(table, "error")["load"] == 25
    assert row(table, "error")["unit"] == "lb"


def test_the_uncertainty_of_an_error_has_its_three_parts():
    # GUM by hand: repeats 0, 2, 1 have SD 1 on 2 df, over root 3; rounding 2 / root 12; a
    # standard of 1.2 expanded is 0.6; Welch & Satterthwaite
    rows = [("S", "load", 100, 100 + d) for d in (0, 2, 1)]
    found = row(figures(rows, division=2.0, uncertainty=1.2), "error")
    parts = 1 / 3, 4 / 12, 0.36
    df = sum(parts) ** 2 / (parts[0] ** 2 / 2)
    half = stats.t.ppf(0.95, df) * sqrt(sum(parts))
    assert found["estimate"] == pytest.approx(1)
    assert found["upper"] - 1 == pytest.approx(half, rel=1e-9)
    assert 1 - found["lower"] == pytest.approx(half, rel=1e-9)


def test_without_repeats_rounding_and_the_standard_are_all_and_that_is_said():
    found = row(figures([("S", "load", 100, 100)], uncertainty=0.0), "error")
    assert found["upper"] == pytest.approx(Z / sqrt(12))
    assert found["note"] == "no load was put on twice: the interval holds no repeat error"


def test_a_standard_of_unknown_uncertainty_is_said_to_be_taken_as_exact():
    rows = [("S", "load", 100, 100), ("S", "load", 100, 101)]
    assert "the standards are taken as exact" in row(figures(rows), "error")["note"]
    assert row(figures(rows, uncertainty=0.0), "error")["note"] == ""


def test_repeats_are_pooled_over_loads_and_positions_but_not_over_their_means():
    rows = [("S", "load", 100, 100), ("S", "repeat", 100, 102), ("S", "load", 300, 310),
            ("S", "load", 300, 314), ("S", "off_centre", 100, 90, "front"),
            ("S", "off_centre", 100, 90, "front"), ("S", "zero", 0, 0),
            ("S", "zero", 0, 0)]  # fmt: skip
    found = curve(known_loads_of(rows))
    assert found.of.df == 3
    assert found.of.spread == pytest.approx(sqrt((2 + 8 + 0) / 3))
    assert found.loads.tolist() == [0, 100, 300]
    assert found.errors.tolist() == [0, 1, 12]
    assert found.n.tolist() == [2, 2, 2]


def test_zero_is_the_repeat_error_only_where_nothing_else_repeats():
    found = curve(
        known_loads_of([("S", "zero", 0, 0), ("S", "zero", 0, 2), ("S", "load", 100, 100)])
    )
    assert (found.of.spread, found.of.df) == (pytest.approx(sqrt(2)), 1)


def test_linearity_is_the_largest_distance_from_the_straight_line():
    # errors 0, 3, 0 at 0, 100, 200: the line is 1 throughout, residuals -1, 2, -1
    rows = [("S", "zero", 0, 0), ("S", "load", 100, 103), ("S", "load", 200, 200)]
    found = row(figures(rows, uncertainty=0.0), "linearity")
    assert found["estimate"] == pytest.approx(2)
    assert found["load"] == 100
    # its weights are -1/3, 2/3, -1/3
    assert found["upper"] - 2 == pytest.approx(Z * sqrt(6 / 9 / 12))


def test_a_straight_line_of_errors_has_no_linearity():
    rows = [("S", "load", x, x + x // 50) for x in (50, 100, 150, 200)]
    found = row(figures(rows), "linearity")
    assert found["estimate"] == pytest.approx(0, abs=1e-12)
    assert found["lower"] == 0


@pytest.mark.parametrize(("loads", "told"), [((100,), "1 was"), ((100, 200), "2 were")])
def test_linearity_needs_three_loads(loads, told):
    found = row(figures([("S", "load", x, x) for x in loads]), "linearity")
    assert np.isnan(found["estimate"])
    assert found["note"].notes.first(TooFewLoads) == TooFewLoads(tested=len(loads), least=3)
    assert found["note"] == f"linearity needs 3 loads; {told} tested"


def test_repeatability_is_the_sd_and_the_range_of_repeats():
    rows = [("S", "repeat", 100, 100 + d) for d in (0, 1, 1, 2)]
    table = figures(rows)
    sd = row(table, "repeat_sd")
    assert sd["estimate"] == pytest.approx(sqrt(2 / 3))
    assert sd["upper"] == pytest.approx(sqrt(2 / stats.chi2.ppf(0.05, 3)))
    assert sd["lower"] == pytest.approx(sqrt(2 / stats.chi2.ppf(0.95, 3)))
    span = row(table, "repeat_range")
    assert span["estimate"] == 2
    assert span["upper"] - 2 == pytest.approx(Z * sqrt(2 / 12))  # two roundings


def test_equal_repeats_have_no_interval_of_their_sd_and_no_repeats_no_figure():
    sd = row(figures([("S", "repeat", 100, 100)] * 3), "repeat_sd")
    assert sd["estimate"] == 0
    assert np.isnan(sd["lower"])
    assert "the display hides it" in sd["note"]
    none = row(figures([("S", "load", 100, 100)]), "repeat_sd")
    assert np.isnan(none["estimate"])
    assert none["note"] == "no load was repeated"


def test_the_spread_off_the_centre_does_not_hold_the_standard():
    rows = [("S", "off_centre", 100, 100 + d, where)
            for where, d in (("front", 0), ("back", 3), ("left", 1))]  # fmt: skip
    table = figures(rows, uncertainty=9.0)
    found = row(table, "off_centre_spread")
    assert found["estimate"] == 3
    assert found["upper"] - 3 == pytest.approx(Z * sqrt(2 / 12))
    assert row(table, "error:back")["estimate"] == 3
    assert row(table, "error:back")["upper"] - 3 == pytest.approx(Z * sqrt(1 / 12 + 4.5**2))
    assert not (table["statistic"] == "error").any()


def test_equal_positions_leave_the_rounding_of_two_and_one_position_leaves_nothing():
    rows = [("S", "off_centre", 100, 100, where) for where in ("front", "back")]
    found = row(figures(rows), "off_centre_spread")
    assert (found["estimate"], found["lower"]) == (0, 0)
    assert found["upper"] == pytest.approx(Z * sqrt(2 / 12))
    alone = row(figures(rows[:1]), "off_centre_spread")
    assert np.isnan(alone["estimate"])
    assert alone["note"] == "one position: a spread needs two"


def test_drift_is_the_error_at_the_last_time_less_that_at_the_first():
    times = ["2026-10-06T13:00", "2026-10-06T07:30", "2026-10-06T09:00"]
    rows = [("S", "load", 100, 100 + d, "", t) for d, t in zip((4, 1, 9), times, strict=True)]
    rows += [("S", "load", 200, 200, "", times[0]), ("S", "zero", 0, 0)]
    found = row(figures(rows, uncertainty=9.0), "drift")
    assert found["estimate"] == 3
    assert found["load"] == 100
    assert found["readings"] == 2
    assert found["upper"] - 3 == pytest.approx(3 - found["lower"])


def test_times_with_and_without_a_zone_can_stand_together():
    rows = [("S", "zero", 0, 0, "", "2026-10-06T07:30+00:00"),
            ("S", "zero", 0, 2, "", "2026-10-06T13:00")]  # fmt: skip
    assert row(figures(rows), "drift")["estimate"] == 2


def test_a_joint_is_the_difference_of_its_two_sides_on_the_same_rods():
    rows = [("B", "rod", 200, 200, "below"), ("B", "rod", 200, 204, "above"),
            ("B", "rod", 500, 600, "above")]  # fmt: skip
    found = row(figures(rows, uncertainty=5.0), "joint")
    assert found["estimate"] == 4  # above less below, on the rod of both
    assert found["upper"] - 4 == pytest.approx(Z * sqrt(2 / 12))
    assert found["note"].notes.first(SideLessSide) == SideLessSide(side="above", less="below")
    assert found["note"].startswith("above less below")


def test_different_rods_on_either_side_carry_their_own_errors():
    rows = [("B", "rod", 200, 200, "below"), ("B", "rod", 500, 504, "above")]
    found = row(figures(rows, uncertainty=1.0), "joint")
    assert found["estimate"] == 4
    assert found["upper"] - 4 == pytest.approx(Z * sqrt(2 / 12 + 1))
    assert "no rod was read on both sides" in found["note"]


@pytest.mark.parametrize("sides", [("", ""), ("below", "below"), ("a", "b", "c")])
def test_a_joint_has_two_sides(sides):
    found = row(figures([("B", "rod", 200, 200, side) for side in sides]), "joint")
    assert np.isnan(found["estimate"])
    named = len({s for s in sides if s})
    assert NotTwoSides in found["note"].notes
    assert found["note"] == f"a joint has two sides; {named} named in the column position"


def test_intervals_of_an_error_hold_the_truth_as_often_as_they_say():
    # three loads, five repeats of one of them, a standard that is off as its uncertainty says:
    # the interval of the error at each load, over 300 drawn instruments
    rng = np.random.default_rng(20261125)
    n, held, total = 300, 0, 0
    loads = np.array([80.3, 160.7, 240.1])
    at = np.array([0, 1, 2, 1, 1, 1, 1, 1])
    for _ in range(n):
        true = rng.normal(0, 2, 3)
        standard, noise = rng.normal(0, 0.4), rng.normal(0, 0.6, len(at))
        shown = np.round(loads[at] + standard + true[at] + noise)
        rows = [("S", "load", loads[i], x) for i, x in zip(at, shown, strict=True)]
        found = curve(known_loads_of(rows, uncertainty=0.8))
        for i in range(3):
            _, lower, upper = found.figure(np.eye(3)[i], 0.9)
            held += lower <= true[i] <= upper
            total += 1
    band = 4 * sqrt(0.9 * 0.1 / n)
    assert held / total >= 0.9 - band
    assert held / total <= 0.95
