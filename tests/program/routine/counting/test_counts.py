import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from anthroqa.intake import SessionError
from anthroqa.notes.program.routine_problems import ClinicIsSite
from anthroqa.program.routine.counting.counts import (
    ALL,
    KEY,
    NUMBERS,
    counts_text,
    for_others,
    in_order,
    merged,
    with_totals,
)
from anthroqa.program.routine.counting.counts_file import (
    is_counts_file,
    look_at_counts,
    read_counts,
)


def drawn_counts(seed: int, months=4, most=30) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = [
        (site, who, "s1", measure, step, "on a mark", position, f"2026-{month:02d}",
         int(rng.integers(1, most)))
        for site in "AB" for who in ("K1", "K2", "K3")
        for measure, step, cycle in (("weight", "1 oz", 16), ("length", "1/8 in", 8))
        for month in range(1, months + 1) for position in range(cycle) if rng.random() < 0.4
    ]  # fmt: skip
    rows += [("A", "K1", "s1", "weight", "1 oz", "missing", pd.NA, "2026-01", 3)]
    rows += [("A", "K1", "s1", "weight", "1 oz", "off step", pd.NA, "", 2)]
    return with_totals(pd.DataFrame(rows, columns=[*KEY, "n"]))


def written(tmp_path, counts, change=lambda text: text, name="counts.csv"):
    path = tmp_path / name
    path.write_text(change(counts_text(counts)), encoding="utf-8")
    return path


def said(path) -> str:
    return "\n".join(map(str, look_at_counts(path).problems))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_merging_adds_every_number_in_any_order(one, other):
    a, b = drawn_counts(one), drawn_counts(other)
    both = merged([a, b])
    pd.testing.assert_frame_equal(both, merged([b, a]))
    slow = pd.concat([a, b]).groupby(KEY, dropna=False)["n"].sum()
    assert len(both) == len(slow)
    assert both["n"].sum() == a["n"].sum() + b["n"].sum()
    pd.testing.assert_frame_equal(with_totals(both), both)
    pd.testing.assert_frame_equal(in_order(both.sample(frac=1, random_state=1)), both)
    found = {_known(key): n for key, n in both.set_index(KEY)["n"].items()}
    assert found == {_known(key): n for key, n in slow.items()}


def _known(key):
    return tuple(None if pd.isna(part) else part for part in key)


def test_a_number_that_one_part_lacks_is_left_out():
    a = drawn_counts(1)
    assert "days" not in merged([a.assign(days=a["n"]), a])
    assert merged([a.assign(days=a["n"])] * 2)["days"].sum() == 2 * a["n"].sum()
    blank = a.assign(on_comb=pd.array([pd.NA] * len(a), dtype="Int64"))
    assert merged([blank, blank])["on_comb"].isna().all()  # undefined is not zero
    assert not len(merged([]))


def test_rows_stand_in_one_order_whatever_the_number_of_codes():
    rng = np.random.default_rng(3)
    n = 4000
    frame = pd.DataFrame({
        "site": [f"c{i}" for i in rng.integers(0, 3000, n)],
        "measurer": [f"m{i}" for i in rng.integers(0, 3000, n)],
        "instrument": [f"i{i}" for i in rng.integers(0, 3000, n)],
        "measure": [f"w{i}" for i in rng.integers(0, 3000, n)], "step": "1 oz",
        "kind": "on a mark", "position": rng.integers(0, 16, n),
        "period": [f"p{i}" for i in rng.integers(0, 3000, n)], "n": 1,
    })  # fmt: skip
    by = ["measure", "step", "site", "measurer", "instrument", "period", "position"]
    slow = frame.sort_values(by)[by].to_numpy().tolist()
    assert in_order(frame)[by].to_numpy().tolist() == slow


def test_periods_are_put_together_until_each_person_and_measure_has_enough():
    counts = drawn_counts(2, months=7, most=12)
    given_out = for_others(counts)
    total = given_out[given_out["kind"] == ALL]
    sums = total.groupby(["measurer", "measure", "period"])["n"].sum()
    several = sums.groupby(level=[0, 1]).transform("size") > 1
    assert (sums[several] >= 50).all()
    assert len(sums) < len(counts[counts["kind"] == ALL].groupby(
        ["measurer", "measure", "period"]))  # fmt: skip
    # nothing is lost, positions and sites stay
    for by in (["site", "measurer", "measure", "kind"], ["measure", "position"]):
        one = counts.groupby(by, dropna=False)["n"].sum()
        pd.testing.assert_series_equal(given_out.groupby(by, dropna=False)["n"].sum(), one)
    pd.testing.assert_frame_equal(with_totals(given_out), given_out)
    # neighbours only, and no month twice
    for _, own in total.groupby(["measurer", "measure"]):
        names = sorted(set(own["period"]))
        months = []
        for name in names:
            first, _, last = name.partition("..")
            months += list(range(int(first[5:]), int((last or first)[5:]) + 1))
        assert months == sorted(set(months))


