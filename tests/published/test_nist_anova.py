"""NIST Statistical Reference Datasets, analysis of variance: certified residual SDs.

The factor's levels are subjects, the replicates rounds, and there is one measurer: the
certified residual standard deviation is then within TEM. Eleven sets of rising stiffness;
the hardest hold thirteen constant leading digits.
"""

import math
import re
from pathlib import Path

import pandas as pd
import pytest
import scipy
from published.worked_examples import SIRSTV, SIRSTV_RESIDUAL_SD
from strategies import as_session

import anthroqa

FOLDER = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"
SETS = ["AtmWtAg", "SiRstv", *(f"SmLs0{i}" for i in range(1, 10))]


def within_tem_of(cells: list[list[str]]) -> float:
    rows = [
        {"measurer": "A", "subject": f"S{s}", "measure": "length", "round": k, "reading": reading}
        for s, replicates in enumerate(cells, start=1)
        for k, reading in enumerate(replicates, start=1)
    ]
    decimals = max(len(r["reading"].partition(".")[2]) for r in rows)
    session = as_session(pd.DataFrame(rows), recorded_to=f"{10**-decimals:.{decimals}f} mm")
    (row,) = anthroqa.score(session, only=["within_tem"]).itertuples()
    assert row.df == len(rows) - len(cells)
    return row.estimate


def digits(found: float, certified: float) -> float:
    """How many significant digits agree (the log relative error)."""
    return -math.log10(max(abs(found - certified) / certified, 1e-16))


@pytest.mark.parametrize("name", SETS)
def test_within_tem_has_fourteen_certified_digits(name):
    file = FOLDER / f"{name}.dat"
    if not file.exists():
        pytest.skip("this distribution of scipy has no nist_anova files in it")
    text = file.read_text()
    certified = float(re.search(r"Certified Residual\s+Standard Deviation\s+(\S+)", text).group(1))
    n = int(re.search(r"(\d+) Observations", text).group(1))
    start, end = map(int, re.search(r"Data\s+\(lines (\d+) to (\d+)\)", text).groups())
    cells: dict[str, list[str]] = {}
    for line in text.splitlines()[start - 1 : end]:
        level, reading = line.split()
        cells.setdefault(level, []).append(reading)
    assert sum(map(len, cells.values())) == n
    assert digits(within_tem_of(list(cells.values())), certified) >= 14


def test_within_tem_of_sirstv_typed_in_has_fourteen_certified_digits():
    assert digits(within_tem_of([r.split() for r in SIRSTV]), SIRSTV_RESIDUAL_SD) >= 14
