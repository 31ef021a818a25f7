"""The line of a difference on the size of the subject."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from calibration import patterns as study
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from published.worked_examples import PEFR_1986
from scipy import stats
from strategies import as_frame, as_session, sessions

import anthroqa
from anthroqa.scores.agreement.by_sizes import COLUMNS, by_size

SIZES = [600, 640, 700, 730, 790, 850, 910]


def lines(readings, **session) -> pd.DataFrame:
    """The table of a session laid out by hand, indexed by measurer and readings used."""
    table = by_size(as_session(readings, **session))
    assert list(table.columns) == COLUMNS
    return table.set_index(["measurer", "readings_used"])


def by_hand(own: np.ndarray, reference: np.ndarray, everybody: np.ndarray, confidence: float):
    """SciPy's line through the subjects of two people (subjects x rounds, NaN not read)."""
    d = np.nanmean(own - reference, axis=1)
    there = ~np.isnan(d)
    size = np.mean([np.nanmean(x, axis=1) for x in everybody], axis=0)
    fit = stats.linregress(size[there], d[there])
    half = stats.t.ppf((1 + confidence) / 2, there.sum() - 2) * fit.stderr
    low, high = (fit.intercept + fit.slope * f(size[there]) for f in (min, max))
    return 100 * np.array([fit.slope, fit.slope - half, fit.slope + half]), low, high, fit.pvalue


@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_the_line_is_that_of_scipy_with_rounds_missing(confidence):
    rng = np.random.default_rng(3)
    x = np.array(SIZES)[None, :, None] + rng.integers(-9, 9, (4, len(SIZES), 2)).astype(float)
    x[1, 2, 1] = x[0, 4, 0] = np.nan
    layout = {
        who: [[None if np.isnan(v) else int(v) for v in rounds] for rounds in own]
        for who, own in zip(("LEAD", "A", "B", "C"), x, strict=True)
    }
    table = by_size(as_session(layout, reference="LEAD"), confidence=confidence)
    table = table.set_index("measurer")
    for who, own in zip("ABC", x[1:], strict=True):
        expected, low, high, p = by_hand(own, x[0], x, confidence)
        row = table.loc[who]
        assert row[["slope", "lower", "upper"]].tolist() == pytest.approx(expected)
        assert (row["at_low"], row["at_high"]) == pytest.approx((low, high))
        assert row["p_value"] == pytest.approx(p)
        assert (row["subjects"], row["unit"], row["slope_unit"]) == (7, "mm", "% of size")


def test_two_meters_are_set_against_their_mean_as_bland_and_altman_did():
    # 1986, Figure 2: difference against the mean of the two meters, first readings
    first = {meter: [pair[:1] for pair in pairs] for meter, pairs in PEFR_1986.items()}
    row = by_size(as_session(first, reference="mini"), confidence=0.95).iloc[0]
    wright, mini = (np.array(first[meter], dtype=float)[:, 0] for meter in ("wright", "mini"))
    fit = stats.linregress((wright + mini) / 2, wright - mini)
    assert row["slope"] == pytest.approx(100 * fit.slope)
    assert row["p_value"] == pytest.approx(fit.pvalue)
    # 1986, p. 308: mean difference -2.1 l/min; here at the mean size
    assert row["level"] == pytest.approx(-2.1, abs=0.05)
    assert (row["low"], row["high"]) == (((wright + mini) / 2).min(), ((wright + mini) / 2).max())


@hypothesis_settings(max_examples=40)
@given(sessions())
def test_the_level_is_the_bias_of_the_score_table(session):
    table = by_size(session).dropna(subset=["level"])
    scores = anthroqa.score(session, only=["bias", "bias_from_others"])
    scores = scores.set_index(["measurer", "statistic"])["estimate"]
    for row in table.itertuples():
        name = "bias" if row.against == "reference" else "bias_from_others"
        assert row.level == pytest.approx(scores[row.measurer, name], abs=1e-9)
        assert row.measurer != session.reference


