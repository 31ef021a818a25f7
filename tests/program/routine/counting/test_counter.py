import io
from fractions import Fraction

import duckdb
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from program.routine.tallying import WANTED, cells, counted, readings
from slow_tally import RANGES, RECORDED_TO, as_mapping, drawn_rows, on_comb, slow_tally

from anthroqa.intake import SessionError
from anthroqa.intake.written.steps import Step
from anthroqa.program.routine.counting.counter import tallied, tally
from anthroqa.program.routine.counting.counts import ALL, COLUMNS, merged
from anthroqa.program.routine.counting.forms import masked, understood
from anthroqa.program.routine.counting.progress import Progress
from anthroqa.program.routine.counting.query import MISSING, OFF, OUT, UNREADABLE
from anthroqa.program.routine.counting.request import pairs, wanted
from anthroqa.program.routine.counting.sources import open_source


@pytest.mark.parametrize("days", [True, False])
def test_the_engine_counts_what_a_plain_loop_over_fractions_counts(tmp_path, days):
    rows = drawn_rows(1, 4000)
    found = counted(rows, tmp_path / "r.parquet", "day" if days else "")
    assert as_mapping(found.counts) == slow_tally(rows, days=days)
    assert found.counts["n"].sum() == 2 * len(rows)
    assert list(found.counts) == [c for c in COLUMNS if c in found.counts]


def test_repeated_values_are_those_of_the_reading_before_on_the_same_visit_key(tmp_path):
    rows = drawn_rows(2, 3000, visits=True)
    found = counted(rows, tmp_path / "r.parquet")
    assert as_mapping(found.counts) == slow_tally(rows, days=True, visits=True)
    assert found.counts["same"].sum() > 100
    assert "visit_key" not in found.counts


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), cut=st.integers(0, 300), visits=st.booleans())
def test_tallies_of_two_shards_add_up_to_the_tally_of_both(tmp_path_factory, seed, cut, visits):
    folder = tmp_path_factory.mktemp("shards")
    rows = drawn_rows(seed, 300, visits=visits)
    # no person's day, and no visit key, in both
    by = rows["visit_key"].fillna("-") if visits else rows["taken_at"].dt.date.astype(str)
    first = by.map(hash) % 300 < cut if not visits else by < "s"
    parts = [part for part in (rows[first], rows[~first]) if len(part)]
    clusters = "" if visits else "day"
    whole = counted(rows, folder / "whole.parquet", clusters).counts
    apart = []
    for i, part in enumerate(parts):
        there = [one for one in WANTED if one.name in set(part["measure"])]
        apart.append(counted(part, folder / f"{i}.parquet", clusters, there).counts)
    pd.testing.assert_frame_equal(merged(apart), whole)


def test_a_folder_of_shards_is_one_source_in_any_order_of_columns(tmp_path):
    rows = drawn_rows(3, 500)
    whole = counted(rows, tmp_path / "whole.parquet").counts
    shards = tmp_path / "shards" / "2026"
    shards.mkdir(parents=True)
    rows[:200].to_parquet(shards / "a.parquet")
    rows.iloc[200:, ::-1].to_parquet(shards / "b.parquet")
    for address in (tmp_path / "shards", str(tmp_path / "shards" / "*" / "*.parquet")):
        with open_source(address) as source:
            pd.testing.assert_frame_equal(tally(source, WANTED, clusters="day"), whole)
            assert sorted(source.fingerprints()) == ["a.parquet", "b.parquet"]


@pytest.mark.parametrize("text", [False, True])
def test_many_rows_are_counted_some_months_at_a_time(tmp_path, monkeypatch, text):
    rows = drawn_rows(8, 900)
    rows["taken_at"] += pd.to_timedelta(np.arange(900) % 400, unit="D")
    if text:
        rows["taken_at"] = rows["taken_at"].dt.strftime("%Y-%m-%dT%H:%M")
        rows.loc[:20, "taken_at"] = "3/14/2026"
    whole = counted(rows, tmp_path / "r.parquet").counts
    for at_once in (10, 100, 400):
        monkeypatch.setattr("anthroqa.program.routine.counting.counter._AT_ONCE", at_once)
        pd.testing.assert_frame_equal(counted(rows, tmp_path / "r.parquet").counts, whole)


