"""What goes into the folder of a planned session, and may it be written?

A plan may be made again as often as its maker likes, until somebody has typed into it: a file
that is not as the last plan left it is never replaced, nor is a folder with readings.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import tomli_w

from anthroqa.files import RECORD, left_by_last_run, sha256_of
from anthroqa.intake import SessionError
from anthroqa.intake.tables.problems import whole_file
from anthroqa.notes.planning import InTheFolder
from anthroqa.planning.plan import PLAN_KEYS, PLAN_MEASURE_KEYS, Plan


def session_toml(plan: Plan) -> str:
    """The text of `session.toml`: the plan without what only a plan needs."""
    table = {k: v for k, v in plan.raw.items() if k not in PLAN_KEYS}
    table |= {"title": plan.title, "handling_cap": plan.handling_cap}
    table["measure"] = {
        name: {k: v for k, v in of.items() if k not in PLAN_MEASURE_KEYS}
        for name, of in plan.raw["measure"].items()
    }
    tables = {k: v for k, v in table.items() if isinstance(v, dict)}
    return tomli_w.dumps({k: v for k, v in table.items() if k not in tables} | tables)


def check_free(folder: str | Path, files: Iterable[str]) -> None:
    """Nothing in the folder that a plan would replace holds anybody's work.

    Raises
    ------
    SessionError
        If there are readings, or one of `files` is not as the last plan left it.
    """
    folder = Path(folder)
    left = _left_by_a_plan(folder)
    problems = []
    for name in ["readings.csv", *files]:
        path = folder / name
        if not path.exists():
            continue
        if path.is_dir():
            problems.append(whole_file(name, InTheFolder.FOLDER_IN_ITS_PLACE))
        elif name.startswith("readings.") and left.get(name) != sha256_of(path):
            problems.append(whole_file(name, InTheFolder.HOLDS_READINGS))
        elif left.get(name) != sha256_of(path):
            problems.append(whole_file(name, InTheFolder.CHANGED))
    if problems:
        raise SessionError(problems)


def _left_by_a_plan(folder: Path) -> dict[str, str]:
    """The hash of each file that the last plan wrote, that of the record among them."""
    outputs = left_by_last_run(folder)
    return {**outputs, RECORD: sha256_of(folder / RECORD)} if outputs else {}
