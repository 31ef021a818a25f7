"""A large session is scored fast and in little memory, and loads nothing it does not need."""

import pickle
import statistics
import subprocess
import sys
import time
import warnings

import numpy as np
import pandas as pd
import pytest
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

import anthroqa
from anthroqa.simulate import draw, nearest

pytestmark = pytest.mark.bench

MEASURES = ("weight", "length", "head", "arm")
PEOPLE, SUBJECTS, ROUNDS = 200, 20, 3
LEAST_RATIO, MOST_MEGABYTES = 30, 400
# figures that are sums; those of marks and of likelihoods are timed in test_bench_digits.py
SUMS = [
    "within_tem", "within_tem_percent", "within_tem_less_shift", "own_round_shift", "reliability",
    "bias", "agreement_lower", "agreement_upper", "bias_from_others", "rms_error", "between_tem",
    "total_tem", "round_shift",
]  # fmt: skip


@pytest.fixture(scope="module")
def session() -> anthroqa.Session:
    rng = np.random.default_rng(20261126)
    frames = []
    for measure in MEASURES:
        counts = nearest(draw(rng.uniform(6000, 9000, SUBJECTS), tem=rng.uniform(2, 9, PEOPLE),
                              shift=np.zeros(ROUNDS), rng=rng))  # fmt: skip
        person, subject, turn = np.indices(counts.shape).reshape(3, -1)
        frames.append(pd.DataFrame({
            "measurer": "P" + pd.Series(person).astype(str),
            "subject": "S" + pd.Series(subject).astype(str), "measure": measure,
            "round": turn + 1, "reading": counts.reshape(-1),
        }))  # fmt: skip
    return anthroqa.Session.from_frame(
        pd.concat(frames), measures={m: {"recorded_to": "1 mm"} for m in MEASURES}, reference="P0"
    )


def within_by_anova(cells: list[pd.DataFrame]) -> list[float]:
    """Within TEM of each group of readings, by a general linear model each."""
    return [
        anova_lm(ols("count ~ C(subject)", data=cell).fit()).loc["Residual", "mean_sq"] ** 0.5
        for cell in cells
    ]


def test_all_sums_are_had_thirty_times_faster_than_a_loop_of_linear_models(session):
    table, times = None, []
    for _ in range(3):
        start = time.perf_counter()
        table = anthroqa.score(session, only=SUMS)
        times.append(time.perf_counter() - start)
    fast = statistics.median(times)

    groups = dict(list(session.readings.groupby(["measure", "measurer"])))
    assert len(groups) == len(MEASURES) * PEOPLE
    share = 4  # a quarter of the groups, drawn at random
    some = np.random.default_rng(3).choice(len(groups), len(groups) // share, replace=False)
    keys = [list(groups)[i] for i in some]
    within_by_anova([groups[keys[0]]])  # whatever a first call loads is not timed
    start = time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        slow_figures = within_by_anova([groups[key] for key in keys])
    slow = (time.perf_counter() - start) * share

    sys.stdout.write(f"\nscore {fast:.3f} s, loop {slow:.2f} s, ratio {slow / fast:.0f}\n")
    figures = table[table["statistic"] == "within_tem"].set_index(["measure", "measurer"])
    # the loop works in floats; one step is a millimetre
    assert figures.loc[keys, "estimate"].tolist() == pytest.approx(slow_figures, rel=1e-6)
    assert len(table["statistic"].unique()) == 15
    assert slow / fast >= LEAST_RATIO


SCORE_IN_A_CHILD = """
import pickle, resource, sys
from pathlib import Path
import anthroqa

def peak():
    # In MB. getrusage would also count what the parent held before this program started.
    status = Path("/proc/self/status")
    if status.exists():
        line = next(l for l in status.read_text().splitlines() if l.startswith("VmHWM"))
        return int(line.split()[1]) // 1024
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most // (1024**2 if sys.platform == "darwin" else 1024)

with open(sys.argv[1], "rb") as file:
    session = pickle.load(file)
table = anthroqa.score(session)
print(len(table), peak())
"""


def test_scoring_stays_small_in_memory(session, tmp_path):
    file = tmp_path / "session.pickle"
    file.write_bytes(pickle.dumps(session))
    done = subprocess.run(
        [sys.executable, "-c", SCORE_IN_A_CHILD, str(file)],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    rows, megabytes = map(int, done.stdout.split())
    sys.stdout.write(f"\npeak memory {megabytes} MB for {rows} rows\n")
    assert rows == len(anthroqa.score(session))
    assert megabytes < MOST_MEGABYTES


WHAT_SCORING_LOADS = """
import sys
import pandas as pd
import anthroqa
assert "anthroqa.scores" not in sys.modules
frame = pd.DataFrame({"measurer": "A", "subject": ["1", "1"], "measure": "length",
                      "round": [1, 2], "reading": [70, 71]})
session = anthroqa.Session.from_frame(frame, measures={"length": {"recorded_to": "1 mm"}})
table = anthroqa.score(session)
anthroqa.decide(table, session)
anthroqa.residuals(session)
print(len(table), *sorted({name.split(".")[0] for name in sys.modules}))
"""


def test_scoring_loads_no_library_of_reports_or_models():
    done = subprocess.run(
        [sys.executable, "-c", WHAT_SCORING_LOADS], check=True, capture_output=True, text=True
    )
    rows, *loaded = done.stdout.split()
    assert int(rows) > 10
    heavy = {"statsmodels", "nbconvert", "papermill", "IPython", "matplotlib", "nbformat"}
    assert not heavy & set(loaded)
