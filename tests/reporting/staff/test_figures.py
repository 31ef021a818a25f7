"""Figures of the review read back: every figure stands where its table says."""

import datetime as dt
import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_hex

import anthroqa
from anthroqa.program.staff.drift import DIFFERENCE, REPEAT, SMOOTHED
from anthroqa.program.staff.funnel_limits import limits
from anthroqa.reporting.page.figures import BLUE, INK
from anthroqa.reporting.staff import figures
from anthroqa.reporting.staff import panels as panels

DATES = [dt.date(2026, 1, 10), dt.date(2026, 4, 10), dt.date(2026, 10, 10)]


@pytest.fixture(scope="module")
def length():
    frame = pd.DataFrame({
        "measurer": ["A"], "subject": ["S"], "measure": ["length"], "round": [1], "reading": ["7"],
    })  # fmt: skip
    measures = {"length": {"recorded_to": "0.1 cm"}}
    return anthroqa.Session.from_frame(frame, measures=measures).measures["length"]


def smoothed_rows(people, what=REPEAT, *, values=(0.2, 0.3, 0.4)):
    return pd.DataFrame(
        [
            ("length", who, what, f"s{k}", date, v, v - 0.1, v + 0.2, v, v - 0.05, v + 0.05, "cm")
            for who in people
            for k, (date, v) in enumerate(zip(DATES, values, strict=True))
        ],
        columns=SMOOTHED,
    )


def nothing():
    return pd.DataFrame(columns=["date", "measure", "measurer", "event", "note"])


def circles(ax):
    return next(line for line in ax.lines if line.get_marker() == "o").get_xydata()


def test_sessions_stand_at_their_dates_and_figures(length):
    ax = panels.over_time(smoothed_rows(["A"]), nothing(), length, 0.8)
    at = circles(ax)
    days = np.array([(d - DATES[0]).days for d in DATES])
    assert np.diff(at[:, 0]) / np.diff(at[:, 0]).sum() == pytest.approx(np.diff(days) / days[-1])
    # from 0 to 0.8 cm over the height of a panel
    assert np.diff(at[:, 1]) == pytest.approx([0.1 / 0.8 * panels._PLOT] * 2)


def test_one_scale_for_everybody_and_people_in_the_order_of_the_rows(length):
    people = ["LEAD", "B", "C", "D"]
    ax = panels.over_time(smoothed_rows(people), nothing(), length, 0.8)
    at = circles(ax).reshape(4, 3, 2)
    for other in (1, 2):  # one row of panels
        assert at[other, :, 1] == pytest.approx(at[0, :, 1])
    assert at[3, :, 0] == pytest.approx(at[0, :, 0])  # below the first
    assert (at[3, :, 1] < at[0, :, 1]).all()
    codes = [t for t in ax.texts if t.get_text() in people]
    assert [t.get_text() for t in codes] == people
    assert codes[0].get_position()[0] < codes[1].get_position()[0]


def test_a_line_of_one_person_never_runs_into_the_next(length):
    ax = panels.over_time(smoothed_rows(["A", "B"]), nothing(), length, 0.8)
    smooth = next(line for line in ax.lines if to_hex(line.get_color()) == INK)
    assert np.isnan(smooth.get_ydata()).tolist() == [False] * 3 + [True] + [False] * 3
    filled = [c for c in ax.collections if len(c.get_facecolor())]
    (band,) = [c for c in filled if to_hex(c.get_facecolor()[0]) == panels.BAND]
    assert len(band.get_paths()) == 2


def test_what_lies_beyond_the_scale_is_an_arrow_at_its_edge(length):
    rows = smoothed_rows(["A"], DIFFERENCE, values=(0.0, 0.9, -0.9))
    ax = panels.over_time(rows, nothing(), length, 1.0)
    up = next(line for line in ax.lines if line.get_marker() == "^").get_xydata()
    down = next(line for line in ax.lines if line.get_marker() == "v").get_xydata()
    middle = circles(ax)[0, 1]
    assert up[:, 1] - middle == pytest.approx([panels._PLOT / 2])
    assert len(down) == 0  # -0.9 - 0.1 is the edge itself


def test_only_who_is_named_has_a_frame(length):
    ax = panels.over_time(smoothed_rows(["A", "B"]), nothing(), length, 0.8, {"B"})
    framed = {t.get_text() for t in ax.texts if t.get_bbox_patch() is not None}
    assert framed == {"B"}


def test_events_are_drawn_at_their_date_with_their_letters(length):
    happened = pd.DataFrame(
        [(DATES[1], "length", "A", "retrained", ""),
         (DATES[1], "length", "A", "another instrument", "")],
        columns=["date", "measure", "measurer", "event", "note"],
    )  # fmt: skip
    ax = panels.over_time(smoothed_rows(["A", "B"]), happened, length, 0.8)
    (letters,) = [t for t in ax.texts if t.get_text() == "TK"]
    assert letters.get_position()[0] == pytest.approx(circles(ax)[1, 0])


def test_scale_holds_every_figure_but_not_every_interval(length):
    rows = smoothed_rows(["A"], values=(0.2, 0.3, 0.4))
    rows.loc[0, "upper"] = 50.0
    high = panels.scale_of(rows, length)
    assert 0.4 < high < 1.0
    equal = rows.assign(value=0.0, smoothed=0.0, lower=np.nan, upper=np.nan)
    assert panels.scale_of(equal, length) == pytest.approx(1.08 * 0.1)  # a step at least


