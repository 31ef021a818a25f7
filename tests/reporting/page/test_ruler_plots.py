"""What the panels of a drill show is read back from their axes."""

import warnings

import numpy as np
import pytest

import anthroqa
from anthroqa.reporting.page.ruler_plots import alt_rulers, rulers
from anthroqa.scores.drill import read_back


@pytest.fixture(scope="module")
def board(samples):
    session = anthroqa.read_session(samples / "marks_drill")
    marks, read = read_back.marks(session), read_back.readings(session)
    here = [t[t["measure"] == "board"] for t in (marks, read)]
    return session.measures["board"], *here


def words(ax):
    return [t.get_text() for t in ax.texts if t.get_text()]


def points(ax, marker):
    return {
        (x, y)
        for line in ax.lines
        if line.get_marker() == marker
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    }


def line_of(ax):
    """Places and heights of the line of the way that was found."""
    (line,) = [one for one in ax.lines if one.get_marker() == "None"]
    return np.asarray(line.get_xdata()), np.asarray(line.get_ydata())


def test_a_panel_a_person_in_the_order_of_the_table(board):
    measure, marks, read = board
    panels = rulers(read, marks, measure)
    assert len(panels) == 9
    for ax, row in zip(panels, marks.itertuples(), strict=True):
        assert words(ax)[-2:] == [row.measurer, f"{row.mark}, {row.finding}"]
    tops = [ax.get_position().y1 for ax in panels]
    assert tops[0] == tops[1] > tops[2] == tops[3]


def test_every_reading_stands_at_its_place_or_is_an_arrow_at_the_edge(board):
    measure, marks, read = board
    arrows = 0
    for ax, who in zip(rulers(read, marks, measure), marks["measurer"], strict=True):
        mine = read[read["measurer"] == who]
        expected = set(zip(mine["set"] % 8, mine["difference"], strict=True))
        high = ax.get_ylim()[1]
        inside = {(x, y) for x, y in expected if abs(y) <= high}
        assert points(ax, "o") == inside
        beyond = points(ax, "^") | points(ax, "v")
        assert {x for x, _ in beyond} == {x for x, y in expected if abs(y) > high}
        assert all(abs(y) == high for _, y in beyond)
        assert len(inside) >= 0.9 * len(expected)
        arrows += len(beyond)
    assert arrows > 0


def test_the_line_is_the_way_of_reading_that_was_found(board):
    measure, marks, read = board
    panels = dict(zip(marks["measurer"], rulers(read, marks, measure), strict=True))
    rows = marks.set_index("measurer")
    for who in ("R1", "R2", "R3", "R5"):
        at, off = line_of(panels[who])
        mark, shift = int(rows.loc[who, "mark_steps"]), rows.loc[who, "shift"]
        gone = np.isnan(off)
        assert gone.sum() <= 9
        expected = mark * np.floor(at / mark + shift + 0.5) - at
        assert off[~gone] == pytest.approx(expected[~gone])
    _, low = line_of(panels["R2"])
    assert np.nanmax(low) < 0.1  # rounding down is never above
    at, back = line_of(panels["R7"])
    near = np.argmin(np.abs(at - 1.0))
    assert back[near] == pytest.approx(6, abs=0.3)  # 1/8 is written as 7/8


def test_the_ruler_is_the_instruments_own(board):
    measure, marks, read = board
    ax = rulers(read, marks, measure)[0]
    assert ax.get_xlim() == (0, 8)
    assert {"0", "1/2 in", "1 in", "+1/4 in", "\u22121/4 in"} <= set(words(ax))
    ticks = {t.xy[0] for t in ax.texts if not t.get_text()}
    assert ticks == set(range(9))


def test_codes_are_never_read_as_formulas(board):
    measure, marks, read = board
    one = marks.head(1).assign(measurer="$x_1$")
    ax = rulers(read, one, measure)[0]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        ax.figure.draw_without_rendering()
    assert "$x_1$" in words(ax)


def test_people_who_are_not_judged_have_a_panel_without_a_line(board):
    measure, marks, read = board
    none = marks.head(1).assign(mark="", finding=read_back.NOT_JUDGED)
    (ax,) = rulers(read, none, measure)
    assert [line for line in ax.lines if line.get_marker() == "None"] == []
    assert words(ax)[-1] == "not judged"
    assert len(points(ax, "o")) >= 22


def test_words_for_the_panels_tell_what_was_found(board):
    measure, marks, _ = board
    text = alt_rulers(marks, measure)
    assert "R3: 1/2 in, to the nearest; " in text
    assert text.startswith("Written less set, by place within the whole mark, board. R1: ")