def test_a_person_with_few_readings_has_one_period():
    rows = [("A", "K1", "s", "w", "1 oz", "on a mark", 3, p, n)
            for p, n in (("2026-01", 9), ("2026-05", 20), ("", 4))]  # fmt: skip
    counts = with_totals(pd.DataFrame(rows, columns=[*KEY, "n"]))
    assert set(for_others(counts)["period"]) == {"2026-01..2026-05"}
    assert set(for_others(counts, fewest=5)["period"]) == {"2026-01", "2026-05"}
    assert set(for_others(counts, fewest=1)["period"]) == {"2026-01", "2026-05", ""}
    alone = counts[counts["period"] == ""]
    assert set(for_others(alone)["period"]) == {""}
    with pytest.raises(ValueError, match="fewest"):
        for_others(counts, fewest=0)


def test_periods_that_were_put_together_can_be_put_together_again():
    rows = [("A", "K1", "s", "w", "1 oz", "on a mark", 3, p, n)
            for p, n in (("2026-01..2026-02", 30), ("2026-03", 30))]  # fmt: skip
    counts = with_totals(pd.DataFrame(rows, columns=[*KEY, "n"]))
    assert set(for_others(counts)["period"]) == {"2026-01..2026-03"}


def test_what_was_written_is_read_again(tmp_path):
    counts = drawn_counts(4)
    n = counts["n"].to_numpy()
    counts["days"], counts["squares"] = np.minimum(n, 2), n**2 - n + 1
    counts["days"] = counts["days"].astype("Int64")
    counts["squares"] = pd.array(np.where(n == 1, 1, n**2 // 2 + 1), dtype="Int64")
    path = written(tmp_path, counts)
    assert is_counts_file(path)
    pd.testing.assert_frame_equal(read_counts(path), counts)
    assert counts_text(counts) == counts_text(counts.sample(frac=1, random_state=2))
    windows = written(tmp_path, counts, lambda text: "\ufeff" + text.replace("\n", "\r\n"), "w.csv")
    pd.testing.assert_frame_equal(read_counts(windows), counts)


def test_readings_are_no_counts_file(tmp_path):
    path = tmp_path / "r.csv"
    path.write_text("measurer,measure,reading,taken_at\n", encoding="utf-8")
    assert not is_counts_file(path)
    assert not is_counts_file(tmp_path / "nothing.csv")
    path.write_bytes(b"\xff\xfe\x00")
    assert not is_counts_file(path)


@pytest.mark.parametrize(
    "column", ["child", "patient_id", "Birth date", "mother", "reading", "value", "age_months",
               "taken_at", "visit_key", "full name", "weight"],
)  # fmt: skip
def test_a_column_of_children_is_refused_by_its_name_and_nothing_else_is_read(tmp_path, column):
    def add(text):
        head, *rows = text.splitlines()
        return "\n".join([f"{head},{column}", *(f"{row},Maria Lopez 17" for row in rows)])

    path = written(tmp_path, drawn_counts(1), add)
    found = look_at_counts(path)
    assert [p.column for p in found.problems] == [column]
    assert "may tell of a child" in found.problems[0].problem
    assert "--tally-only" in found.problems[0].remedy
    assert not len(found.counts)
    assert "Maria" not in said(path)
    with pytest.raises(SessionError):
        read_counts(path)


def test_columns_that_are_missing_or_unknown_are_told_together(tmp_path):
    path = written(
        tmp_path,
        drawn_counts(1),
        lambda text: text.replace("position", "positon", 1).replace("step", "mark", 1),
    )
    text = said(path)
    assert "column positon: this column does not belong" in text
    assert "Did you mean 'position'?" in text
    assert "column step: this column is missing" in text
    path = written(tmp_path, drawn_counts(1), lambda text: text.splitlines()[0] + "\n", "e.csv")
    assert "there are no counts" in said(path)
    assert "there is no such file" in said(tmp_path / "no.csv")
    (tmp_path / "b.csv").write_bytes(b"site,\xff\xfe\n")
    assert "cannot be read as a CSV file" in said(tmp_path / "b.csv")


SMALL = """site,measurer,instrument,measure,step,kind,position,period,n
A,K3,s1,length,1/8 in,on a mark,0,2026-03,200
A,K3,s1,length,1/8 in,on a mark,4,2026-03,188
A,K3,s1,length,1/8 in,all,,2026-03,388
A,K4,s1,length,1/8 in,on a mark,0,2026-03,60
A,K4,s1,length,1/8 in,all,,2026-03,60
"""


@pytest.mark.parametrize(
    ("before", "after", "told", "left"),
    [
        (",388\n", ",400\n", "site A, K3, s1, length, 2026-03: the parts add up to 388, `all` "
         "says 400", {"K4"}),
        ("A,K3,s1,length,1/8 in,all,,2026-03,388\n", "", "the parts add up to 388, there is no "
         "`all`", {"K4"}),
        ("mark,4,", "mark,9/8,", "row 3, column position: found '9/8': 9/8 is not a position of "
         "1/8 in: 0 to 7", {"K4"}),
        ("mark,4,", "mark,8,", "8 is not a position of 1/8 in: 0 to 7", {"K4"}),
        ("mark,4,", "mark,,", "a blank is not a position of 1/8 in", {"K4"}),
        ("all,,2026-03,388", "all,1,2026-03,388", "'all' has no position", {"K4"}),
        (",188\n", ",-188\n", "found '-188': this is not a count", {"K4"}),
        (",188\n", ",18.5\n", "found '18.5': this is not a count", {"K4"}),
        (",188\n", ",\n", "this is not a count", {"K4"}),
        ("on a mark,4", "of a mark,4", "this kind is not known. Kinds are on a mark", {"K4"}),
        ("mark,4,", "mark,0,", "this cell is there twice: site A, K3, s1, length, 2026-03",
         {"K4"}),
        ("2026-03,188", "2026-13,188", "found '2026-13': this is not a period", {"K4"}),
        ("2026-03,188", "2026-05..2026-03,188", "this is not a period", {"K4"}),
        ("A,K4,s1,length,1/8 in,on", "A,K4,s1,length,1/4 in,on", "the measure 'length' has "
         "several steps", set()),
        ("A,K3,s1,length,1/8 in,on a mark,4", "A,K3,s1,length,eighths,on a mark,4",
         "this is not a step", set()),
        ("A,K4", "A,Ana Lopez", "this looks like a person's name", {"K3"}),
        ("K4,s1,length,1/8 in,on", "K4,s1,,1/8 in,on", "the measure is missing", {"K3"}),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_and_what_is_sound_is_kept(tmp_path, before, after, told, left):
    path = tmp_path / "counts.csv"
    assert before in SMALL
    path.write_text(SMALL.replace(before, after), encoding="utf-8")
    found = look_at_counts(path)
    assert told in said(path)
    assert "Ana" not in said(path)
    assert set(found.counts["measurer"]) == left
    pd.testing.assert_frame_equal(with_totals(found.counts), found.counts)


def test_all_problems_are_told_at_once_and_long_lists_are_cut(tmp_path):
    counts = drawn_counts(5)
    counts["n"] = -1
    counts.loc[0, "period"] = "May"
    text = said(written(tmp_path, counts))
    assert "this is not a period" in text
    assert f"{len(counts) - 20} more rows have the same problem" in text
    assert len(text.splitlines()) < 30


@pytest.mark.parametrize(
    ("column", "value", "told"),
    [
        ("days", 61, "this is more than n, which is 60"),
        ("squares", 3601, "no 60 readings on 2 days"),
        ("squares", 1799, "no 60 readings on 2 days"),
        ("on_comb", 61, "this is more than n"),
        ("same", 11, "this is more than followed, which is 10"),
        ("followed", 9, "the parts add up to 10, `all` says 9"),
    ],
)
def test_numbers_that_cannot_be_are_told(tmp_path, column, value, told):
    table = pd.read_csv(io.StringIO(SMALL), dtype=str, keep_default_na=False)[3:]
    extra = {"days": 2, "squares": 1800, "on_comb": 40, "followed": 10, "same": 5}
    table = table.assign(**{name: str(x) for name, x in extra.items()})
    path = tmp_path / "counts.csv"
    table.to_csv(path, index=False)
    assert look_at_counts(path).problems == ()
    assert set(NUMBERS) <= set(read_counts(path))
    table.iloc[-1, table.columns.get_loc(column)] = str(value)
    table.to_csv(path, index=False)
    assert told in said(path)


def test_no_cell_of_a_counts_file_is_a_formula(tmp_path):
    counts = pd.read_csv(io.StringIO(SMALL), keep_default_na=False, dtype=str)
    counts["measurer"] = counts["measurer"].replace("K4", "=K4")
    counts["position"] = pd.to_numeric(counts["position"]).astype("Int64")
    counts["n"] = counts["n"].astype(int)
    path = written(tmp_path, counts)
    assert ",'=K4," in path.read_text(encoding="utf-8")
    pd.testing.assert_frame_equal(
        read_counts(path)[["measurer", "n"]], in_order(counts)[["measurer", "n"]]
    )


def test_a_column_that_was_called_clinic_is_told_by_its_new_name(tmp_path):
    path = tmp_path / "counts.csv"
    path.write_text(SMALL.replace("site,", "clinic,", 1), encoding="utf-8")
    assert [(p.column, p.code) for p in look_at_counts(path).problems] == [
        ("clinic", ClinicIsSite.IN_COUNTS)
    ]
    assert "the column clinic is called site now. Write site in its place" in said(path)
    with pytest.raises(SessionError, match="called site now"):
        read_counts(path)