def funnel_rows():
    centre, df = 0.3, np.array([10.0, 20.0, 40.0])
    (l95, u95), (l998, u998) = (limits(centre, df, c) for c in (0.95, 0.998))
    return pd.DataFrame({
        "measure": "length", "measurer": ["A", "B", "$C$"], "estimate": [0.25, 0.31, 0.6],
        "df": df, "centre": centre, "lower_95": l95, "upper_95": u95, "lower_998": l998,
        "upper_998": u998, "p_value": [0.6, 0.4, 1e-6], "unit": "cm", "note": "",
    })  # fmt: skip


def test_funnel_has_everybody_at_their_figure_and_a_code_for_the_named_only(length):
    rows = funnel_rows()
    ax = figures.funnel_plot(rows, length, {"$C$"})
    (rest,) = [line for line in ax.lines if line.get_marker() == "o"]
    (named,) = [line for line in ax.lines if line.get_marker() == "s"]
    assert rest.get_xydata() == pytest.approx(rows.loc[:1, ["df", "estimate"]].to_numpy())
    assert named.get_xydata() == pytest.approx(rows.loc[2:, ["df", "estimate"]].to_numpy())
    said = [t.get_text() for t in ax.texts]
    assert "$C$" in said
    assert not {"A", "B"} & set(said)


def test_funnel_limits_pass_through_those_of_the_table(length):
    rows = funnel_rows()
    ax = figures.funnel_plot(rows, length)
    curves = [line for line in ax.lines if len(line.get_xdata()) > 50]
    assert len(curves) == 4
    heights = sorted(np.interp(20.0, c.get_xdata(), c.get_ydata()) for c in curves)
    expected = rows.loc[1, ["lower_998", "lower_95", "upper_95", "upper_998"]].tolist()
    assert heights == pytest.approx(expected, abs=1e-3)


def test_funnel_without_limits_shows_people_only(length):
    blank = ["lower_95", "upper_95", "lower_998", "upper_998", "p_value"]
    ax = figures.funnel_plot(funnel_rows().assign(**dict.fromkeys(blank, np.nan)), length)
    assert not [line for line in ax.lines if len(line.get_xdata()) > 50]
    assert "0 outside" in figures.alt_funnel(funnel_rows().iloc[:2], length, set())
    assert "Nobody is named." in figures.alt_funnel(funnel_rows(), length, set())
    assert "Named: $C$ 0.60." in figures.alt_funnel(funnel_rows(), length, {"$C$"})


def test_own_and_moderated_figures_stand_on_one_line(length):
    rows = pd.DataFrame({
        "measure": "length", "measurer": ["LEAD", "A"], "estimate": [0.3, 0.5], "df": [10.0, 10.0],
        "moderated": [np.nan, 0.4], "lower": [np.nan, 0.3], "upper": [np.nan, 0.6],
        "prior_tem": [np.nan, 0.35], "prior_df": [np.nan, 8.0], "unit": "cm", "note": "",
    })  # fmt: skip
    ax = figures.drawn_in(rows, length)
    (own,) = [line for line in ax.lines if line.get_marker() == "o"]
    (drawn,) = [line for line in ax.lines if line.get_marker() == "s"]
    assert own.get_xdata().tolist() == [0.3, 0.5]
    assert to_hex(drawn.get_markerfacecolor()) == BLUE.lower()
    assert drawn.get_xdata()[1] == 0.4
    assert own.get_ydata().tolist() == drawn.get_ydata().tolist() == [0, 1]
    assert "A 0.50, moderated 0.40" in figures.alt_drawn_in(rows, length)


def test_before_luck_and_after_stand_where_they_are(length):
    rows = pd.DataFrame({
        "measure": "length", "measurer": ["A", "B"], "what": REPEAT, "date": DATES[0],
        "picked": [0.6, 0.5], "before": [0.4, np.nan], "luck_alone": [0.4, 0.35],
        "luck_lower": [0.25, 0.2], "luck_upper": [0.7, 0.5], "after": [0.2, 0.4], "p_value": 0.5,
        "finding": "as luck alone would give", "unit": "cm", "note": "",
    })  # fmt: skip
    ax = figures.luck_plot(rows, length)
    by = {line.get_marker(): line.get_xdata().tolist() for line in ax.lines}
    assert by["x"] == [0.6, 0.5]
    assert by["s"] == [0.2, 0.4]
    assert by["o"][0] == 0.4
    assert by["|"] == [0.4, 0.35]
    assert "luck alone 0.25 to 0.70, after 0.20" in figures.alt_luck(rows, length)
    assert ax.get_xlim()[0] == 0.0
    assert figures.luck_plot(rows.assign(what=DIFFERENCE), length).get_xlim()[0] < 0


def test_words_for_panels_give_signs_to_differences_only(length):
    repeat = panels.alt_over_time(smoothed_rows(["A"]), length)
    assert "A 0.20, 0.30, 0.40" in repeat
    assert "A +0.20, +0.30, +0.40" in panels.alt_over_time(smoothed_rows(["A"], DIFFERENCE), length)
    assert not re.search(r"nan", repeat)
