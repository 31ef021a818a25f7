import os
import shutil
import subprocess
import sys
import zipfile

import pytest

from anthroqa.reporting.page import notebooks


def test_parameters_are_those_of_the_cell_with_their_comments():
    found = {p.name: p for p in notebooks.parameters("session_report")}
    assert list(found) == ["session_folder", "tables_folder", "confidence", "seed"]
    assert (found["confidence"].type, found["confidence"].default) == ("float", 0.90)
    assert found["confidence"].help == "coverage of every two-sided interval"


def test_unknown_parameters_are_refused_by_name():
    with pytest.raises(ValueError, match="has no parameter folder, sede; it has session_folder"):
        notebooks.run("session_report", {"folder": ".", "sede": 1})


def test_an_unknown_notebook_is_told():
    with pytest.raises(FileNotFoundError, match="'nothing' is not part of this installation"):
        notebooks.notebook_path("nothing")


def test_the_kernel_is_this_python_and_its_exception_keeps_its_name(tmp_path):
    import nbformat

    cells = [
        nbformat.v4.new_code_cell("x: int = 1", metadata={"tags": ["parameters"]}),
        nbformat.v4.new_code_cell("import sys\nprint(sys.executable, x)"),
        nbformat.v4.new_code_cell("raise KeyError('lost')"),
    ]
    path = tmp_path / "small.ipynb"
    nbformat.write(nbformat.v4.new_notebook(cells=cells[:2]), path)
    done = notebooks.execute(path, {"x": 7})
    assert done.cells[-1].outputs[0].text.split() == [sys.executable, "7"]
    nbformat.write(nbformat.v4.new_notebook(cells=cells), path)
    with pytest.raises(notebooks.NotebookError, match="lost") as caught:
        notebooks.execute(path, {})
    assert caught.value.kind == "KeyError"


def test_the_kernel_loads_no_debugger_while_a_thread_loads_libraries(tmp_path):
    # it goes through sys.modules, and a kernel would die now and then
    import nbformat

    cell = nbformat.v4.new_code_cell("import sys; print(sys.modules.get('debugpy', 'not asked'))")
    path = tmp_path / "one.ipynb"
    nbformat.write(nbformat.v4.new_notebook(cells=[cell]), path)
    done = notebooks.execute(path, {})
    assert done.cells[-1].outputs[0].text.strip() == "None"


def test_nobodys_own_settings_reach_the_kernel(samples, tmp_path):
    startup = tmp_path / "profile_default" / "startup"
    startup.mkdir(parents=True)
    (startup / "00.py").write_text("import sys\nsys.modules['anthroqa'] = None", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "anthroqa", "report", str(samples / "outreach_metric"),
         "--out", str(tmp_path / "out")],
        env=os.environ | {"IPYTHONDIR": str(tmp_path)}, capture_output=True, text=True,
    )  # fmt: skip
    assert done.stderr == ""
    assert done.returncode == 0


def test_in_a_checkout_the_notebooks_beside_the_package_are_used(request):
    path = notebooks.notebook_path("session_report")
    assert path == request.config.rootpath / "notebooks" / "session_report.ipynb"


def test_a_built_wheel_carries_the_notebooks_and_reports_in_an_empty_folder(
    request, samples, tmp_path
):
    root = request.config.rootpath
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=root, check=True, capture_output=True)
    (wheel,) = tmp_path.glob("*.whl")
    site, empty = tmp_path / "site", tmp_path / "empty"
    empty.mkdir()
    zipfile.ZipFile(wheel).extractall(site)
    shutil.copytree(samples / "outreach_metric", empty / "mine")
    code = "import anthroqa, anthroqa.cli as c; print(anthroqa.__file__); c.main()"
    done = subprocess.run(
        [sys.executable, "-c", code, "report", "mine", "--out", "out"],
        cwd=empty, env=os.environ | {"PYTHONPATH": str(site)}, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    assert done.stdout.startswith(str(site))
    assert (empty / "out" / "session_report.html").stat().st_size > 100_000
    assert sorted(p.name for p in empty.iterdir()) == ["mine", "out"]


def test_nothing_of_the_kernels_chatter_reaches_the_screen(samples, tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "anthroqa", "report", str(samples / "outreach_metric"),
         "--out", str(tmp_path / "out")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout.strip() == str(tmp_path / "out" / "session_report.html")
