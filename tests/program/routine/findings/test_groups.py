"""Sums of counts by person, site and instrument: against a loop, however the rows are cut."""

import numpy as np
import pandas as pd
import pytest
from calibration.records import counted, drawn

from anthroqa.program.routine.findings.groups import cells, step_of


@pytest.fixture(scope="module")
def counts():
    staff = drawn(np.random.default_rng(1), np.array([0.3, 0, 0]), mark=16, readings=60, sites=2)
    return counted(staff, "1 oz").assign(instrument="S1")


def test_sums_are_those_of_a_loop(counts):
    (c,) = cells(counts)
    assert (c.measure, c.cycle, list(c.marks.values())[-1]) == ("weight", 16, "1 lb")
    for level, column in (("measurer", "measurer"), ("site", "site")):
        who, at = c.by(level)[0], c.positions("n", level)
        assert list(who) == sorted(set(counts[column]))
        for i, name in enumerate(who):
            for position in range(16):
                rows = counts[(counts[column] == name) & (counts["position"] == position)]
                assert at[i, position] == rows["n"].sum()
    assert c.positions("n", "everybody").sum() == 180


def test_one_code_in_two_sites_is_two_instruments(counts):
    (c,) = cells(counts)
    assert c.by("instrument")[0] == ("S1 (C0)", "S1 (C1)")
    assert c.where(c.codes["site"] == 0).by("instrument")[0] == ("S1 (C0)", "S1 (C1)")
    one = cells(counts[counts["site"] == "C0"])[0]
    assert one.by("instrument")[0] == ("S1",)


def test_blank_codes_are_nobody(counts):
    (c,) = cells(counts.assign(site=np.where(counts["site"] == "C0", "", "C1"), instrument=""))
    assert c.by("site")[0] == ("C1",)
    assert c.by("instrument")[0] == ()
    assert c.positions("n", "site").sum() < 180


def test_rows_may_be_cut_and_shuffled(counts):
    (c,) = cells(counts)
    half = counts.assign(n=counts["n"] // 2)
    cut = pd.concat([half, counts.assign(n=counts["n"] - half["n"])]).sample(frac=1, random_state=1)
    (again,) = cells(cut)
    assert (c.positions("n", "measurer") == again.positions("n", "measurer")).all()


def test_a_person_is_only_in_the_measures_they_read(counts):
    other = counts[counts["measurer"] == "P000"].assign(measure="length", step="1/8 in", position=0)
    both = cells(pd.concat([counts, other]))
    assert [c.by("measurer")[0] for c in both] == [("P000", "P001", "P002"), ("P000",)]


def test_what_cannot_be_counted_is_refused(counts):
    with pytest.raises(ValueError, match="counts lack position; read them with read_counts"):
        cells(counts.drop(columns="position"))
    two = pd.concat([counts, counts.assign(step="1/4 lb")])
    with pytest.raises(ValueError, match="weight is counted in several steps: 1 oz, 1/4 lb"):
        cells(two)


@pytest.mark.parametrize("text", ["1 oz", "1/8 in", "0.1 kg", "1/4 lb", "0.05 kg", "1 mm"])
def test_steps_are_read_back(text):
    assert str(step_of(text)) == text
