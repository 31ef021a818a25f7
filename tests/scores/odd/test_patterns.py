"""Patterns over a person's readings: where they show, and where nothing does."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from calibration import patterns as study
from scipy import stats
from strategies import as_session

import anthroqa
from anthroqa.notes.scores.odd import ReadOnInstrument
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.odd.patterns import COLUMNS, LINES_BY_CHANCE, repeat_ratio, skewness, watch_for

VIEWS = ["bias", "bias_from_others"]


def watched(session: anthroqa.Session, **how) -> pd.DataFrame:
    return watch_for(anthroqa.score(session, only=VIEWS, **how), session)


@pytest.fixture(scope="module", params=["outreach_metric", "clinics_customary"])
def sample(request):
    folder = request.config.rootpath / "sample_sessions" / request.param
    return request.param, watched(anthroqa.read_session(folder))


def test_samples_show_what_was_planted_and_no_line_for_anybody_else(sample):
    name, table = sample
    found = {key: list(some) for key, some in table.groupby(["measure", "measurer"])["pattern"]}
    shoes, loose = "shoes or headwear left on", "board loose: head or foot-piece not pressed home"
    planted = {  # truth.toml: M3 wide, M5 low; K7 shoes on, K4 rounds down, clinic B's beam high
        "outreach_metric": {
            ("length", "M3"): ["movement: repeats far apart, no bias"],
            ("height", "M5"): ["knees bent", "head tilted"],
        },
        "clinics_customary": {
            ("infant_weight", "K7"): [shoes],
            ("infant_length", "K7"): [shoes, loose],
            ("infant_length", "K4"): [
                "head tilted", "knees bent", "marks read from one side, or rounded one way",
            ],
            ("adult_weight", "(all)"): ["zero offset of the instrument"],
        },
    }  # fmt: skip
    assert found == planted[name]
    assert list(table.columns) == COLUMNS
    assert (table["technique"] != "").all()


def test_notes_say_against_whom_and_where_else(sample):
    name, table = sample
    notes = table.set_index(["measure", "measurer", "pattern"])["note"]
    if name == "clinics_customary":
        assert notes["infant_weight", "K7", "shoes or headwear left on"] == (
            "seen against the reference and the other staff; the same in infant_length"
        )
        zero = notes["adult_weight", "(all)", "zero offset of the instrument"]
        assert zero.startswith("BEAM-B, read by K4, K5, K6; against LEAD on other instruments")
    else:
        assert set(notes.loc[[("height", "M5", "knees bent")]]) == {
            "seen against the reference and the other staff"
        }


NOISE = (1, -1, 0, 1, 0, -1, 2, -2, 0, 1, -1, 0)


def layout(away: dict[str, int], *, subjects: int = 8) -> dict[str, list[list[int]]]:
    """Two readings of each subject; everybody scatters in a way of their own."""
    return {
        p: [
            [900 + 10 * s + more + NOISE[(s * k + i) % 12] for k in (1, 5)] for s in range(subjects)
        ]
        for i, (p, more) in enumerate(away.items())
    }


def patterns_of(away: dict[str, int], person: str, *, subjects: int = 8, **settings) -> list[str]:
    session = as_session(layout(away, subjects=subjects), reference="LEAD", **settings)
    table = watched(session)
    return table[table["measurer"] == person]["pattern"].tolist()


HONEST = {"LEAD": 0, "A": 0, "B": 0, "C": 0, "D": 0}


def test_the_side_and_the_size_choose_the_pattern():
    assert patterns_of(HONEST, "A", kind="height") == []
    assert "knees bent" in patterns_of({**HONEST, "A": -10}, "A", kind="height")
    assert "shoes or headwear left on" in patterns_of({**HONEST, "A": 20}, "A", kind="height")
    # 2 mm low fits marks best, bent knees least; 20 cm is too much for any
    few = patterns_of({**HONEST, "A": -2}, "A", kind="height")
    assert few == ["marks read from one side, or rounded one way", "head tilted", "knees bent"]
    assert patterns_of({**HONEST, "A": -200}, "A", kind="height") == []


def test_the_kind_chooses_the_pattern_and_without_one_the_unit():
    low = {**HONEST, "A": -10}
    assert patterns_of(low, "A", kind="circumference") == ["tape pulled tight"]
    assert patterns_of(low, "A", kind="skinfold") == []
    assert patterns_of(low, "A") == patterns_of(low, "A", kind="height")
    wet = patterns_of({**HONEST, "A": 200}, "A", recorded_to="1 g")
    assert wet == ["shoes or headwear left on", "clothing or a wet diaper"]


def test_a_reference_or_another_person_who_is_off_gives_nobody_else_a_line():
    assert len(watched(as_session(layout({**HONEST, "LEAD": 10}), reference="LEAD"))) == 0
    table = watched(as_session(layout({**HONEST, "A": -30}), reference="LEAD"))
    assert set(table["measurer"]) == {"A"}


def test_one_view_alone_must_be_surer():
    for away, lines in ((1, 0), (10, 1)):
        alone = {p: HONEST[p] for p in "ABCD"} | {"A": away}
        table = watched(as_session(layout(alone), kind="height"))
        assert (table["measurer"] == "A").any() == lines
        if lines:
            assert set(table["note"]) == {"seen against the other staff"}


def test_too_few_subjects_or_equal_differences_give_no_line():
    assert patterns_of({**HONEST, "A": -10}, "A", subjects=5) == []
    level = {p: [[900 + 10 * s - 10 * (p == "A")] for s in range(8)] for p in HONEST}
    assert len(watched(as_session(level, reference="LEAD"))) == 0


def test_a_view_without_an_interval_is_no_reason_to_trust_the_other_alone():
    readings = layout({**HONEST, "B": -10, "C": -10, "D": -10})
    readings["A"] = readings["LEAD"]  # every difference is 0: no interval
    table = watched(as_session(readings, reference="LEAD", kind="height"))
    assert "A" not in set(table["measurer"])


def test_bias_less_instrument_goes_before_the_bias():
    session = as_session(layout({**HONEST, "A": -10}), reference="LEAD", kind="height")
    scores = anthroqa.score(session, only=VIEWS)
    mine = scores[(scores["measurer"] == "A") & (scores["statistic"] == "bias")]
    for amount, found in ((-9.0, True), (0.0, False)):
        less = mine.assign(statistic="bias_less_instrument", estimate=amount, lower=amount - 1,
                           upper=amount + 1, p_value=0.001 if amount else 1.0)  # fmt: skip
        table = watch_for(pd.concat([scores, less]), session)
        assert ("A" in set(table["measurer"])) == found
        assert not found or "less the instruments' error" in table["note"].iloc[0]
    # nothing taken out: the bias itself, beside that from the others
    table = watch_for(pd.concat([scores, mine.assign(statistic="bias_less_instrument")]), session)
    assert set(table["note"]) == {"seen against the reference and the other staff"}


def test_skewness_is_that_of_scipy_without_the_ends():
    cube = next(cubes(as_session(layout({**HONEST, "A": 3}), reference="LEAD")))
    g1, lower, upper, risk = skewness(cube, 0.9)
    for p in range(1, 5):
        others = [q for q in range(1, 5) if q != p]
        apart = np.sort((cube.x[p] - cube.x[others].mean(axis=0)).ravel())[1:-1]
        assert g1[p] == pytest.approx(stats.skew(apart, bias=False))
        _, p_value = stats.skewtest(apart)
        # SciPy's is D'Agostino's, made for small samples: about the same
        assert 2 * risk[p] == pytest.approx(p_value, abs=0.05)
    error = (6 * 14 * 13 / (12 * 15 * 17)) ** 0.5  # 14 differences are left
    assert (upper - lower)[1:] == pytest.approx(2 * stats.norm.ppf(0.95) * error)


def test_a_slip_or_two_subjects_exchanged_make_no_pattern():
    slipped = layout(HONEST, subjects=12)
    slipped["A"][3][0] -= 100
    exchanged = layout(HONEST, subjects=12)
    one, other = exchanged["B"][1][1], exchanged["B"][9][1]
    exchanged["B"][1][1], exchanged["B"][9][1] = other, one
    for readings in (slipped, exchanged):
        assert len(watched(as_session(readings, reference="LEAD", kind="height"))) == 0


def test_knees_bent_at_some_readings_and_wide_repeats_are_seen():
    bent = layout(HONEST, subjects=12)
    for s, k in ((1, 0), (4, 1), (6, 0), (9, 1), (10, 0)):
        bent["A"][s][k] -= 25
    table = watched(as_session(bent, reference="LEAD", kind="length"))
    row = table[table["pattern"] == "knees bent at some readings"].iloc[0]
    assert (row["measurer"], row["unit"]) == ("A", "skewness")
    assert row["upper"] < 0
    wide = layout(HONEST, subjects=12)
    for s, rounds in enumerate(wide["B"]):
        rounds[s % 2] += 9 * (-1) ** (s // 2)
    table = watched(as_session(wide, reference="LEAD", kind="weight", recorded_to="1 g"))
    assert table["pattern"].tolist() == ["movement: repeats far apart, no bias"]
    assert table["unit"].tolist() == ["times the others'"]


def test_the_repeat_ratio_of_equal_people_is_one_and_follows_a_multiple():
    session = study.sessions(study.KINDS["height, 0.1 cm"], 60, np.random.default_rng(2),
                             tems={1: 3.0}, staff=6, subjects=20)  # fmt: skip
    ratios = np.array([repeat_ratio(cube, 0.9)[0] for cube in cubes(session)])
    assert np.median(ratios[:, 1]) == pytest.approx(3, rel=0.1)
    # one of the five others is wide
    assert np.median(ratios[:, 2:]) == pytest.approx((5 / 13) ** 0.5, rel=0.1)


def test_users_of_a_shifted_instrument_get_one_line_together_and_none_each():
    away = {"LEAD": 0, "A": 10, "B": 10, "C": 0, "D": 0}
    session = as_session(layout(away), reference="LEAD", kind="height")
    on = session.readings["measurer"].map(lambda p: "X" if p in "AB" else "Y")
    session = replace(session, readings=session.readings.assign(instrument=on))
    table = watched(session)
    assert table["measurer"].tolist() == ["(all)", "(all)"]
    assert np.sign(table["estimate"]).tolist() == [1, -1]  # X high against Y, Y low against X
    assert table["note"].iloc[0].startswith("X, read by A, B; against LEAD, C, D")
    assert [note.notes.first(ReadOnInstrument) for note in table["note"]] == [
        ReadOnInstrument(instrument="X", users=("A", "B"), others=("LEAD", "C", "D")),
        ReadOnInstrument(instrument="Y", users=("LEAD", "C", "D"), others=("A", "B")),
    ]
    # A is off by more than the instrument: the rest stays A's own
    more = as_session(layout({**away, "A": 40, "B": 10}), reference="LEAD", kind="height")
    more = replace(more, readings=more.readings.assign(instrument=on))
    assert "A" in set(watched(more)["measurer"])


def test_a_drill_has_no_patterns_and_scores_without_a_view_are_refused():
    session = as_session(layout({**HONEST, "A": -10}), reference="LEAD")
    scores = anthroqa.score(session, only=VIEWS)
    assert len(watch_for(scores, session))
    assert len(watch_for(scores, replace(session, exercise="drill"))) == 0
    with pytest.raises(ValueError, match=r"scores lack bias, bias_from_others; call score\(\)"):
        watch_for(anthroqa.score(session, only=["within_tem"]), session)


def test_never_more_than_three_lines_a_person_and_measure(sample):
    assert sample[1].groupby(["measure", "measurer"]).size().max() <= 3


def test_where_nothing_is_planted_lines_are_as_rare_as_said():
    rng = np.random.default_rng(20261128)
    natural = dict(study.HONEST)["biases of 0.3 TEM, log TEM 0.2"]
    for how, said in (({}, 0.03), (natural, LINES_BY_CHANCE)):
        found = study.lines(study.KINDS["height, 0.1 cm"], 100, rng, **how)
        share = len(found.drop_duplicates(["session", "measurer"])) / 500
        assert share <= said + 4 * np.sqrt(said * (1 - said) / 500)


@pytest.mark.parametrize(("name", "least"), [
    ("shoes, 3/4 in", 0.95), ("wet diaper, 0.2 kg", 0.95), ("knees, 0.6 cm, 6 subjects", 0.85),
    ("knees now and then, 2 cm", 0.85), ("movement, 2.5 TEM", 0.6), ("a scale 1/2 lb high", 0.95),
])  # fmt: skip
def test_what_was_planted_is_found(name, least):
    kind, how, word = study.PLANTED[name]
    found = study.lines(study.KINDS[kind], 40, np.random.default_rng(5), **how)
    right = found[found["measurer"].isin(["P1", "(all)"]) & found["pattern"].str.contains(word)]
    assert right["session"].nunique() / 40 >= least
