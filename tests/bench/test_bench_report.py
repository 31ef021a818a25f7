"""Ratios of processor times of whole commands, in turns in one run; seconds are only printed."""

import os
import resource
import subprocess
import sys

import pytest

pytestmark = pytest.mark.bench

# the usual route: papermill with a kernel of its own, then nbconvert
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


def seconds(command, compiled):
    """Processor time of a command and of all that it started and waited for.

    Modules are compiled once, as where the package is installed, into the folder `compiled`.
    """
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    env["PYTHONPYCACHEPREFIX"] = str(compiled)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, capture_output=True, env=env)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def ratio(command, floor, pairs, compiled):
    """Least time of one command to the least of the floor, in turns, after one of each."""
    seconds(command, compiled), seconds(floor, compiled)
    times = [(seconds(command, compiled), seconds(floor, compiled)) for _ in range(pairs)]
    ours, theirs = (min(t) for t in zip(*times, strict=True))
    print(f"\n{ours:.2f} s against {theirs:.2f} s of processor time: ratio {ours / theirs:.2f}")
    return ours / theirs


def test_report_takes_at_most_three_empty_notebooks(request, tmp_path):
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
    assert ratio([*command, str(tmp_path / "report")], floor, 5, tmp_path) <= 3


def test_help_takes_at_most_four_bare_starts_of_the_interpreter(tmp_path):
    command = [sys.executable, "-m", "anthroqa", "--help"]
    assert ratio(command, [sys.executable, "-c", "pass"], 15, tmp_path) <= 4
