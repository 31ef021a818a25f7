"""Who leans to marks, or repeats themselves too well, beyond what chance gives so many tests?

Two questions are asked of each person and measure that may end with a name: the largest
contrast of a coarse mark, and the likeness of second readings. Holm (1979) Scand. J. Stat.
6:65-70 over all of them: in one session of twenty at most is anybody named by chance. For
screening, with the dissimilarity of digits as a third, the false-discovery rate of Benjamini &
Hochberg (1995) J. R. Stat. Soc. B 57:289-300: of what is listed, one in ten is expected to be
chance. A habit that most of the staff share names nobody, and where it or a conversion makes
repeats equal their likeness is not tested.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from anthroqa.intake import EVERYBODY
from anthroqa.notes import NONE, Notes, Quoted, notes_of
from anthroqa.notes.cells import coded, worded
from anthroqa.notes.scores.marks import Conversion, Digits
from anthroqa.scores.layout.cube import Array

NAMED_AT, SCREENED_AT = 0.05, 0.10
NAMED, SCREENED, EXPECTED, UNTESTED, HABIT = (
    "named", "worth a look", "as expected", "not tested", "habit of the group",
)  # fmt: skip
TESTS = ("coarse marks", "second readings", "terminal digits")
GROUP_TEST = "coarse marks of the group"
LEANS = (
    0.2  # a share that counts as leaning when the group is looked at; common practice, no source
)
COLUMNS = [
    "measure", "measurer", "test", "statistic", "estimate", "lower", "upper", "p_value", "p_holm",
    "q_value", "state", "note",
]  # fmt: skip


def mark_findings(scores: pd.DataFrame) -> pd.DataFrame:
    """Who leans to which marks, and whose second readings are more alike than expected.

    Parameters
    ----------
    scores : pandas.DataFrame
        What `anthroqa.score` gave, all statistics.

    Returns
    -------
    pandas.DataFrame
        One row a measure, measurer and test, in the order of `scores`: `measure, measurer,
        test, statistic, estimate, lower, upper, p_value, p_holm, q_value, state, note`. `test`
        is `coarse marks` (the statistic is the mark with the largest contrast), `second
        readings`, `terminal digits` (for screening: `p_holm` is blank) or, for `(all)`, `coarse
        marks of the group`. `state` is `named` (Holm, 5 %), `worth a look` (false-discovery
        rate 10 %), `habit of the group` (shared by most of the staff), `as expected`, or
        `not tested` with the reason in `note`.

    Raises
    ------
    ValueError
        If `scores` lacks a statistic that is needed, or was written and read back, so that
        nobody knows any more which readings were converted.

    Examples
    --------
    >>> import anthroqa
    >>> session = anthroqa.read_session("sample_sessions/clinics_customary")
    >>> found = anthroqa.mark_findings(anthroqa.score(session))
    >>> found.loc[found["state"] == "named", ["measurer", "statistic"]].values.tolist()
    [['K2', 'coarse_share:1/4 in']]
    """
    return worded(mark_finding_rows(coded(scores)))


def mark_finding_rows(scores: pd.DataFrame) -> pd.DataFrame:
    """The findings on a table of scores with codes, as `mark_findings` gives them."""
    base = scores["statistic"].str.partition(":")[0]
    lacking = sorted({"digit_dissimilarity", "identical_repeats"} - set(base))
    if lacking and len(scores):
        raise ValueError(f"scores lack {', '.join(lacking)}; call score() without `only`")
    blank = scores[(base == "digit_dissimilarity") & scores["p_value"].isna()]
    if any(map(_unknown, blank["note"])):
        raise ValueError(
            "these scores were written and read back, so a conversion cannot be told from other "
            "reasons: give what anthroqa.score returned, or use "
            "anthroqa.analyse(session).mark_findings"
        )
    table = scores.assign(base=base, group=scores["measurer"] == EVERYBODY)
    parts = [
        _largest(table, table["group"], GROUP_TEST),
        _largest(table, ~table["group"], TESTS[0]),
        table[base == "identical_repeats"].assign(test=TESTS[1]),
        table[base == "digit_dissimilarity"].assign(test=TESTS[2]),
    ]
    found = pd.concat(parts)
    found = found.reset_index(drop=True)
    for column in ("p_holm", "q_value"):
        found[column] = np.nan
    group = found["test"] == GROUP_TEST
    found.loc[group, "p_holm"] = holm(found.loc[group, "p_value"].to_numpy())
    habits = _habits(found, table)
    reason = _explained(found, set(habits["measure"]))
    explained, repeats = reason.map(bool), found["test"] == TESTS[1]
    found["note"] = found["note"].where(~explained | ~repeats, reason)
    tested = found["p_value"].notna() & ~(repeats & explained)
    naming = tested & found["test"].isin(TESTS[:2])
    found.loc[naming, "p_holm"] = holm(found.loc[naming, "p_value"].to_numpy())
    screened = tested & ~group
    found.loc[screened, "q_value"] = false_discovery(found.loc[screened, "p_value"].to_numpy())
    found["state"] = np.select(
        [
            ~tested,
            found.index.isin(habits.index),
            group | ((found["test"] == TESTS[2]) & explained),
            found["p_holm"] <= NAMED_AT,
            found["q_value"] <= SCREENED_AT,
        ],
        [UNTESTED, HABIT, EXPECTED, NAMED, SCREENED],
        EXPECTED,
    )
    for habit in habits.itertuples():
        same = (found["measure"] == habit.measure) & (found["test"] == TESTS[0])
        same &= (found["statistic"] == habit.statistic) & found["state"].isin([NAMED, SCREENED])
        found.loc[same, "state"] = HABIT
    order = {test: i for i, test in enumerate((*TESTS, GROUP_TEST))}
    people = {key: i for i, key in enumerate(dict.fromkeys(
        zip(scores["measure"], scores["measurer"], strict=True)
    ))}  # fmt: skip
    place = [people[key] for key in zip(found["measure"], found["measurer"], strict=True)]
    found = found.assign(place=place, by_test=found["test"].map(order))
    return found.sort_values(["place", "by_test"])[COLUMNS].reset_index(drop=True)


def _unknown(note: Notes) -> bool:
    """Whether nobody knows the codes of what is said here."""
    return bool(note) and not note.without(Quoted)


def _largest(table: pd.DataFrame, of: pd.Series, test: str) -> pd.DataFrame:
    """The mark with the least p of each person and measure; of the group with all marks in it."""
    rows = table[of & (table["base"] == "coarse_share")]
    key = ["measure", "measurer"]
    marks = rows.groupby(key)["statistic"].transform("size")
    # equal p-values: the mark that holds more of the readings
    ranked = rows.assign(marks=marks).sort_values(
        ["p_value", "estimate"], ascending=[True, False], na_position="last"
    )
    largest = ranked.groupby(key, sort=False).head(1).assign(test=test)
    if test == GROUP_TEST:  # these are taken mark by mark
        largest["p_value"] = (largest["p_value"] * largest["marks"]).clip(upper=1)
    return largest


def _habits(found: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Rows of the group that it shows, and that more than half of the staff share."""
    people = table[(table["base"] == "coarse_share") & ~table["group"]]
    group = found[(found["test"] == GROUP_TEST) & (found["p_holm"] <= NAMED_AT)]

    def shared(row) -> bool:
        of_mark = (people["measure"] == row.measure) & (people["statistic"] == row.statistic)
        shares = people[of_mark]
        leaning = (shares["estimate"] >= LEANS) & (shares["lower"] > 0)
        return bool(2 * leaning.sum() > shares["upper"].notna().sum())

    return group[np.array([shared(row) for row in group.itertuples()], dtype=bool)]


