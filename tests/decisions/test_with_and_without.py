"""Figures as they would be without slips, without moving children, as first written."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import as_frame, as_session, sessions

import anthroqa
from anthroqa.decisions import variants
from anthroqa.decisions.with_and_without import COLUMNS, STATISTICS

KEY = ["measure", "measurer", "subject", "round"]
FIGURE = ["measure", "measurer", "statistic"]
NUMBERS = ["estimate", "lower", "upper"]
NOBODY = pd.DataFrame(columns=KEY)
MEASURES = {"length": {"recorded_to": "1 mm", "limit_tem": "6 mm", "limit_source": "manual"}}
PEOPLE = {
    "A": [[600, 602], [610, 609], [625, 727], [633, 633], [648, 645], [655, 656], [660, 662]],
    "B": [[601, 603], [611, 612], [624, 625], [630, 633], [647, 646], [656, 655], [661, 660]],
    "C": [[600, 599], [612, 612], [626, 624], [634, 631], [649, 648], [655, 657], [662, 663]],
}
SLIP = pd.DataFrame({"measure": "length", "measurer": "A", "subject": "S3", "round": [2, 2]})


def told(session, slips=NOBODY):
    scores = anthroqa.score(session)
    return variants(session, scores, anthroqa.decide(scores, session), slips)


def of(table, variant, *figure):
    rows = table[table["variant"] == variant].set_index(["measurer", "statistic"])
    return rows.loc[figure]


def scored_as_other(table, session):
    """Whether every other figure is that of a session, and no figure is missing that differs."""
    expected = anthroqa.score(session, only=STATISTICS).set_index(FIGURE)
    for row in table.to_dict("records"):
        key = tuple(row[k] for k in FIGURE)
        mine = [row[f"other_{n}"] for n in NUMBERS]
        want = expected.loc[key, NUMBERS].astype(float) if key in expected.index else [np.nan] * 3
        assert mine == pytest.approx(list(want), rel=1e-12, nan_ok=True), key
    return expected


def test_by_hand_a_slip_is_left_out_and_the_first_figure_stays():
    table = told(as_session(PEOPLE, limit_tem="6 mm", limit_source="manual"), SLIP)
    assert list(table.columns) == COLUMNS
    assert set(table["variant"]) == {"without slips"}
    row = of(table, "without slips", "A", "within_tem")
    assert row["estimate"] == pytest.approx(((4 + 1 + 102**2 + 9 + 1 + 4) / 14) ** 0.5)
    assert row["other_estimate"] == pytest.approx(((4 + 1 + 9 + 1 + 4) / 12) ** 0.5)
    assert (row["readings"], row["unit"]) == (1, "mm")
    assert (row["state"], row["other_state"]) == ("over limit", "within limit")
    # who is compared with A changes too; B's own repeat error does not
    assert of(table, "without slips", "B", "bias_from_others")["readings"] == 0
    assert ("B", "within_tem") not in table.set_index(["measurer", "statistic"]).index
    assert of(table, "without slips", "(all)", "round_shift:2")["readings"] == 1


def test_another_statistic_judged_on_is_said():
    people = {
        **PEOPLE,
        "A": [[600, 600], [610, 610], [625, 727], *[[s, s] for s in range(630, 634)]],
    }
    table = told(as_session(people, limit_tem="6 mm"), SLIP)
    row = of(table, "without slips", "A", "within_tem")
    assert (row["state"], row["other_state"]) == ("over limit", "")
    assert row["note"].endswith("would then be judged on within_tem_resolved: within limit")
    assert of(table, "without slips", "A", "within_tem_resolved")["other_state"] == "within limit"


def test_nothing_to_leave_out_gives_no_rows():
    assert told(as_session(PEOPLE)).empty
    assert list(told(as_session(PEOPLE)).columns) == COLUMNS


def test_readings_of_a_moving_child_are_left_out(tmp_path):
    frame = as_frame(PEOPLE).assign(condition="")
    moved = (frame["measurer"] == "B") & (frame["subject"].isin(["S1", "S4"]))
    frame.loc[moved, "condition"] = "mov"
    session = folder(tmp_path / "all", frame)
    table = told(session)
    assert set(table["variant"]) == {"without moving"}
    assert of(table, "without moving", "B", "within_tem")["readings"] == 4
    scored_as_other(table, folder(tmp_path / "still", frame[~moved]))


def folder(path, frame, corrections=()):
    path.mkdir()
    lines = "".join(f'{key} = "{value}"\n' for key, value in MEASURES["length"].items())
    (path / "session.toml").write_text(f'[conditions]\nmoving = ["mov"]\n[measure.length]\n{lines}')
    frame.to_csv(path / "readings.csv", index=False)
    if corrections:
        pd.DataFrame(
            corrections, columns=["measurer", "subject", "measure", "round", "corrected"]
        ).assign(reason="sheet", by="XY").to_csv(path / "corrections.csv", index=False)
    return anthroqa.read_session(path)


def test_as_first_written_is_the_session_without_its_corrections(tmp_path):
    frame = as_frame(PEOPLE)
    frame.loc[(frame["measurer"] == "C") & (frame["subject"] == "S7"), "reading"] = ["62.7 cm", ""]
    named = [
        ("A", "S3", "length", 2, "627"), ("B", "S1", "length", 1, "NA"),
        ("C", "S7", "length", 2, "663"),
    ]  # fmt: skip
    table = told(folder(tmp_path / "mended", frame, named))
    assert set(table["variant"]) == {"as first written"}
    scored_as_other(table, folder(tmp_path / "first", frame))
    row = of(table, "as first written", "A", "within_tem")
    assert row["readings"] == 1
    assert row["other_state"] == "over limit"
    assert of(table, "as first written", "(all)", "round_shift:2")["readings"] == 3


def test_what_cannot_be_read_as_first_written_is_left_out_and_counted(tmp_path):
    frame = as_frame(PEOPLE)
    at = (frame["measurer"] == "A") & (frame["subject"] == "S3") & (frame["round"] == 2)
    typed = frame.assign(reading=frame["reading"].where(~at, "6z7"))
    table = told(folder(tmp_path / "mended", typed, [("A", "S3", "length", 2, "627")]))
    scored_as_other(table, folder(tmp_path / "without", frame[~at]))
    assert table["note"].str.endswith("1 that cannot be read as first written left out").all()


def test_where_nothing_is_left_it_is_blank_and_says_so():
    session = as_session({"A": [[600, 602], [610, 612]]})
    for out in (["S1"], ["S1", "S2"]):
        slips = pd.DataFrame([("length", "A", s, k) for s in out for k in (1, 2)], columns=KEY)
        table = told(session, slips)
        assert len(table)
    gone = table[table["estimate"].notna()]
    assert gone["other_estimate"].isna().all()
    assert (gone["note"] == "no reading is left to have it from").all()


def test_a_retake_is_not_the_reading_that_is_left_out():
    frame = as_frame(PEOPLE).assign(retake="")
    again = pd.DataFrame([("A", "S3", "length", 2, "626", "1")], columns=frame.columns)
    session = as_session(pd.concat([frame, again], ignore_index=True))
    row = of(told(session, SLIP), "without slips", "A", "within_tem")
    assert row["readings"] == 1
    assert row["other_estimate"] == pytest.approx((19 / 12) ** 0.5)


@settings(max_examples=40)
@given(sessions(), st.data())
def test_the_other_figures_are_those_of_the_session_without_the_readings(session, data):
    readings = session.readings
    first = readings[readings["retake"].isna()] if "retake" in readings else readings
    out = data.draw(st.lists(st.sampled_from(first.index.tolist()), max_size=4, unique=True))
    slips = first.loc[out, KEY]
    scores = anthroqa.score(session)
    table = variants(session, scores, anthroqa.decide(scores, session), slips)
    table = table[table["variant"] != "with retakes"]
    if not out:
        assert table.empty
        return
    left = first.drop(index=out).drop(
        columns=["count", "value", "converted", "retake"], errors="ignore"
    )
    if left.empty:
        assert table["other_estimate"].isna().all()
        return
    step = str(session.measures["length"].step)
    edited = anthroqa.Session.from_frame(
        left.rename(columns={"written": "reading"}), measures={"length": {"recorded_to": step}},
        reference=session.reference if session.reference in set(left["measurer"]) else None,
    )  # fmt: skip
    expected = scored_as_other(table, edited)
    # and whatever is not told is the same
    told_of = pd.MultiIndex.from_frame(table[FIGURE])
    before = scores.set_index(FIGURE)[NUMBERS].astype(float)
    for key in expected.index.difference(told_of):
        assert expected.loc[key, NUMBERS].astype(float).tolist() == pytest.approx(
            before.loc[key].tolist(), rel=1e-8, abs=1e-8, nan_ok=True
        )


def test_the_last_retake_stands_in_place_of_the_first_reading_and_the_figure_stays():
    frame = as_frame(PEOPLE).assign(retake="")
    again = frame[(frame["measurer"] == "A") & (frame["subject"] == "S3") & (frame["round"] == 2)]
    both = pd.concat(
        [frame, again.assign(reading="640", retake="1"), again.assign(reading="627", retake="2")]
    )
    session = as_session(both, limit_tem="6 mm", limit_source="manual")
    table = told(session)
    assert set(table["variant"]) == {"with retakes"}
    row = of(table, "with retakes", "A", "within_tem")
    assert row["estimate"] == pytest.approx(((4 + 1 + 102**2 + 9 + 1 + 4) / 14) ** 0.5)
    assert row["other_estimate"] == pytest.approx(((4 + 1 + 2**2 + 9 + 1 + 4) / 14) ** 0.5)
    assert (row["readings"], row["state"], row["other_state"]) == (
        1, "over limit", "within limit"
    )  # fmt: skip
    people = {**PEOPLE, "A": [*PEOPLE["A"][:2], [625, 627], *PEOPLE["A"][3:]]}
    scored_as_other(table, as_session(people, limit_tem="6 mm"))
