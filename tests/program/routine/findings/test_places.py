"""A scale or its people: who is explained by whom."""

import numpy as np
import pandas as pd
import pytest
from calibration.records import counted, drawn

from anthroqa.program.routine.findings.groups import cells
from anthroqa.program.routine.findings.places import explained, without


def counts_of(shares, instruments, readings=300):
    """People who each read one instrument or two, with a share on the pound at each."""
    rng, parts = np.random.default_rng(3), []
    for i, (share, instrument) in enumerate(zip(shares, instruments, strict=True)):
        staff = drawn(rng, np.array([share]), mark=16, readings=readings)
        own = counted(staff, "1 oz").assign(measurer=f"P{i // 2}", instrument=instrument)
        parts.append(own.assign(site="C"))
    return cells(pd.concat(parts))[0]


def named(who, share, level="instrument"):
    return pd.DataFrame({"level": [level], "who": [who], "mark": ["1 lb"], "share": [share]})


def test_all_who_lean_there_and_only_there_are_explained():
    # P0 to P2 read S1 and S2: S1 leans for all of them
    c = counts_of([0.5, 0, 0.5, 0, 0.6, 0], ["S1", "S2"] * 3)
    assert list(explained(c, named("S1", 0.53), 0.05)) == [
        ("P0", "1 lb", "S1"), ("P1", "1 lb", "S1"), ("P2", "1 lb", "S1"),
    ]  # fmt: skip


def test_who_leans_elsewhere_too_is_not_explained():
    c = counts_of([0.5, 0.5, 0.5, 0, 0.6, 0], ["S1", "S2"] * 3)
    assert [who for who, _, _ in explained(c, named("S1", 0.53), 0.05)] == ["P1", "P2"]


def test_a_scale_that_one_reads_well_explains_nobody():
    c = counts_of([0.9, 0, 0.9, 0, 0.0, 0], ["S1", "S2"] * 3)
    assert list(explained(c, named("S1", 0.6), 0.05)) == []
    alone = counts_of([0.5, 0], ["S1", "S2"])
    assert list(explained(alone, named("S1", 0.5), 0.05)) == []


def test_a_place_without_its_leaner():
    c = counts_of([0.8, 0.8, 0, 0, 0, 0], ["S1", "S1", "S1", "S2", "S1", "S2"])
    row = named("S1", 0.4).iloc[0]
    assert without(c, row, {"P0"}) < 0.05
    assert without(c, row, set()) == pytest.approx(0.4, abs=0.05)
    assert np.isnan(without(c, row, {"P0", "P1", "P2"}))