def _explained(found: pd.DataFrame, measures: set[str]) -> pd.Series:
    """What makes repeats equal, and digits uneven, whoever reads: a shared habit, a conversion."""
    digits = found[found["test"] == TESTS[2]]
    combs = {
        (row.measure, row.measurer): row.note
        for row in digits.itertuples()
        if Conversion in row.note
    }
    habit = notes_of(Digits.GROUP_LEANS)
    return pd.Series([
        combs.get((measure, who), habit if measure in measures else NONE)
        for measure, who in zip(found["measure"], found["measurer"], strict=True)
    ], index=found.index, dtype=object)  # fmt: skip


def holm(p: Array) -> Array:
    """P-values adjusted for all those beside them (Holm 1979); blank ones are no tests."""
    order = np.argsort(p, kind="stable")
    n = int((~np.isnan(p)).sum())
    out = np.full(len(p), np.nan)
    ranked = p[order][:n] * (n - np.arange(n))
    out[order[:n]] = np.minimum(np.maximum.accumulate(ranked), 1)
    return out


def false_discovery(p: Array) -> Array:
    """Least false-discovery rate at which each is listed (Benjamini & Hochberg 1995)."""
    order = np.argsort(p, kind="stable")
    n = int((~np.isnan(p)).sum())
    out = np.full(len(p), np.nan)
    ranked = p[order][:n] * n / np.arange(1, n + 1)
    out[order[:n]] = np.minimum(np.minimum.accumulate(ranked[::-1])[::-1], 1)
    return out
