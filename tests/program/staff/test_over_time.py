import numpy as np
import pytest
from programs import QUARTERS, drawn_counts, drawn_program, write_session

import anthroqa
from anthroqa.program.staff.over_time import STATISTICS, differences, history, repeat_errors
from anthroqa.program.staff.sessions import read_program
from anthroqa.scores.table import COLUMNS as SCORES


def test_history_is_the_score_table_of_each_session(tmp_path):
    program = drawn_program(tmp_path, 1, sessions=2)
    table = history(program, confidence=0.8, seed=3)
    for session in program.sessions:
        own = table[table["session"] == session.name]
        assert set(own["date"]) == {session.date}
        scores = anthroqa.score(session, confidence=0.8, seed=3, only=STATISTICS)
        np.testing.assert_array_equal(own["estimate"], scores["estimate"])
        assert list(own["statistic"]) == list(scores["statistic"])
    assert list(table.columns[2 : 2 + len(SCORES)]) == SCORES
    assert set(table.loc[table["reference"], "measurer"]) == {"LEAD"}
    assert set(table["step"]) == {1.0}


def test_the_repeat_error_followed_is_less_the_shift_that_others_show(tmp_path):
    program = drawn_program(tmp_path, 2, sessions=2)
    errors = repeat_errors(history(program))
    assert set(errors["statistic"]) == {"within_tem_less_shift"}
    assert len(errors) == 2 * 8
    assert not errors.duplicated(["session", "measure", "measurer"]).any()
    # two people know no shift of others
    rng = np.random.default_rng(0)
    write_session(tmp_path / "two/Q1", drawn_counts(rng, staff=1), QUARTERS[0])
    few = repeat_errors(history(read_program(tmp_path / "two")))
    assert few.set_index("measurer")["statistic"]["A"] == "within_tem"


def test_people_who_read_nobody_twice_have_no_repeat_error(tmp_path):
    rng = np.random.default_rng(0)
    write_session(tmp_path / "p/Q1", drawn_counts(rng, rounds=1), QUARTERS[0])
    assert repeat_errors(history(read_program(tmp_path / "p"))).empty


def test_the_difference_is_from_the_reference_and_its_own_from_the_others(tmp_path):
    found = differences(history(drawn_program(tmp_path, 3, sessions=2)))
    of = found.groupby("measurer")["statistic"].unique()
    assert of["LEAD"].tolist() == ["bias_from_others"]
    assert of["A"].tolist() == ["bias"]


def test_differences_are_from_the_others_where_the_reference_is_not_always_the_same(tmp_path):
    rng = np.random.default_rng(4)
    write_session(tmp_path / "p/Q1", drawn_counts(rng), QUARTERS[0], reference="A")
    write_session(tmp_path / "p/Q2", drawn_counts(rng), QUARTERS[1])
    found = differences(history(read_program(tmp_path / "p")))
    assert set(found["statistic"]) == {"bias_from_others"}
    assert len(found) == 2 * 8


LOADS = "instrument,measure,check,load,reading\n" + "".join(
    f"{code},length,rod,{load},{load + off}\n"
    for code, off in (("X", 0), ("Y", 5)) for load in (400, 600, 800, 800) for _ in range(2)
)  # fmt: skip


def test_the_difference_is_less_the_instruments_where_they_are_known(tmp_path):
    rng = np.random.default_rng(5)
    counts = drawn_counts(rng, tem=1.0)
    counts["A"] = counts["A"] + 5  # the board that A used reads 5 mm high
    used = {who: "Y" if who == "A" else "X" for who in counts}
    write_session(tmp_path / "p/Q1", counts, QUARTERS[0], instrument=used, loads=LOADS)
    found = differences(history(read_program(tmp_path / "p"))).set_index("measurer")
    assert found.loc["A", "statistic"] == "bias_less_instrument"
    assert found.loc["A", "estimate"] == pytest.approx(0, abs=4 * np.sqrt(2 / 20))
    assert found.loc["A", "instruments"] == "Y"
    assert found.loc["B", "instruments"] == "X"


def test_own_scatter_is_known_without_the_reference(tmp_path):
    """SD over subjects of own less true: TEM over the root of 2, whatever the lead does."""
    found = differences(history(drawn_program(
        tmp_path, 6, sessions=4, tem={"LEAD": 30.0}, subjects=40, staff=9
    )))  # fmt: skip
    staff = found[~found["reference"]]
    sd = np.sqrt((staff["spread"] ** 2).mean())
    true = np.sqrt(3.0**2 / 2 + 1 / 24)  # two rounds, and rounding
    df = len(staff) * 39 * 8 / 9
    assert sd == pytest.approx(true, rel=4 / np.sqrt(2 * df))


def test_sets_of_subjects_are_told_apart(tmp_path):
    rng = np.random.default_rng(7)
    north, south = drawn_counts(rng, staff=4), drawn_counts(rng, staff=4)
    place = write_session(tmp_path / "p/Q1", north, QUARTERS[0])
    lines = place.joinpath("readings.csv").read_text()
    for who, own in south.items():
        code = who if who == "LEAD" else f"{who}2"
        for s, turns in enumerate(own):
            for k, n in enumerate(turns):
                lines += f"{code},T{s + 1},length,{k + 1},{n}\n"
    place.joinpath("readings.csv").write_text(lines)
    found = differences(history(read_program(tmp_path / "p"))).set_index("measurer")["group"]
    assert found["LEAD"] == ""
    assert found["A"] == found["D"] != found["A2"] == found["D2"]
