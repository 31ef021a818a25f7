import io
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.multitest import multipletests

import anthroqa
from anthroqa.intake import Step
from anthroqa.notes import NONE, notes_of
from anthroqa.notes.scores.marks import Conversion, Digits
from anthroqa.scores.marks.screening import false_discovery, holm


def test_holm_and_the_false_discovery_rate_are_those_of_statsmodels():
    # statsmodels is the reference library here; blank p-values are no tests
    rng = np.random.default_rng(12)
    for _ in range(50):
        p = np.round(rng.beta(0.4, 2, rng.integers(1, 30)), 3)
        gone = rng.random(len(p)) < 0.2
        some = p[~gone]
        with_blanks = np.where(gone, np.nan, p)
        for ours, method in ((holm, "holm"), (false_discovery, "fdr_bh")):
            found = ours(with_blanks)
            assert np.isnan(found[gone]).all()
            if len(some):
                assert found[~gone] == pytest.approx(multipletests(some, method=method)[1])


def table(rows):
    """A score table from (measurer, statistic, estimate, lower, p) of one measure."""
    frame = pd.DataFrame(rows, columns=["measurer", "statistic", "estimate", "lower", "p_value"])
    return frame.assign(measure="length", upper=1.0, note="")


def people(n, mark="coarse_share:5 mm", lean=(), p=0.6):
    rows = []
    for i in range(n):
        leans = i in lean
        rows += [
            (f"P{i}", "digit_dissimilarity", 0.1, np.nan, 0.5),
            (f"P{i}", mark, 0.7 if leans else 0.0, 0.4 if leans else 0.0, 1e-5 if leans else p),
            (f"P{i}", "coarse_share:1 cm", 0.0, 0.0, 0.8),
            (f"P{i}", "identical_repeats", 0.2, 0.1, 0.4),
        ]
    return rows


def state(found, measurer, test):
    row = found[(found["measurer"] == measurer) & (found["test"] == test)]
    return row["state"].item()


def test_the_one_who_leans_is_named_with_the_mark_and_nobody_else():
    found = anthroqa.mark_findings(table(people(8, lean=[3])))
    named = found[found["state"] == "named"]
    assert named[["measurer", "test", "statistic"]].to_numpy().tolist() == [
        ["P3", "coarse marks", "coarse_share:5 mm"]
    ]
    assert named["p_holm"].item() == pytest.approx(16 * 1e-5)  # 8 people, two naming tests
    assert len(found) == 8 * 3


def test_equal_p_values_go_to_the_mark_that_holds_more():
    rows = [
        ("P0", "digit_dissimilarity", 0.1, np.nan, 0.5), ("P0", "identical_repeats", 0.2, 0, 0.5),
        ("P0", "coarse_share:2 mm", 0.1, 0, 5e-5), ("P0", "coarse_share:1 cm", 0.8, 0.5, 5e-5),
    ]  # fmt: skip
    found = anthroqa.mark_findings(table(rows))
    assert "coarse_share:1 cm" in found["statistic"].tolist()


def test_terminal_digits_are_screened_and_never_name():
    rows = people(8)
    rows[0] = ("P0", "digit_dissimilarity", 0.4, np.nan, 1e-5)
    found = anthroqa.mark_findings(table(rows))
    assert state(found, "P0", "terminal digits") == "worth a look"
    assert np.isnan(found.loc[found["test"] == "terminal digits", "p_holm"]).all()
    assert "named" not in set(found["state"])


def test_a_habit_of_most_is_the_groups_and_names_nobody_for_it():
    group = [("(all)", "coarse_share:5 mm", 0.5, np.nan, 1e-6),
             ("(all)", "coarse_share:1 cm", 0.0, np.nan, 0.5)]  # fmt: skip
    found = anthroqa.mark_findings(table([*people(8, lean=range(6)), *group]))
    assert state(found, "(all)", "coarse marks of the group") == "habit of the group"
    assert state(found, "P0", "coarse marks") == "habit of the group"
    assert state(found, "P7", "coarse marks") == "as expected"


def test_one_leaner_is_no_habit_of_the_group_even_if_the_group_shows_it():
    group = [("(all)", "coarse_share:5 mm", 0.1, np.nan, 1e-6),
             ("(all)", "coarse_share:1 cm", 0.0, np.nan, 0.5)]  # fmt: skip
    found = anthroqa.mark_findings(table([*people(8, lean=[2]), *group]))
    assert state(found, "(all)", "coarse marks of the group") == "as expected"
    assert state(found, "P2", "coarse marks") == "named"


def test_what_cannot_be_tested_is_said_with_its_reason():
    rows = [("P0", "digit_dissimilarity", np.nan, np.nan, np.nan),
            ("P0", "coarse_share:5 mm", np.nan, np.nan, np.nan),
            ("P0", "identical_repeats", 0.1, 0, np.nan)]  # fmt: skip
    found = anthroqa.mark_findings(table(rows).assign(note=[notes_of(Digits.NOBODY_ELSE)] * 3))
    assert found["state"].tolist() == ["not tested"] * 3
    assert found["note"].str.contains("nobody else").all()