def test_halves_negatives_and_decimals_that_are_no_binary_fractions(tmp_path):
    # 0.29 * 100 = 28.999...; halves on which engines round differently are off the step
    hundredths = wanted({"h": "0.01 kg"})
    found = counted(readings([0.29, 0.57, 1.15, 8.35], measure="h"), tmp_path / "a.parquet",
                    measures=hundredths)  # fmt: skip
    assert cells(found, "on a mark") == {9: 1, 7: 1, 5: 2}
    single = readings(np.array([7.35, 95.37], dtype=np.float32), measure="h")
    found = counted(single, tmp_path / "b.parquet", measures=hundredths)
    assert cells(found, "on a mark") == {5: 1, 7: 1}
    ounces = wanted({"weight": "1 oz"})
    found = counted(readings([-3.0, -0.4, 0.0, 80.5, 81.5, 31.0]), tmp_path / "c.parquet",
                    measures=ounces)  # fmt: skip
    assert cells(found, "on a mark") == {0: 1, 15: 1}
    assert cells(found, "out of range") == {pd.NA: 2}
    assert cells(found, "off step") == {pd.NA: 2}


def test_whole_numbers_and_decimals_of_a_database_are_readings(tmp_path):
    path = tmp_path / "base.duckdb"
    with duckdb.connect(str(path)) as base:
        base.execute(
            "CREATE TABLE visits AS SELECT 'K1' AS measurer, 'kilos' AS measure, "
            "CAST(x AS DECIMAL(6, 2)) / 10 AS reading, DATE '2026-03-02' AS taken_at "
            "FROM range(100, 130) AS t(x)"
        )
    with open_source(f"duckdb://{path}", table="visits") as source:
        found = tallied(source, wanted({"kilos": "0.1 kg"}), clusters="day")
    assert cells(found, "on a mark") == dict.fromkeys(range(10), 3)
    assert not found.problems


@pytest.mark.parametrize("step", ["1 oz", "1/8 in", "0.1 kg", "0.1 cm", "1/4 lb", "50 g", "1/2 oz"])
def test_on_the_comb_in_the_engine_is_exact(tmp_path, step):
    from anthroqa.scores.marks.combs import on_comb

    one = wanted({"m": step})
    size = one[0].measure.step.size
    steps = np.arange(0, 6000)
    values = steps * size.numerator / size.denominator
    found = counted(readings(values, measure="m"), tmp_path / "r.parquet", measures=one)
    total = found.counts[found.counts["kind"] == ALL]["on_comb"].iloc[0]
    if one[0].comb is None:
        assert total is pd.NA
        return
    expected = on_comb(steps, one[0].comb[1])
    assert total == expected.sum()
    by = pd.Series(expected).groupby(steps % one[0].cycle).sum()
    on = found.counts[found.counts["kind"] == "on a mark"]
    assert dict(zip(on["position"], on["on_comb"], strict=True)) == by.to_dict()


def test_the_slow_comb_is_that_of_scores():
    from slow_tally import TEETH

    from anthroqa.scores.marks.combs import leaves_gaps

    for name, step in RECORDED_TO.items():
        amount, unit = step.split()
        assert leaves_gaps(Step(Fraction(amount), unit))[1] == TEETH[name]
    assert on_comb("kilos", 0)


TEXTS = """site,measurer,measure,reading,taken_at,child
A,K1,weight,11 lb 10 oz,2026-03-02T09:00,17
A,K1,weight,186,2026-03-02,17
A, K1,weight, 186 oz ,2026-03-05,18
A,K1,weight,NA,2026-03-05,18
A,K1,weight,,2026-03-05,18
A,K1,weight,nan,2026-03-05,18
A,K1,weight,11.10 lb,2026-03-05,18
A,K1,weight,Maria said 12,2026-03-05,18
A,K1,weight,186.5,2026-03-05,18
A,K1,weight,-5,2026-03-05,18
A,K1,weight,60 lb,2026-03-05,18
A,K1,length,24 3/8,2026-04-05,18
A,K1,length,"24,375",2026-04-05,18
"""


