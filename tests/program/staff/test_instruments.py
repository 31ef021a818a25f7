"""Changes of instruments by hand, from known loads of two sessions."""

import numpy as np
import pytest
from programs import QUARTERS, drawn_counts, write_session

import anthroqa
from anthroqa.program.staff.instruments import COLUMNS, instrument_drifts
from anthroqa.program.staff.sessions import read_program

HEAD = "instrument,measure,check,load,reading\n"


def loads(off, code="BOARD", loads=(400, 600, 800)):
    rows = [
        f"{code},length,rod,{load},{load + off + (k == 1)}\n" for load in loads for k in range(3)
    ]
    return HEAD + "".join(rows)


def program_of(tmp_path, *tables):
    rng = np.random.default_rng(1)
    for k, text in enumerate(tables):
        counts = drawn_counts(rng)
        used = dict.fromkeys(counts, "BOARD")
        write_session(tmp_path / f"p/Q{k + 1}", counts, QUARTERS[k], instrument=used, loads=text)
    return read_program(tmp_path / "p")


def test_a_board_that_reads_higher_later_is_seen_at_every_rod(tmp_path):
    program = program_of(tmp_path, loads(0), loads(0), loads(6))
    table = instrument_drifts(program)
    assert list(table.columns) == COLUMNS
    assert len(table) == 9
    first, last = table[table["session"] == "Q1"], table[table["session"] == "Q3"]
    assert first["change"].isna().all()
    assert last["change"].to_numpy() == pytest.approx(6)
    assert (last["change_lower"] > 0).all()
    own = anthroqa.instrument_checks(program.sessions[2])
    errors = own[own["statistic"] == "error"]
    assert last["error"].to_numpy() == pytest.approx(errors["estimate"].to_numpy())
    half = (first["upper"] - first["lower"]).to_numpy() / 2, (last["upper"] - last["lower"]) / 2
    width = (last["change_upper"] - last["change_lower"]).to_numpy() / 2
    assert width == pytest.approx(np.hypot(*half))
    same = table[table["session"] == "Q2"]
    assert ((same["change_lower"] < 0) & (same["change_upper"] > 0)).all()


def test_a_rod_that_came_later_is_held_against_its_own_first(tmp_path):
    table = instrument_drifts(program_of(tmp_path, loads(0), loads(3, loads=(400, 500)), loads(3)))
    at = table.set_index(["load", "session"])["change"]
    assert np.isnan(at[500.0, "Q2"])
    assert at[400.0, "Q3"] == pytest.approx(3)
    assert at[800.0, "Q3"] == pytest.approx(3)
    assert (800.0, "Q2") not in at.index


def test_without_known_loads_there_is_nothing(tmp_path):
    table = instrument_drifts(program_of(tmp_path, "", ""))
    assert table.empty
    assert list(table.columns) == COLUMNS
