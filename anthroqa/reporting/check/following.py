"""What is new in a session folder, as long as the trainer has it open?"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

from anthroqa.intake import Look, look
from anthroqa.notes.intake.problems import Unopened
from anthroqa.notes.intake.settings import UnreadableToml
from anthroqa.reporting.check.listing import LOCKS, listing_of

_PATIENCE = 4  # looks at a file that cannot be opened before that is told: it may be being saved


def follow(
    folder: str | Path, *, every: float = 1.0, plain: bool = False
) -> Iterator[tuple[str, bool]]:
    """The listing now, and again whenever a file of the folder has changed."""
    folder = Path(folder)
    before, waited = None, 0
    while True:
        now = _stamps(folder)
        if now != before:
            found = look(folder)
            if _half_saved(found) and before is not None and waited < _PATIENCE:
                waited += 1
            else:
                before, waited = now, 0
                yield listing_of(found, folder, plain=plain)
        time.sleep(every)


def _half_saved(found: Look) -> bool:
    """Whether a file was there in part only, as while it is being saved."""
    return any(
        isinstance(p.code, Unopened) or (p.row is None and isinstance(p.code, UnreadableToml))
        for p in found.problems
    )


def _stamps(folder: Path) -> dict[str, tuple[int, int]]:
    """Size and time of each file; one that is just being replaced, and locks, are left out."""
    stamps = {}
    for path in sorted(folder.glob("*")):
        if path.name.startswith(LOCKS) or path.suffix == ".tmp":
            continue
        try:
            stat = path.stat()
        except OSError:
            continue
        stamps[path.name] = (stat.st_mtime_ns, stat.st_size)
    return stamps
