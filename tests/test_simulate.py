"""The samples redraw to the byte, and what was planted in them is recovered.

It is also counted who was found wrongly: staff of whom nothing was planted.
"""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import anthroqa
from anthroqa.simulate import SAMPLES, draw, nearest, write_sample

FOLDER = Path(__file__).parents[1] / "sample_sessions"


def findings(name: str) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, dict]:
    session = anthroqa.read_session(FOLDER / name)
    scores = anthroqa.score(session)
    truth = tomllib.loads((FOLDER / name / "truth.toml").read_text(encoding="utf-8"))
    return anthroqa.decide(scores, session), scores, anthroqa.residuals(session), truth


@pytest.fixture(scope="module")
def outreach():
    return findings("outreach_metric")


@pytest.fixture(scope="module")
def clinics():
    return findings("clinics_customary")


def over(decisions: pd.DataFrame) -> set[tuple[str, str, str]]:
    rows = decisions[decisions["state"] == "over limit"]
    return set(
        rows[["measure", "measurer", "question"]].itertuples(index=False, name=None)
    )  # fmt: skip


def far(residuals: pd.DataFrame) -> set[tuple[str, str, str, int]]:
    rows = residuals.loc[residuals["far"], ["measure", "measurer", "subject", "round"]]
    return set(rows.itertuples(index=False, name=None))


def slips(truth: dict, *, copied: bool = False) -> set[tuple[str, str, str, int]]:
    return {
        (s["measure"], s["measurer"], s["subject"], s["round"])
        for s in truth["slip"]
        if (s["kind"] == "second reading copied") == copied
    }


@pytest.mark.parametrize("name", SAMPLES)
def test_a_sample_is_redrawn_to_the_byte(name, tmp_path):
    write_sample(name, tmp_path)
    drawn, kept = (
        {str(f.relative_to(place)): f.read_bytes() for f in place.rglob("*") if f.is_file()}
        for place in (tmp_path, FOLDER / name)
    )
    assert drawn.keys() == kept.keys()
    for file in kept:
        assert drawn[file] == kept[file], file


def test_every_sample_folder_has_its_recipe():
    drawn = {f.name for f in FOLDER.iterdir() if (f / "truth.toml").is_file()}
    assert drawn == {*SAMPLES, "valley_records"}  # Parquet, which depends on its writer's version
    planned = {f.name for f in FOLDER.iterdir() if f.is_dir()} - drawn
    assert planned == {"spring_plan"}  # nothing is drawn in a session to come


def test_a_planted_slip_is_written_as_the_truth_says(outreach, clinics):
    for decisions, _, residuals, truth in (outreach, clinics):
        assert len(decisions) > 0
        assert len(truth["slip"]) >= 3
        rows = residuals.set_index(["measure", "measurer", "subject", "round"])["written"]
        for slip in truth["slip"]:
            if slip["kind"] == "tare of another caregiver":
                continue  # the tare is what was written wrongly
            key = tuple(slip[k] for k in ("measure", "measurer", "subject", "round"))
            assert rows[key] == slip["written"]


def test_the_planted_slips_of_the_outreach_team_are_the_far_readings(outreach):
    _, _, residuals, truth = outreach
    assert slips(truth) == {
        ("length", "M4", "C4", 1), ("length", "M1", "C2", 2), ("length", "M1", "C5", 2),
        ("weight", "M1", "C2", 2), ("weight", "M1", "C5", 2),
    }  # fmt: skip
    assert far(residuals) == slips(truth)  # and no honest reading


def test_the_planted_faults_of_the_outreach_team_are_found(outreach):
    decisions, scores, _, _ = outreach
    found = over(decisions)
    assert ("length", "M3", "repeatability") in found
    assert ("height", "M3", "repeatability") in found
    assert ("height", "M5", "bias") in found
    bias = scores.query("measure == 'height' and measurer == 'M5' and statistic == 'bias'")
    assert bias["upper"].item() < -0.4
    shift = scores.query("measure == 'height' and statistic == 'round_shift:2'")
    assert shift["upper"].item() < 0
    others = scores.query("measure != 'height' and statistic == 'round_shift:2'")
    assert ((others["lower"] < 0) & (others["upper"] > 0)).all()
    used = decisions.query("measure == 'height' and question == 'repeatability'")["statistic"]
    assert set(used) == {"within_tem_less_shift"}


def test_nobody_honest_of_the_outreach_team_is_over_a_limit(outreach):
    decisions, _, _, _ = outreach
    planted = {
        ("length", "M3", "repeatability"), ("height", "M3", "repeatability"),
        ("height", "M5", "bias"),
        # the pairs that hold M1's exchanged subjects
        ("length", "M1", "repeatability"), ("weight", "M1", "repeatability"),
    }  # fmt: skip
    assert over(decisions) == planted
    honest = decisions[decisions["measurer"].isin(["LEAD", "M2", "M4", "M5"])]
    honest = honest.query("not (measure == 'height' and measurer == 'M5')")
    assert len(honest) == 19
    assert (honest["state"] == "over limit").sum() == 0


