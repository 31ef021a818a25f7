"""Ratios of whole commands, measured pair by pair in one run; seconds are only printed."""

import statistics
import subprocess
import sys
import time

import pytest

pytestmark = pytest.mark.bench

# the same route, plainly: papermill, then nbconvert, in one process
EMPTY = """
import sys
import papermill
from nbconvert import HTMLExporter
source, page = sys.argv[1:]
notebook = papermill.execute_notebook(
    source, None, parameters={"x": 2}, kernel_name="python3", progress_bar=False
)
html, _ = HTMLExporter(template_name="basic").from_notebook_node(notebook)
open(page, "w", encoding="utf-8").write(html)
"""


def seconds(command):
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def ratio(command, floor, pairs):
    """Median over pairs of one command's time to the floor's, after one of each to warm up."""
    seconds(command), seconds(floor)
    times = [(seconds(command), seconds(floor)) for _ in range(pairs)]
    middle = statistics.median(a / b for a, b in times)
    ours, theirs = (statistics.median(t) for t in zip(*times, strict=True))
    print(f"\n{ours:.2f} s against {theirs:.2f} s: ratio {middle:.2f}")
    return middle


def test_report_takes_at_most_two_and_a_half_empty_notebooks(request, tmp_path):
    import nbformat

    cell = nbformat.v4.new_code_cell("x: int = 1", metadata={"tags": ["parameters"]})
    empty = tmp_path / "empty.ipynb"
    kernel = {"name": "python3", "language": "python", "display_name": "Python 3"}
    metadata = {"kernelspec": kernel, "language_info": {"name": "python"}}
    nbformat.write(nbformat.v4.new_notebook(cells=[cell], metadata=metadata), empty)
    script = tmp_path / "empty.py"
    script.write_text(EMPTY, encoding="utf-8")
    folder = request.config.rootpath / "sample_sessions" / "clinics_customary"
    command = [sys.executable, "-m", "anthroqa", "report", str(folder), "--out"]
    floor = [sys.executable, str(script), str(empty), str(tmp_path / "empty.html")]
    assert ratio([*command, str(tmp_path / "report")], floor, pairs=5) <= 2.5


def test_help_takes_at_most_four_bare_starts_of_the_interpreter():
    command = [sys.executable, "-m", "anthroqa", "--help"]
    assert ratio(command, [sys.executable, "-c", "pass"], pairs=15) <= 4
