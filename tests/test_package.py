"""The house: what is public, what imports what, and what the files at the top agree on."""

import ast
import json
import re
import subprocess
import sys
import tomllib

import pytest

import anthroqa

FACES = ["intake", "scores", "decisions", "planning", "program", "reporting"]


def test_all_is_what_the_package_offers_and_everything_in_it_loads():
    assert anthroqa.__all__ == sorted(anthroqa.__all__)
    assert set(anthroqa.__all__) == set(anthroqa._HOME)
    assert all(getattr(anthroqa, name).__doc__ for name in anthroqa.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'grade'"):
        anthroqa.grade  # noqa: B018


@pytest.mark.parametrize("room", FACES)
def test_all_of_each_floor_loads(room):
    module = __import__(f"anthroqa.{room}", fromlist=["x"])
    assert module.__all__ == sorted(module.__all__)
    assert all(hasattr(module, name) for name in module.__all__)


def test_importing_the_package_and_the_runner_of_notebooks_loads_nothing_heavy():
    code = "import anthroqa, anthroqa.cli, anthroqa.reporting, sys; print(*sys.modules)"
    run = [sys.executable, "-c", code]
    loaded = subprocess.run(run, capture_output=True, text=True, check=True).stdout.split()
    assert not {"numpy", "pandas", "matplotlib", "scipy", "papermill"} & set(loaded)


def the_house(root):
    """From DEVELOPERS.md: the rooms from the lowest up, and the order of those inside one."""
    text = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    floors = re.findall(r"^\| ([0-9-]) \| `anthroqa/([\w/]+)(?:\.py|/)` \|", text, re.MULTILINE)
    inside = re.findall(r"^\| `anthroqa/([\w/]+)/` \| ((?:`\w+` ?)+)\|", text, re.MULTILINE)
    assert len(floors) == 12
    assert len(inside) == 4
    order = {f"{room}/{name}": (room, place)
             for room, names in inside
             for place, name in enumerate(re.findall(r"`(\w+)`", names))}  # fmt: skip
    return [room for _, room in floors], order


def modules_of(package):
    """Every module by its path in the package, and what it imports of the package."""
    known = {p.relative_to(package).with_suffix("").as_posix() for p in package.rglob("*.py")}
    found = {}
    for name in sorted(known):
        tree = ast.parse((package / f"{name}.py").read_text(encoding="utf-8"))
        there = set()
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("anthroqa."):
                base = "/".join(node.module.split(".")[1:])
                there |= {
                    f"{base}/{alias.name}" if f"{base}/{alias.name}" in known
                    else f"{base}/{alias.name}/__init__" if f"{base}/{alias.name}/__init__" in known
                    else base if base in known else f"{base}/__init__"
                    for alias in node.names
                }  # fmt: skip
        found[name] = there & known - {name}
    return found


def in_room(rooms, name):
    """The innermost of some rooms that a module stands in, or the room that it is."""
    return max((r for r in rooms if name == r or name.startswith(f"{r}/")), key=len, default=None)


def test_every_module_stands_in_a_room_and_data_flows_one_way(request):
    floors, order = the_house(request.config.rootpath)
    wrong = []
    for name, there in modules_of(request.config.rootpath / "anthroqa").items():
        if name in ("__init__", "__main__", "program/__init__"):
            continue  # faces of more than one room
        room = in_room(floors, name)
        if room is None:
            wrong.append(f"{name} stands in no room")
            continue
        for other in there - {"__init__"}:
            below = in_room(floors, other)
            later = below is None or floors.index(below) > floors.index(room)
            wrong += [f"{name} imports {other}"] * later
        for other in there:
            (whole, own), (_, theirs) = (order.get(in_room(order, n), (None, -1))
                                         for n in (name, other))  # fmt: skip
            inside = whole and other.startswith(f"{whole}/")
            if inside and (in_room(order, other) is None or theirs > own):
                wrong.append(f"{name} imports {other}, which stands after it")
    assert wrong == []


def test_there_is_no_circle_and_no_module_is_named_like_what_it_holds(request):
    package = request.config.rootpath / "anthroqa"
    modules = {n: t for n, t in modules_of(package).items() if not n.endswith("__init__")}
    left = {name: {t for t in there if t in modules} for name, there in modules.items()}
    while free := [name for name, there in left.items() if not there]:
        left = {n: t - set(free) for n, t in left.items() if n not in free}
    assert left == {}
    for name in modules:
        tree = ast.parse((package / f"{name}.py").read_text(encoding="utf-8"))
        held = {n.name for n in tree.body if isinstance(n, (ast.FunctionDef, ast.ClassDef))}
        assert name.rpartition("/")[2] not in held


def test_rooms_of_one_floor_and_what_they_answer_are_where_the_table_says(request):
    package = request.config.rootpath / "anthroqa"
    _, order = the_house(request.config.rootpath)
    for room in {whole for whole, _ in order.values()}:
        there = {p.parent.relative_to(package).as_posix() for p in package.glob(f"{room}/*/*.py")}
        assert there == {name for name in order if name.startswith(f"{room}/")}


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