def test_a_constant_difference_has_no_slope_and_a_share_of_the_size_has_its_own():
    lead = [[s + (s % 7)] for s in SIZES]
    noise = (3, -2, 1, 0, -2, 2, 1)
    constant = [[x[0] + 5 + e] for x, e in zip(lead, noise, strict=True)]
    growing = [[round(x[0] * 1.1) + e] for x, e in zip(lead, noise, strict=True)]
    table = lines({"LEAD": lead, "A": constant, "B": growing}, reference="LEAD")
    a, b = table.loc[("A", "all")], table.loc[("B", "all")]
    assert a["lower"] < 0 < a["upper"]
    assert a["level"] == pytest.approx(5 + 3 / 7)
    assert 8 < b["lower"] < b["slope"] < b["upper"] < 12
    assert b["at_high"] > b["level"] > b["at_low"] > 50
    assert (b["level_lower"] + b["level_upper"]) / 2 == pytest.approx(b["level"])


def test_percent_does_not_depend_on_the_unit():
    rng = np.random.default_rng(5)
    x = np.array(SIZES) + rng.integers(-5, 5, (3, len(SIZES)))
    mm = {w: [[int(v)] for v in own] for w, own in zip(("LEAD", "A", "B"), x, strict=True)}
    cm = {w: [[f"{v[0] / 10:.1f}"] for v in own] for w, own in mm.items()}
    one, other = lines(mm, reference="LEAD"), lines(cm, reference="LEAD", recorded_to="0.1 cm")
    for column in ("slope", "lower", "upper", "p_value"):
        assert other[column].tolist() == pytest.approx(one[column].tolist())
    assert (other["at_high"] * 10).tolist() == pytest.approx(one["at_high"].tolist())
    assert (other["low"] * 10).tolist() == pytest.approx(one["low"].tolist())


def test_without_a_reference_the_difference_is_from_two_others_or_more():
    x = {p: [[s + (s * k) % 7] for s in SIZES] for p, k in zip("ABC", (1, 2, 4), strict=True)}
    table = lines(x)
    a, b, c = (np.array(x[p], dtype=float)[:, 0] for p in "ABC")
    fit = stats.linregress((a + b + c) / 3, a - (b + c) / 2)
    assert table.loc[("A", "all"), "slope"] == pytest.approx(100 * fit.slope)
    assert set(table["against"]) == {"others"}
    assert (
        lines({p: x[p] for p in "AB"})["note"].tolist()
        == ["needs two other staff on the same subjects"] * 2
    )


@pytest.mark.parametrize(("subjects", "note"), [
    ([[600 + i] for i in range(5)], "under 6 common subjects: no line"),
    ([[600]] * 6, "all subjects have the same size: no line"),
    ([[None]] * 6 + [[600]], "under 6 common subjects: no line"),
    ([[None]] * 7, "no subject in common with the reference"),
])  # fmt: skip
def test_blank_with_the_reason(subjects, note):
    own = [*subjects, [900], [None]]
    lead = [[x[0]] if x[0] else [700 + i] for i, x in enumerate(subjects)] + [[None], [900]]
    row = lines({"LEAD": lead, "A": own}, reference="LEAD").iloc[0]
    assert row["note"] == note
    blank = ["slope", "lower", "upper", "at_low", "at_high", "level", "level_lower", "p_value"]
    assert row[blank].isna().all()


def test_differences_on_one_line_have_no_interval_and_say_so():
    row = lines({"LEAD": [[s] for s in SIZES], "A": [[s + 4] for s in SIZES]}, reference="LEAD")
    row = row.iloc[0]
    assert (row["slope"], row["level"]) == (pytest.approx(0), pytest.approx(4))
    assert row[["lower", "upper", "level_lower", "p_value"]].isna().all()
    assert row["note"] == "every difference lies on the line: no interval"


