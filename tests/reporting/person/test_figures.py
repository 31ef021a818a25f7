"""The small drawing: every own reading is on it where it lies, and nobody else can be told."""

import re

import numpy as np
import pandas as pd
import pytest
from reporting.person.tables import measure_of

from anthroqa.reporting.person.figures import own_readings

MEASURE = measure_of("0.1 cm", limit_tem="0.6 cm", limit_bias="0.4 cm")
REACH = 1.15 * 0.8  # the farthest near reading, with room
MIDDLE = 68 + (340 - 68 - 34) / 2
HALF = (340 - 68 - 34) / 2


def residuals(*rows):
    table = pd.DataFrame(rows, columns=["measurer", "subject", "round", "residual"])
    return table.assign(unit="cm", far=table["residual"].abs() > 2)


MINE = residuals(("A", "C10", 1, 0.0), ("A", "C10", 2, 0.8), ("A", "C2", 1, -0.2),
                 ("A", "C2", 2, -0.2), ("A", "C3", 2, 10.1))  # fmt: skip
OTHERS = residuals(("B", "C10", 1, 0.1), ("D", "C10", 1, -0.3), ("B", "C2", 1, 0.5),
                   ("B", "C3", 1, 9.9), ("D", "C3", 1, 0.0))  # fmt: skip


def findings(**given):
    base = {"measure": "x", "question": ["repeatability", "bias"], "estimate": [0.3, -0.1],
            "lower": [0.2, -0.5], "upper": [0.5, 0.3], "limit": [0.6, 0.4],
            "state": ["within limit", "not settled"]}  # fmt: skip
    return pd.DataFrame(base | given)


def x(value):
    return pytest.approx(MIDDLE + HALF * value / REACH, abs=0.06)


def layer(svg, name):
    """The pieces of one layer's path, as their numbers."""
    found = re.search(f'<path class="{name}" [^>]*d="([^"]*)"', svg)
    if not found:
        return []
    return [
        [float(n) for n in re.findall(r"-?[\d.]+", piece)]
        for piece in found.group(1).split("M")
        if piece
    ]


def texts(svg, kind):
    return re.findall(f'<text class="{kind}"[^>]*>([^<]*)<', svg)


def test_every_own_reading_is_drawn_where_it_lies():
    svg = own_readings(MINE, OTHERS, findings(), MEASURE)
    own = layer(svg, "own")
    rings = [p for p in own if len(p) > 6]
    peaks = [p[0] for p in own if len(p) == 6]
    assert [p[0] + 2.9 for p in rings] == [x(-0.2), x(0.0)]  # C2 before C10
    assert peaks == [x(-0.2), x(0.8)]
    assert texts(svg, "code") == ["C2", "C3", "C10"]
    assert [p[0] for p in layer(svg, "join")] == [x(-0.2), x(0.0)]
    assert [p[2] for p in layer(svg, "join")] == [x(-0.2), x(0.8)]


def test_a_far_reading_is_an_arrow_at_the_edge_with_its_distance():
    svg = own_readings(MINE, OTHERS, findings(), MEASURE)
    (arrow,) = layer(svg, "far")
    assert arrow[0] - 4 == x(REACH)
    assert texts(svg, "away") == ["+10.10"]
    assert "Far: subject C3, round 2, +10.10 cm." in svg


def test_a_far_reading_on_the_scale_is_a_block():
    mine = MINE.assign(far=[True, False, False, False, False])
    svg = own_readings(mine.iloc[:4], OTHERS, findings(), MEASURE)
    (block,) = [p for p in layer(svg, "far") if len(p) == 8]
    assert np.mean(block[::2]) == x(0.0)
    assert len(layer(svg, "own")) == 3


def test_others_are_grey_marks_only_where_two_or_more_of_them_read_and_nobody_is_named():
    svg = own_readings(MINE, OTHERS, findings(), MEASURE)
    assert [p[0] for p in layer(svg, "other")] == [x(0.1), x(-0.3), x(0.0)]  # not C2, nor +9.9
    alone = own_readings(MINE, OTHERS[OTHERS["measurer"] == "B"], findings(), MEASURE)
    assert layer(alone, "other") == []
    assert not re.search(r">[BD]<", svg)