def test_scores_that_were_written_and_read_back_are_refused_where_a_conversion_may_be_hidden():
    rng = np.random.default_rng(17)
    inches = rng.integers(8 * 22, 8 * 36, 14) / 8  # read to eighths, written in millimetres
    values = inches[None, :, None] + rng.integers(-1, 2, (5, 14, 2)) / 8
    person, subject, turn = np.indices(values.shape).reshape(3, -1)
    frame = pd.DataFrame({
        "measurer": [f"P{p}" for p in person], "subject": [f"S{s}" for s in subject],
        "round": turn + 1, "measure": "length",
        "reading": [f"{v:.0f}" for v in np.floor(values.ravel() * 25.4 + 0.5)],
    })  # fmt: skip
    session = anthroqa.Session.from_frame(frame, measures={"length": {"recorded_to": "1 mm"}})
    scores = anthroqa.score(session)
    found = anthroqa.mark_findings(scores)
    assert set(found["state"]) == {"not tested"}
    assert found["note"].tolist() == list(map(str, anthroqa.analyse(session).mark_findings["note"]))
    read = pd.read_csv(io.StringIO(scores.to_csv(index=False)))
    with pytest.raises(ValueError, match=r"give what anthroqa.score returned, or use anthroqa"):
        anthroqa.mark_findings(read)
    tested = table(people(8, lean=[3])).assign(note="no interval: the shares of marks have one")
    assert state(anthroqa.mark_findings(tested), "P3", "coarse marks") == "named"


def test_scores_without_the_statistics_are_refused():
    with pytest.raises(ValueError, match="lack digit_dissimilarity, identical_repeats; call score"):
        anthroqa.mark_findings(table([("P0", "within_tem", 1.0, 0.5, np.nan)]))


@pytest.mark.parametrize("name", ["clinics_customary", "outreach_metric"])
def test_in_the_samples_those_are_named_who_were_planted(name):
    session = anthroqa.read_session(f"sample_sessions/{name}")
    found = anthroqa.mark_findings(anthroqa.score(session))
    named = found[found["state"] == "named"]
    planted = {
        "clinics_customary": {("infant_length", "K2", "coarse_share:1/4 in")},
        "outreach_metric": {
            ("length", "M2", "identical_repeats"), ("height", "M2", "identical_repeats")
        },
    }  # fmt: skip
    assert (
        set(zip(named["measure"], named["measurer"], named["statistic"], strict=True))
        == (planted[name])
    )


def test_where_a_habit_or_a_conversion_makes_repeats_equal_their_likeness_is_not_tested():
    group = [("(all)", "coarse_share:5 mm", 0.5, np.nan, 1e-6),
             ("(all)", "coarse_share:1 cm", 0.0, np.nan, 0.5)]  # fmt: skip
    rows = [*people(8, lean=range(6)), *group]
    alike = [(*row[:4], 1e-7) if row[1] == "identical_repeats" else row for row in rows]
    found = anthroqa.mark_findings(table(alike))
    repeats = found[found["test"] == "second readings"]
    assert set(repeats["state"]) == {"not tested"}
    assert repeats["note"].str.contains("most of the staff lean").all()
    assert repeats["p_holm"].isna().all()
    assert state(found, "P0", "coarse marks") == "habit of the group"

    comb = table([(*row[:4], 1e-7) if row[1] == "identical_repeats" else row for row in people(3)])
    mine = comb["measurer"] == "P1"
    digit = comb["statistic"] == "digit_dissimilarity"
    conversion = notes_of(Conversion(on=20, of=20, step=Step(Fraction(1, 4), "in")))
    comb["note"] = [conversion if converted else NONE for converted in mine & digit]
    comb.loc[mine & digit, "p_value"] = np.nan
    found = anthroqa.mark_findings(comb)
    assert state(found, "P1", "second readings") == "not tested"
    assert state(found, "P0", "second readings") == "named"


@pytest.mark.parametrize(
    ("leaning", "p", "expected"),
    [
        (5, 1e-4, "habit of the group"),
        (4, 1e-4, "as expected"),  # half of the staff is not most of it
        (5, 0.03, "as expected"),  # of two marks: 0.06
        (5, 0.02, "habit of the group"),
    ],
)
def test_a_habit_needs_most_of_the_staff_and_the_group_to_show_it(leaning, p, expected):
    group = [("(all)", "coarse_share:5 mm", 0.5, np.nan, p),
             ("(all)", "coarse_share:1 cm", 0.0, np.nan, 0.5)]  # fmt: skip
    found = anthroqa.mark_findings(table([*people(8, lean=range(leaning)), *group]))
    assert state(found, "(all)", "coarse marks of the group") == expected
