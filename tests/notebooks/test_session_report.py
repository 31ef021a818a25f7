"""The notebook, run top to bottom on every sample, as a person and as the command run it."""

import pandas as pd
import pytest
from same_page import by_hand_and_by_command

import anthroqa
from anthroqa.decisions import variants
from anthroqa.reporting.page import notebooks
from anthroqa.scores import parts

SAMPLES = ["outreach_metric", "clinics_customary", "clinics_customary_as_typed"]


@pytest.mark.parametrize("sample", SAMPLES)
def test_notebook_runs_on_every_sample_and_gives_the_librarys_own_tables(request, sample, tmp_path):
    folder = request.config.rootpath / "sample_sessions" / sample
    values = {"session_folder": str(folder), "tables_folder": str(tmp_path / "t"), "seed": 3}
    notebooks.run("session_report", values)
    session = anthroqa.read_session(folder)
    scores = anthroqa.score(session, seed=3)
    decisions = anthroqa.decide(scores, session)
    tables = {
        "scores": scores,
        "decisions": decisions,
        "mark_findings": anthroqa.mark_findings(scores),
    }
    for name, table in tables.items():
        written = pd.read_csv(tmp_path / "t" / f"{name}.csv", keep_default_na=False, na_values=[""])
        assert len(written) == len(table)
        for column in ("estimate", "lower", "upper"):
            pd.testing.assert_series_equal(written[column], table[column], rtol=1e-15)
        key = "statistic" if name == "scores" else "state"
        assert written[key].tolist() == table[key].tolist()
    slips = anthroqa.slips(session)
    tables = {
        "slips": slips, "instrument_figures": anthroqa.instrument_checks(session),
        "variants": variants(session, scores, decisions, slips, seed=3),
        "parts": parts(session, seed=3),
    }  # fmt: skip
    for name, table in tables.items():
        written = pd.read_csv(tmp_path / "t" / f"{name}.csv", keep_default_na=False, na_values=[""])
        assert written.columns.tolist() == list(table.columns)
        assert len(written) == len(table)
        for column in table.select_dtypes("number"):
            pd.testing.assert_series_equal(
                written[column].astype(float), table[column].astype(float).reset_index(drop=True),
                rtol=1e-15,
            )  # fmt: skip


def test_run_all_in_its_own_folder_gives_the_same_page_as_the_command(
    request, monkeypatch, tmp_path
):
    root = request.config.rootpath
    by_hand, by_command = by_hand_and_by_command(
        root, monkeypatch, "session_report", "clinics_customary"
    )
    assert by_hand == by_command
    assert not (root / "notebooks" / "scores.csv").exists()