def test_two_others_who_read_alike_are_one_mark():
    alike = residuals(("B", "C2", 1, 0.1), ("D", "C2", 1, 0.1))
    assert len(layer(own_readings(MINE, alike, findings(), MEASURE), "other")) == 1


def test_intervals_and_limits_are_at_the_foot():
    svg = own_readings(MINE, OTHERS, findings(), MEASURE)
    assert [(p[0], p[2]) for p in layer(svg, "interval")] == [(x(0.2), x(0.5)), (x(-0.5), x(0.3))]
    assert [p[0] for p in layer(svg, "limit")] == [x(0.6), x(-0.4), x(0.4)]
    assert layer(svg, "dot")[0][0] + 2.9 == x(0.3)
    assert layer(svg, "open")[0][0] + 2.9 == x(-0.1)
    assert texts(svg, "said") == ["repeat error", "difference"]


def test_what_goes_on_beyond_the_scale_is_an_arrow_and_an_estimate_there_is_not_drawn():
    rows = findings(estimate=[4.0, -0.1], lower=[2.0, -3.0], upper=[6.0, 3.0],
                    state=["over limit", "not judged"], limit=[0.6, np.nan])  # fmt: skip
    svg = own_readings(MINE.iloc[:4], OTHERS, rows, MEASURE)
    assert len(layer(svg, "interval")) == 1
    assert len(layer(svg, "far")) == 3
    assert layer(svg, "block") == []
    assert len(layer(svg, "x")) == 1
    assert [p[0] for p in layer(svg, "limit")] == [x(0.6)]


def test_no_interval_no_line():
    rows = findings(lower=[np.nan, np.nan], upper=[np.nan, np.nan], estimate=[np.nan, 0.1])
    svg = own_readings(MINE, OTHERS, rows, MEASURE)
    assert layer(svg, "interval") == []
    assert len(layer(svg, "open")) == 1
    assert "nan" not in svg


@pytest.mark.parametrize(
    ("step", "away", "ticks"),
    [
        ("1/8 in", 0.5, ["\u22121/2", "\u22121/4", "0 in", "+1/4", "+1/2"]),
        ("1/4 lb", 2.0, ["\u22122", "\u22121", "0 lb", "+1", "+2"]),
        ("1 oz", 3.0, ["\u22122", "0 oz", "+2"]),
        ("0.1 cm", 0.8, ["\u22120.5", "0 cm", "+0.5"]),
        ("0.1 kg", 0.1, ["\u22120.2", "\u22120.1", "0 kg", "+0.1", "+0.2"]),
        ("3/4 in", 1.5, ["\u22121 1/2", "\u22123/4", "0 in", "+3/4", "+1 1/2"]),
    ],
)  # fmt: skip
def test_ticks_are_marks_of_the_instrument_in_its_own_words(step, away, ticks):
    mine = residuals(("A", "C1", 1, away), ("A", "C1", 2, 0.0)).assign(far=False)
    none = findings().iloc[:0]
    svg = own_readings(mine, OTHERS, none, measure_of(step))
    assert texts(svg, "tick")[:-2] == ticks
    assert texts(svg, "tick")[-2:] == ["\u2190 reads low", "high \u2192"]


def test_the_drawing_does_not_grow_without_end():
    def height(n):
        mine = residuals(*[("A", f"C{i}", 1, 0.1) for i in range(n)])
        svg = own_readings(mine, OTHERS, findings(), MEASURE)
        assert len(layer(svg, "own")) == n
        return float(re.search(r'viewBox="0 0 340 (\d+)"', svg).group(1))

    assert height(12) < height(36) == height(300) < 180


def test_nothing_to_draw_against_is_no_drawing():
    assert own_readings(MINE.assign(residual=np.nan), OTHERS, findings(), MEASURE) == ""


def test_what_people_typed_is_text():
    mine = residuals(("A", "<b>&", 1, 0.1), ("A", "<b>&", 2, 10.0))
    svg = own_readings(mine, OTHERS, findings(), MEASURE)
    assert "<b>" not in svg
    assert svg.count("&lt;b&gt;&amp;") == 2
