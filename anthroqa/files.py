"""How do files appear: whole or not at all, and with a record of what they were made from?"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import platform
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import Any

RECORD = "run.json"  # beside a page: from which files, with which versions, it was made
# tables that are called otherwise now: one of an earlier version beside new ones would mislead
_RENAMED = {
    "leads.csv": "mark_findings.csv",
    "kit_figures.csv": "instrument_figures.csv",
    "flags.csv": "named.csv",
}
_LIBRARIES = ("matplotlib", "numpy", "pandas", "scipy")


def sha256(data: bytes) -> str:
    """The SHA-256 of some bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file's bytes, read a piece at a time."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def write(path: Path, text: str) -> None:
    """Write text as UTF-8, its line ends as they are."""
    path.write_text(text, encoding="utf-8", newline="")


def run_record(
    name: str, title: str, date: dt.date | None, inputs: Mapping[str, str],
    parameters: Mapping[str, Any],
) -> dict[str, Any]:  # fmt: skip
    """Hashes of the inputs, versions and parameters; no clock time, host, user or path."""
    import anthroqa

    versions = {"anthroqa": anthroqa.__version__, "python": platform.python_version()}
    versions |= {library: version(library) for library in _LIBRARIES}
    return {
        "session": name,
        "title": title,
        "date": date.isoformat() if date else None,
        "inputs": dict(sorted(inputs.items())),
        "parameters": dict(parameters),
        "versions": versions,
    }


def write_record(folder: Path, record: Mapping[str, Any]) -> None:
    """Write the record of a run into a folder."""
    write(folder / RECORD, json.dumps(record, indent=2, ensure_ascii=False) + "\n")


def read_record(folder: Path) -> dict[str, Any]:
    """The record of the last run in a folder; empty where none can be read."""
    try:
        return dict(json.loads((folder / RECORD).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return {}


def left_by_last_run(folder: Path) -> dict[str, str]:
    """The hash of each file that the last run wrote into a folder, as its record says."""
    outputs = read_record(folder).get("outputs")
    return dict(outputs) if isinstance(outputs, dict) else {}


@contextmanager
def whole_folder(out: Path) -> Iterator[Path]:
    """A draft folder whose files replace those of `out` together, once all are there.

    If anything fails before that, `out` is as it was. Other files in `out` stay; a table of an
    old name stops everything.
    """
    if out.exists() and not out.is_dir():
        raise FileExistsError(f"{out.name} is a file: give the name of a folder")
    if old := [f"{name} (now {new})" for name, new in _RENAMED.items() if (out / name).exists()]:
        raise ValueError(
            f"{out.name} holds tables of an earlier version: {', '.join(old)}. Move them out, or "
            "give another folder"
        )
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
    except OSError as error:
        raise OSError(f"nothing can be written to {out}: {error.strerror}") from error
    try:
        yield draft
        if out.exists():
            _replace(draft, out)
        else:
            draft.chmod(0o755)
            draft.rename(out)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def _replace(draft: Path, out: Path) -> None:
    """Put every file of the draft in its place; on a failure put the earlier ones back."""
    earlier = draft / "earlier"
    made = sorted(p.name for p in draft.iterdir())
    earlier.mkdir()
    done = []
    try:
        for name in made:
            if (out / name).exists():
                (out / name).rename(earlier / name)
            done.append(name)
            (draft / name).rename(out / name)
    except OSError:
        for name in done:
            (out / name).unlink(missing_ok=True)
            if (earlier / name).exists():
                (earlier / name).rename(out / name)
        raise
