"""The sample of routine records is redrawn, and what was planted in it is recovered.

It is also counted who was named wrongly: staff of whom nothing was planted.
"""

import subprocess
import sys
import tomllib
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest

from anthroqa.intake.tables.personal import looks_personal
from anthroqa.intake.written.grammar import read_count
from anthroqa.simulate import routine

FOLDER = Path(__file__).parents[1] / "sample_sessions" / routine.NAME


@pytest.fixture(scope="module")
def kept():
    return duckdb.sql(f"FROM '{(FOLDER / routine.FILE).as_posix()}'").df()


@pytest.fixture(scope="module")
def truth():
    return tomllib.loads((FOLDER / routine.TRUTH).read_text(encoding="utf-8"))


def test_the_sample_is_redrawn(kept):
    drawn = routine.records()
    assert (FOLDER / routine.TRUTH).read_text(encoding="utf-8") == routine.truth()
    assert list(kept.columns) == list(drawn.columns)
    for column in kept:
        assert kept[column].astype(str).tolist() == drawn[column].astype(str).tolist()


def test_it_is_small_and_tells_of_no_child(kept):
    assert len(kept) == routine.ROWS
    assert (FOLDER / routine.FILE).stat().st_size < 200_000
    assert set(kept.columns) == {
        "site", "measurer", "instrument", "measure", "reading", "taken_at",
    }  # fmt: skip
    assert not [column for column in kept if looks_personal(column)]
    assert kept["measurer"].nunique() == 14
    assert kept["taken_at"].dt.strftime("%Y-%m").nunique() == 12


def test_the_new_person_has_few_readings(kept, truth):
    mine = kept[kept["measurer"] == truth["new"]["measurer"]]
    assert len(mine) == truth["new"]["readings"] == 18


def counts_of(kept, measure):
    """Readings in whole steps, where they are whole steps."""
    rows = kept[kept["measure"] == measure.name]
    found = {w: read_count(w, measure.step) for w in rows["reading"].unique()}
    steps = rows["reading"].map(lambda w: getattr(found[w], "steps", np.nan))
    return rows.assign(count=steps).dropna(subset="count").astype({"count": int})


@pytest.mark.parametrize("planted", routine.LEANING)
def test_a_leaning_person_puts_the_planted_share_on_the_mark(kept, planted):
    code, name, mark, share = planted
    measure = next(m for m in routine.MEASURES if m.name == name)
    rows = counts_of(kept, measure)
    mine = rows[rows["measurer"] == code]["count"]
    on = (mine % mark == 0).mean()
    expected = share + (1 - share) / mark
    # lively days: gamma with shape 3 cut off at 1 loses little; four standard errors of a share
    # whose variance is doubled by about six readings a day
    band = 4 * np.sqrt(2 * expected * (1 - expected) / len(mine))
    assert on == pytest.approx(expected, abs=band)


def test_a_converted_site_is_on_the_comb_and_a_new_scale_shows_even_ounces(kept, truth):
    rows = counts_of(kept, routine.MEASURES[0])
    ticks = np.floor(np.arange(400) * 0.05 / 0.45359237 * 16 + 0.5).astype(int)
    in_c = rows[rows["measurer"].isin(["V09", "V10", "V11"])]
    assert in_c["count"].isin(ticks).mean() > 0.99  # the rest: one digit too many
    assert rows[~rows.index.isin(in_c.index)]["count"].isin(ticks).mean() < 0.7
    new = rows[rows["instrument"] == truth["new_scale"][0]["instrument"]]
    assert (new["count"] % 2 == 0).all()
    assert new["taken_at"].min() >= pd.Timestamp(truth["new_scale"][0]["from"])
    old = rows[rows["instrument"] == "B-scale-1"]
    assert 0.4 < (old["count"] % 2 == 0).mean() < 0.6


def test_large_records_are_as_many_as_asked_for(tmp_path):
    command = [sys.executable, "-m", "anthroqa.simulate", routine.NAME, str(tmp_path / "v")]
    subprocess.run([*command, "--rows", "100000"], check=True)
    path = (tmp_path / "v" / routine.FILE).as_posix()
    rows = duckdb.sql(f"SELECT measurer, site FROM '{path}'").df()
    assert len(rows) == 100_000
    assert (rows["measurer"].nunique(), rows["site"].nunique()) == (28, 8)
    assert (rows["measurer"] == "R002-V14").sum() == 18
    assert not list((tmp_path / "v").glob(".*"))


def test_with_keys_one_person_repeats_readings(tmp_path):
    rows = routine.records(rows=20_000, keys=True)
    rows = rows.sort_values("taken_at", kind="stable")
    rows = rows[rows["reading"] != ""]
    before = rows.groupby(["visit_key", "measure"])["reading"].shift()
    same = (before == rows["reading"])[before.notna()]
    share = same.groupby(rows.loc[same.index, "measurer"]).mean().drop("V14", errors="ignore")
    assert share.idxmax() == "V05"
    assert share["V05"] > 0.12
    assert share.drop("V05").max() < 0.05


def test_too_few_rows_are_refused(tmp_path):
    with pytest.raises(ValueError, match="1000 at least"):
        routine.write_records(tmp_path / "v", rows=10)
    assert not (tmp_path / "v").exists()