def moved(condition: dict, **columns) -> anthroqa.Session:
    people = {"LEAD": 1, "A": 2, "B": 4}
    frame = as_frame({p: [[s + s * k % 5, s + s * k % 3] for s in SIZES]
                      for p, k in people.items()})  # fmt: skip
    keys = zip(frame["measurer"], frame["subject"], frame["round"], strict=True)
    frame["condition"] = [condition.get(key, "") for key in keys]
    session = as_session(frame.assign(**columns), reference="LEAD")
    return replace(session, conditions={"moving": ("mov", "kick")})


def test_readings_of_moving_subjects_get_a_second_row_only_where_they_were_used():
    session = moved({("A", "S2", 1): "mov", ("A", "S3", 2): "kick", ("B", "S4", 1): "calm"})
    table = by_size(session)
    assert table[["measurer", "readings_used"]].to_numpy().tolist() == [
        ["A", "all"], ["A", "without moving"], ["B", "all"],
    ]  # fmt: skip
    # the same as if these two had not been read
    readings = session.readings
    calm = replace(session, readings=readings[~readings["condition"].isin(["mov", "kick"])])
    expected = by_size(calm).iloc[0].drop("readings_used")
    pd.testing.assert_series_equal(table.iloc[1].drop("readings_used"), expected, check_names=False)
    both = by_size(moved({("LEAD", "S2", 1): "mov"}))
    assert both["measurer"].tolist() == ["A", "A", "B", "B"]


def test_no_moving_code_and_a_moving_retake_give_no_second_row():
    condition = {("A", "S2", 1): "mov"}
    assert len(by_size(replace(moved(condition), conditions={}))) == 2
    session = moved(condition)
    readings = session.readings
    again = readings[readings["condition"] == "mov"].assign(retake=1)
    first = readings.assign(condition="", retake=pd.NA)
    assert len(by_size(replace(session, readings=pd.concat([first, again])))) == 2


def test_a_line_turns_where_it_does_for_all_lines_together():
    kind = study.KINDS["height, 0.1 cm"]
    rng = np.random.default_rng(10)
    table = by_size(study.sessions(kind, 8, rng, grows=0.03, tems={1: 0.7}, staff=3))
    p = sorted(table["p_value"])
    # Holm (1979): the smallest against 0.05 / m, the next against 0.05 / (m - 1), until one fails
    passed = 0
    while p[passed] <= 0.05 / (len(p) - passed):
        passed += 1
    assert 1 <= passed < (table["p_value"] <= 0.05).sum()
    assert table.nsmallest(passed, "p_value")["turns"].all()
    assert table["turns"].sum() == passed
    assert by_size(as_session({"A": [[1]]}))["turns"].tolist() == [False]


@pytest.mark.parametrize("confidence", [0, 1, 90])
def test_a_confidence_that_is_not_between_0_and_1_is_refused(confidence):
    with pytest.raises(ValueError, match=re.escape("between 0 and 1, not")):
        by_size(as_session({"A": [[1]]}), confidence=confidence)


def test_slopes_are_covered_though_one_errs_two_and_a_half_times_as_much():
    table = study.slopes(200, 20261126)
    band = 4 * np.sqrt(0.9 * 0.1 / table["sessions"])
    assert (abs(table["covered"] - 0.9) < band).all()


def test_against_the_reference_alone_its_own_error_would_make_a_slope():
    # differences of equal people, sizes as spread as the errors: what the mean is for
    rng = np.random.default_rng(11)
    x = np.rint(700 + rng.normal(0, 10, (1, 4000)) + rng.normal(0, 10, (2, 4000)))
    layout = {p: [[int(v)] for v in own] for p, own in zip(("LEAD", "A"), x, strict=True)}
    row = by_size(as_session(layout, reference="LEAD")).iloc[0]
    alone = stats.linregress(x[0], x[1] - x[0])
    assert row["lower"] < 0 < row["upper"]
    assert alone.slope == pytest.approx(-0.5, abs=4 * alone.stderr)
