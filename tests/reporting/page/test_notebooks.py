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


def written(folder, *cells):
    """A notebook with these cells, the first of them its parameters."""
    import nbformat

    first, *rest = cells
    code = [nbformat.v4.new_code_cell(first, metadata={"tags": ["parameters"]})]
    code += [nbformat.v4.new_code_cell(text) for text in rest]
    path = folder / "small.ipynb"
    nbformat.write(nbformat.v4.new_notebook(cells=code), path)
    return path


def test_cells_run_in_this_process_with_the_parameters_put_in(tmp_path):
    path = written(tmp_path, "x: int = 1", "import os\nprint(os.getpid(), x)", "x + 1", "x = 3")
    done = notebooks.execute(path, {"x": 7})
    printed, value, nothing = (cell.outputs for cell in done.cells[-3:])
    assert printed[0].text.split() == [str(os.getpid()), "7"]
    assert value[0].data == {"text/plain": "8"}
    assert nothing == []


def test_what_a_cell_prints_and_gives_is_on_the_page_and_markup_only_where_it_is_meant(tmp_path):
    cells = (
        "x: int = 1", "print('<b>')",
        "class Piece:\n    def _repr_html_(self): return '<p>piece</p>'\nPiece()", "'<i>'",
    )  # fmt: skip
    page = notebooks.to_html(notebooks.execute(written(tmp_path, *cells), {}), title="<t>")
    assert "<pre>&lt;b&gt;" in page
    assert "<p>piece</p>" in page
    assert "<pre>&#39;&lt;i&gt;&#39;</pre>" in page
    assert "<title>&lt;t&gt;</title>" in page
    assert "print(" not in page


@pytest.mark.parametrize("raised", ["KeyError('lost')", "KeyboardInterrupt"])
def test_what_a_cell_raises_reaches_the_caller_as_it_is(tmp_path, raised):
    path = written(tmp_path, "x: int = 1", f"raise {raised}", "print('never')")
    with pytest.raises((KeyError, KeyboardInterrupt)) as caught:
        notebooks.execute(path, {})
    assert caught.type.__name__ in raised


def test_one_notebooks_names_are_not_in_the_next(tmp_path):
    notebooks.execute(written(tmp_path, "x: int = 1", "left = 5"), {})
    with pytest.raises(NameError, match="left"):
        notebooks.execute(written(tmp_path, "x: int = 1", "left"), {})


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


def test_nothing_of_the_libraries_chatter_reaches_the_screen(samples, tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "anthroqa", "report", str(samples / "outreach_metric"),
         "--out", str(tmp_path / "out")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout.strip() == str(tmp_path / "out" / "session_report.html")
