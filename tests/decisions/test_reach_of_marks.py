import numpy as np
import pytest
from scipy.stats import binom

import anthroqa
from anthroqa.decisions import marks_reach
from anthroqa.decisions.reach_of_marks import POWER, least_share


@pytest.mark.parametrize(
    ("readings", "chance", "tests"), [(20, 0.2, 8), (24, 0.25, 80), (40, 0.1, 3)]
)
def test_the_least_share_is_the_first_that_four_sessions_of_five_would_name(
    readings, chance, tests
):
    share = least_share(readings, chance, tests)
    named = [k for k in range(readings + 1) if binom.sf(k - 1, readings, chance) <= 0.05 / tests]

    def power(s):
        return binom.sf(named[0] - 1, readings, s + (1 - s) * chance)

    assert power(share) >= POWER
    assert power(share - 0.01) < POWER


def test_a_session_too_small_to_name_anybody_says_so():
    assert np.isnan(least_share(6, 0.5, 40))


def test_the_table_has_each_mark_with_the_readings_of_a_usual_person():
    session = anthroqa.read_session("sample_sessions/clinics_customary")
    scores = anthroqa.score(session)
    table = marks_reach(scores, session).set_index(["measure", "mark"])
    assert list(table.loc["infant_length"].index) == ["1/4 in", "1/2 in", "1 in"]
    assert table.loc[("infant_length", "1/2 in"), "readings"] == 24
    assert table.loc[("held_weight", "1 lb"), "readings"] == 48
    tested = scores[(scores["measurer"] != "(all)") & scores["p_value"].notna()]
    marks = tested[tested["statistic"].str.startswith("coarse_share:")]
    people = marks[["measure", "measurer"]].drop_duplicates()
    repeats = tested[tested["statistic"] == "identical_repeats"]
    assert set(table["tests"]) == {len(people) + len(repeats)}
    assert (table["least_share"].groupby(level=0).apply(lambda s: s.is_monotonic_decreasing)).all()