def texts(tmp_path, text, name="r.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    with open_source(path) as source:
        return tallied(source, wanted({"weight": "1 oz", "length": "1/8 in"}, ranges=RANGES),
                       clusters="day")  # fmt: skip


def test_text_is_understood_as_in_a_session_once_a_form(tmp_path):
    found = texts(tmp_path, TEXTS)
    weight = found.counts[found.counts["measure"] == "weight"]
    by_kind = weight.groupby("kind")["n"].sum().to_dict()
    assert by_kind == {
        "on a mark": 3, "missing": 3, "unreadable": 2, "off step": 1, "out of range": 2, "all": 11,
    }  # fmt: skip
    assert set(found.counts["measurer"]) == {"K1"}  # outer spaces taken off
    on = weight[weight["kind"] == "on a mark"]
    assert on[["position", "n", "days", "squares"]].to_numpy().tolist() == [[10, 3, 2, 5]]
    unread = [p for p in found.problems if "cannot be read" in p.problem]
    assert [p.problem.split(";")[0] for p in unread] == [
        "2 readings of weight cannot be read as a number of marks",
        "1 reading of length cannot be read as a number of marks",
    ]
    assert unread[0].found == "'11.10 lb' (1), 'xxxxx xxxx 12' (1)"
    assert "11 lb 10 oz" in unread[0].remedy
    assert "Maria" not in "".join(map(str, found.problems))


def test_a_decimal_comma_is_a_point_between_semicolons(tmp_path):
    text = "measurer;measure;reading;taken_at\nK1;length;24,375;2026-04-05\nK1;length;24.5;\n"
    path = tmp_path / "r.csv"
    path.write_text(text, encoding="utf-8")
    with open_source(path) as source:
        found = tallied(source, wanted({"length": "1/8 in"}))
    assert cells(found, "on a mark") == {3: 1, 4: 1}
    assert set(found.counts["period"]) == {"", "2026-04"}


def test_numbers_and_their_text_are_tallied_alike(tmp_path):
    rows = drawn_rows(5, 800)
    rows = rows[~np.isinf(rows["reading"])]
    whole = counted(rows, tmp_path / "r.parquet").counts
    as_text = rows.assign(reading=rows["reading"].map(lambda x: "" if x != x else f"{x:.10f}"))
    buffer = io.StringIO()
    as_text.to_csv(buffer, index=False)
    (tmp_path / "r.csv").write_text(buffer.getvalue(), encoding="utf-8")
    with open_source(tmp_path / "r.csv") as source:
        found = tallied(source, WANTED, clusters="day")
    pd.testing.assert_frame_equal(found.counts, whole)
    as_text.to_parquet(tmp_path / "t.parquet")
    with open_source(tmp_path / "t.parquet") as source:
        pd.testing.assert_frame_equal(tally(source, WANTED, clusters="day"), whole)


@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("11 lb 10 oz", 10), ("186", 10), ("0", OUT), ("NaN", MISSING), ("  ", MISSING),
        ("11.5 lb", UNREADABLE), ("2026-03-08", UNREADABLE), ("186 1/2", OFF), ("-186", OUT),
        ("186 kg", OUT), ("5 kg", OFF), ("45 lb", 0), ("45 lb 1 oz", OUT), ("186in", UNREADABLE),
    ],
)  # fmt: skip
def test_what_a_text_stands_for(text, mark):
    one = wanted({"weight": "1 oz"}, ranges={"weight": "3 lb to 45 lb"})
    assert understood(text, one[0], decimal_comma=False)[0] == mark


def test_forms_are_shown_without_what_may_be_a_name_or_a_birth_date():
    assert masked("11.10 lb", 1) == "11.10 lb"
    assert masked("Ana 12 lb", 1) == "xxx 12 lb"
    assert masked("refused", 1) == "refused"
    assert masked("cried", 1) == "xxxxx"
    assert masked("cried", 40) == "cried"
    assert masked("3/8/2024", 90) == "9/9/9999"


def test_what_a_person_should_look_at(tmp_path):
    rows = drawn_rows(6, 400)
    rows["measure"] = rows["measure"].replace("kilos", "arm")
    found = counted(rows, tmp_path / "r.parquet", measures=[*WANTED[:2], *wanted({"head": "1 mm"})])
    said = "\n".join(map(str, found.problems))
    assert "rows have the measure 'arm', which has no step; they are not tallied" in said
    assert "--recorded-to arm=STEP" in said
    assert "no row has the measure 'head'" in said
    rows = readings(np.arange(30) / 20, measure="kilos", measurer="Ana Lopez", taken_at=pd.NaT)
    found = counted(rows, tmp_path / "s.parquet", measures=wanted({"kilos": "0.1 kg"}))
    assert not any("off the step" in p.problem for p in found.problems)  # half of them
    rows = readings(np.arange(1, 60, 2) / 20, measure="kilos", measurer="Ana Lopez")
    rows.loc[0, "measurer"] = None
    found = counted(rows, tmp_path / "t.parquet", measures=wanted({"kilos": "0.1 kg"}))
    said = "\n".join(map(str, found.problems))
    assert "30 of 30 readings of kilos are off the step 0.1 kg" in said
    assert "It looks like a step of 0.05 kg." in said
    assert "1 code looks like a person's name" in said
    assert "Ana" not in said
    assert "1 of 30 rows have no code of a measurer" in said


