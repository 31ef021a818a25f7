"""The house: what is public, what imports what, and what the files at the top agree on."""

import ast
import json
import re
import subprocess
import sys
import tomllib

import pytest

import anthroqa

FLOORS = ["intake", "scores", "decisions", "planning", "program", "reporting", "cli"]


def test_all_is_what_the_package_offers_and_everything_in_it_loads():
    assert anthroqa.__all__ == sorted(anthroqa.__all__)
    assert set(anthroqa.__all__) == set(anthroqa._HOME)
    assert all(getattr(anthroqa, name).__doc__ for name in anthroqa.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'grade'"):
        anthroqa.grade  # noqa: B018


@pytest.mark.parametrize("room", FLOORS[:-1])
def test_all_of_each_floor_loads(room):
    module = __import__(f"anthroqa.{room}", fromlist=["x"])
    assert module.__all__ == sorted(module.__all__)
    assert all(hasattr(module, name) for name in module.__all__)


def test_importing_the_package_and_the_runner_of_notebooks_loads_nothing_heavy():
    code = "import anthroqa, anthroqa.cli, anthroqa.reporting, sys; print(*sys.modules)"
    run = [sys.executable, "-c", code]
    loaded = subprocess.run(run, capture_output=True, text=True, check=True).stdout.split()
    assert not {"numpy", "pandas", "matplotlib", "scipy", "papermill"} & set(loaded)


def test_data_flows_one_way(request):
    package = request.config.rootpath / "anthroqa"
    wrong = []
    for path in package.rglob("*.py"):
        floor = path.relative_to(package).parts[0].removesuffix(".py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("anthroqa."):
                other = node.module.split(".")[1]
                up = floor in FLOORS and other in FLOORS
                truth = other == "simulate" and floor != "simulate"
                if truth or (up and FLOORS.index(other) > FLOORS.index(floor)):
                    wrong.append(f"{floor} imports {node.module}")
    assert wrong == []


def test_environment_yml_and_pyproject_agree(request):
    root = request.config.rootpath
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = {*project["dependencies"], *(d for e in project["optional-dependencies"].values()
                                          for d in e)}  # fmt: skip
    lines = (root / "environment.yml").read_text(encoding="utf-8").splitlines()
    given = {m.group(1) for line in lines if (m := re.match(r"\s+- ([^\s:]+)$", line))}
    python = f"python{project['requires-python']}"
    assert given - {"conda-forge", "pip", "-e", python} == wanted
    assert python in given
    assert any(line.strip() == "- -e ." for line in lines)


def test_notebooks_are_stripped_and_hold_no_logic(request):
    notebooks = sorted((request.config.rootpath / "notebooks").glob("*.ipynb"))
    assert notebooks
    for path in notebooks:
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        code = [c for c in cells if c["cell_type"] == "code"]
        assert not any(c["outputs"] or c["execution_count"] for c in code), path.name
        logic = (ast.If, ast.For, ast.While, ast.FunctionDef, ast.Try, ast.With, ast.ListComp)
        for cell in code:
            tree = ast.parse("".join(cell["source"]))
            assert not any(isinstance(node, logic) for node in ast.walk(tree)), path.name


def test_readme_opens_with_its_two_commands_and_ci_runs_them(request):
    root = request.config.rootpath
    readme = (root / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"```sh\n(.+?)\n```", readme, re.DOTALL)
    assert len(commands) == 2
    assert commands[0].endswith("report sample_sessions/clinics_customary --out report")
    assert commands[1].endswith("-m pytest")
    script = (root / ".ci" / "run").read_text(encoding="utf-8")
    assert "README.md" in script


def test_files_speak_of_no_machine(request):
    root = request.config.rootpath
    listed = subprocess.run(["git", "ls-files"], cwd=root, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("needs git, an outside program")
    places = re.compile(r"/(?:home|root|Users|tmp|work)/\w")
    texts = [
        (name, (root / name).read_text(encoding="utf-8", errors="ignore"))
        for name in listed.stdout.split()
        if (root / name).is_file() and not name.endswith(".png")
    ]
    assert [name for name, text in texts if places.search(text)] == []


def test_links_between_the_pages_of_the_project_lead_somewhere(request):
    root, found = request.config.rootpath, 0
    for page in (root / "README.md", root / "DEVELOPERS.md", root / "tests/calibration/power.md"):
        for link in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
            if "://" not in link:
                found += 1
                assert (page.parent / link).is_file(), f"{page.name} links to {link}"
    assert found >= 3
