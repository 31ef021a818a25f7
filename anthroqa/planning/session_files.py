"""What goes into the folder of a planned session, and may it be written?

A plan may be made again as often as its maker likes, until somebody has typed into it: a file
that is not as the last plan left it is never replaced, nor is a folder with readings.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import tomli_w

from anthroqa.intake import SessionError
from anthroqa.intake.tables.problems import whole_file
from anthroqa.planning.plan import FILE, PLAN_KEYS, PLAN_MEASURE_KEYS, Plan

RECORD = "run.json"  # holds the hash of every file that the plan wrote, as `outputs`


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


def sha256(path: Path) -> str:
    """The hash of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


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
            problems.append(
                whole_file(name, "a folder stands where this file goes", "Move it out.")
            )
        elif name.startswith("readings.") and left.get(name) != sha256(path):
            problems.append(whole_file(
                name, "this file holds readings, or may hold some", "Nothing was written. Plan "
                "into another folder: copy plan.toml there.",
            ))  # fmt: skip
        elif left.get(name) != sha256(path):
            problems.append(whole_file(
                name, "this file is not as a plan left it",
                f"Nothing was written. Take what was changed over into {FILE}, move this file "
                "out of the folder, and plan again.",
            ))  # fmt: skip
    if problems:
        raise SessionError(problems)


def _left_by_a_plan(folder: Path) -> dict[str, str]:
    """The hash of each file that the last plan wrote, that of the record among them."""
    try:
        record: Any = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        outputs = dict(record["outputs"])
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return {**outputs, RECORD: sha256(folder / RECORD)}
