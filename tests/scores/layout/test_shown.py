import numpy as np
import pandas as pd

import anthroqa
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.layout.shown import displays


def shown(rows, step, **columns):
    frame = pd.DataFrame(rows, columns=["measurer", "subject", "round", "reading", *columns])
    session = anthroqa.Session.from_frame(
        frame.assign(measure="weight"), measures={"weight": {"recorded_to": step}}
    )
    return displays(next(cubes(session)))


def test_gross_and_tare_are_shown_apart_and_from_zero():
    d = shown(
        [("A", "1", 1, "150 1/4", "138"), ("A", "1", 2, "150", "137 3/4"), ("A", "2", 1, "30", "")],
        "1/4 lb", tare="",
    )  # fmt: skip
    assert d.tared
    assert d.subject.tolist() == [0, 1, 0, 1]
    assert d.x[0].tolist() == [[601, 600], [120, 0], [552, 551], [0, 0]]
    assert d.seen[0].tolist() == [[True, True], [True, False], [True, True], [False, False]]


def test_without_a_tare_the_displays_are_the_readings():
    d = shown([("A", "1", 1, "7.3"), ("A", "1", 2, "7.4"), ("B", "1", 1, "7.2")], "0.1 kg")
    assert not d.tared
    assert d.x.tolist() == [[[73, 74]], [[72, 0]]]
    assert d.seen.tolist() == [[[True, True]], [[True, False]]]


def test_readings_in_the_other_system_of_units_are_left_out_and_counted():
    d = shown([("A", "1", 1, "25.4"), ("A", "1", 2, "10 in"), ("A", "2", 1, "254 mm")], "0.1 cm")
    assert d.converted.tolist() == [1]
    assert np.argwhere(d.seen).tolist() == [[0, 0, 0], [0, 1, 0]]
    assert d.x[d.seen].tolist() == [254, 254]