def test_copied_second_readings_are_equal_to_the_first(outreach):
    _, _, residuals, truth = outreach
    copied = slips(truth, copied=True)
    assert len(copied) == 8
    rows = residuals.set_index(["measure", "measurer", "subject", "round"])["written"]
    for measure, measurer, subject, _ in copied:
        assert rows[measure, measurer, subject, 1] == rows[measure, measurer, subject, 2]


def test_the_planted_faults_of_the_clinics_are_found(clinics):
    decisions, scores, residuals, truth = clinics
    assert slips(truth) == {
        ("held_weight", "K3", "A5", 1), ("adult_weight", "K5", "BP4", 2),
        ("adult_weight", "K8", "CP7", 1),
    }  # fmt: skip
    assert far(residuals) == slips(truth)
    assert ("infant_length", "K7", "bias") in over(decisions)
    shoes = scores.query("measurer == 'K7' and statistic == 'bias'").set_index("measure")
    assert shoes.loc["infant_length", "lower"] > 0.25
    assert 0.6 < shoes.loc["infant_length", "estimate"] < 0.9  # 3/4 in
    assert shoes.loc["infant_weight", "lower"] <= 3 <= shoes.loc["infant_weight", "upper"]


def test_nobody_honest_of_the_clinics_is_over_a_limit(clinics):
    decisions, _, _, _ = clinics
    planted = {
        ("infant_length", "K7", "bias"),
        # the pairs that hold a slip
        ("held_weight", "K3", "repeatability"), ("adult_weight", "K5", "repeatability"),
        ("adult_weight", "K8", "repeatability"),
    }  # fmt: skip
    assert over(decisions) == planted
    key = pd.MultiIndex.from_frame(decisions[["measure", "measurer", "question"]])
    honest = decisions[~(key.isin(planted) | decisions["measurer"].isin(["K4", "K7"]))]
    assert len(honest) == 57  # those on the scale of clinic B among them
    assert (honest["state"] == "over limit").sum() == 0


def test_the_scale_of_clinic_b_reads_high_for_everybody_and_not_they_but_it_is_over(clinics):
    decisions, scores, _, _ = clinics
    rows = scores.query("measure == 'adult_weight' and statistic == 'bias'").set_index("measurer")
    for person in ("K4", "K6"):  # K5's is hidden by a slip of 50 lb
        assert rows.loc[person, "lower"] > 0
        assert rows.loc[person, "lower"] <= 0.5 <= rows.loc[person, "upper"]
    told = decisions.query("measure == 'adult_weight' and question == 'bias'").set_index("measurer")
    own = r"own \(BEAM-[ABC]\).*, the reference's \(PORT-1\)"
    assert told["note"].str.contains(own).all()
    assert set(told["statistic"]) == {"bias_less_instrument"}
    assert told.loc[["K4", "K6"], "state"].tolist() == ["within limit"] * 2
    rest = decisions.query("measure != 'adult_weight'")
    assert not rest["note"].str.contains("taken out: own").any()


def test_the_planted_scale_is_the_only_instrument_over_a_tolerance():
    for name, over in (("clinics_customary", {"BEAM-B"}), ("outreach_metric", set())):
        table = anthroqa.instrument_checks(anthroqa.read_session(FOLDER / name))
        assert len(table) > 30
        assert set(table.loc[table["state"] == "over limit", "instrument"]) == over
    for name in ("clinics_customary", "clinics_customary_as_typed"):
        loads = (FOLDER / name / "known_loads.csv").read_bytes()
        assert loads == (FOLDER / "clinics_customary" / "known_loads.csv").read_bytes()


def test_groups_of_the_clinics_are_pooled(clinics):
    _, scores, _, _ = clinics
    rows = scores[scores["statistic"] == "between_tem"]
    assert rows["df"].tolist() == [3 * 12 * 2 * 2] * 4  # groups, subjects, rounds, M - 1
    assert not rows["note"].str.contains("left out").any()


def test_the_session_as_typed_gives_the_same_figures_once_corrected(clinics):
    decisions, scores, _, _ = clinics
    typed, typed_scores, _, _ = findings("clinics_customary_as_typed")
    pd.testing.assert_frame_equal(typed_scores, scores)
    pd.testing.assert_frame_equal(typed, decisions)


def test_what_is_drawn_has_the_error_the_bias_and_the_shift_asked_for():
    rng = np.random.default_rng(1)
    true = rng.uniform(100, 200, 4000)
    x = draw(true, tem=[1.0, 3.0], bias=[0.0, -2.0], shift=(0.0, 5.0), rng=rng)
    assert x.shape == (2, 4000, 2)
    off = x - true[None, :, None]
    assert off.mean(axis=1) == pytest.approx(np.array([[0, 5], [-2, 3]]), abs=0.2)
    assert off.std(axis=1) == pytest.approx(np.array([[1, 1], [3, 3]]), rel=0.05)
    per_subject = draw(true, tem=[0.0], bias=np.ones((1, 4000)) * 7, rng=rng)
    assert per_subject[0, :, 0] == pytest.approx(true + 7)


def test_the_nearest_mark_is_read():
    assert nearest(np.array([1.4, 1.5, 2.5, -0.6])).tolist() == [1, 2, 3, -1]
    assert nearest(np.array([2.9, 3.0, 5.1, 0.9]), mark=2).tolist() == [2, 4, 6, 0]