def test_a_unit_that_was_switched_in_a_month_is_told_with_its_site(tmp_path):
    rows = readings(np.r_[np.arange(60.0), np.arange(20) / 20 + 0.02], measure="kilos")
    rows["taken_at"] = pd.Timestamp("2026-03-02") + pd.to_timedelta(31 * (rows.index // 20), "D")
    found = counted(rows, tmp_path / "r.parquet", measures=wanted({"kilos": "0.1 kg"}))
    assert [p.problem for p in found.problems] == [
        "site A, kilos: in 2026-06 20 of 20 readings are off the step 0.1 kg or out of range, in "
        "other months 0 of 60"
    ]
    rows["reading"] = rows["reading"].where(rows.index % 20 < 18, 0.52)  # a few in every month
    found = counted(rows, tmp_path / "s.parquet", measures=wanted({"kilos": "0.1 kg"}))
    assert not found.problems


def test_eighths_that_were_kept_with_two_decimals_are_told(tmp_path):
    rows = readings(np.round(np.arange(161, 200, 2) / 8, 2), measure="length")
    found = counted(rows, tmp_path / "r.parquet", measures=WANTED[1:2])
    assert "20 of 20 readings of length are off the step 1/8 in" in found.problems[0].problem
    assert "kept with two decimals" in found.problems[0].remedy


def test_dates_that_are_not_iso_are_in_no_month_and_said(tmp_path):
    text = "measurer,measure,reading,taken_at\n" + "K1,weight,100,3/14/2026\n" * 3
    found = texts(tmp_path, text)
    assert set(found.counts["period"]) == {""}
    assert any("have no date, or none in ISO form" in p.problem for p in found.problems)


def test_nothing_to_tally_is_a_problem(tmp_path):
    empty = readings([]).astype({"reading": float})
    with pytest.raises(SessionError, match="there are no rows"):
        counted(empty, tmp_path / "r.parquet")
    with pytest.raises(SessionError, match="no row has the measure 'weight'"):
        counted(readings([3.0], measure="arm"), tmp_path / "s.parquet")
    with pytest.raises(ValueError, match="clusters is 'day'"):
        counted(readings([3.0]), tmp_path / "t.parquet", "week")


def test_a_step_without_a_whole_mark_has_no_positions(tmp_path):
    found = counted(readings([0.8, 1.2, 1.3], measure="m"), tmp_path / "r.parquet",
                    measures=wanted({"m": "0.4 kg"}))  # fmt: skip
    assert cells(found, "on a mark") == {pd.NA: 2}
    assert cells(found, "off step") == {pd.NA: 1}


def test_codes_and_names_with_quotes_are_only_text(tmp_path):
    rows = readings([100.0], measure="it's", measurer='K"1; DROP', site="O'Hara")
    found = counted(rows.rename(columns={"reading": 'read"ing'}), tmp_path / "it's.parquet",
                    measures=wanted({"it's": "1 oz"}), columns={"reading": 'read"ing'})  # fmt: skip
    assert found.counts["measurer"].tolist() == ['K"1; DROP'] * 2


def test_wanted_says_everything_that_it_cannot_understand():
    with pytest.raises(ValueError, match="no measure is given"):
        wanted({})
    with pytest.raises(ValueError, match=r"(?s)this is not a step.*ends before it begins"):
        wanted({"a": "one ounce", "b": "1 oz"}, ranges={"b": "9 lb to 2 lb"})
    with pytest.raises(ValueError, match="arm: give its step"):
        wanted({"a": "1 oz"}, ranges={"arm": "1 cm to 2 cm"})
    with pytest.raises(ValueError, match="not of the form"):
        pairs(["weight"])
    with pytest.raises(ValueError, match="given twice"):
        pairs(["a=1 oz", "a=2 oz"])


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_shows_on_a_terminal_only(monkeypatch):
    monkeypatch.setattr("anthroqa.program.routine.counting.progress._AFTER", 0.0)
    monkeypatch.setattr("anthroqa.program.routine.counting.progress._EVERY", 0.01)
    import time

    screen, paper = Terminal(), io.StringIO()
    for stream in (screen, paper):
        with Progress(stream).following(lambda: 42.0):
            time.sleep(0.1)
    assert "tallying [########............]  42 %" in screen.getvalue()
    assert screen.getvalue().endswith("\r\x1b[K")
    assert paper.getvalue() == ""
