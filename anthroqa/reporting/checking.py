"""What needs attention in a session folder, in words for the trainer's screen?

No value of a reading that is to be taken again is shown: its reader must not see it.
"""

from __future__ import annotations

import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

from anthroqa.decisions import take_again, too_fine
from anthroqa.intake import Problem, SessionError, read_session
from anthroqa.intake.problems import one_line
from anthroqa.reporting import wording
from anthroqa.reporting.wording import counted, label, limit_of, listed


def check(folder: str | Path) -> tuple[str, bool]:
    """The listing of a folder, and whether anything in it needs attention."""
    try:
        session = read_session(folder)
    except SessionError as error:
        told = [_paragraph(problem) for problem in error]
        return "\n\n".join([*told, f"{counted(len(told), 'problem')}."]), True
    again = [
        f"Take again: {label(r.measure)} of subject {r.subject} by {r.measurer}: rounds "
        f"{r.rounds} are further apart than {limit_of(session.measures[r.measure], 'limit_pair')}."
        for r in take_again(session).itertuples()
    ]
    unlimited = [label(n) for n, m in session.measures.items() if m.limit_pair is None]
    lines = [f"{file}: {text}." for file, text in session.notices]
    if session.unused:
        lines.append(f"Columns not used: {listed(session.unused)}.")
    if unlimited:
        lines.append(
            f"No limit_pair is set for {listed(unlimited)}: if the program has a rule for taking "
            "readings again, write it into session.toml."
        )
    lines += [
        wording.too_fine(row, session.measures[row.measure])
        for row in too_fine(session).itertuples()
    ]
    lost = len(session.missing) + len(session.absent)
    missing = f", {lost} missing" if lost else ""
    people = counted(session.readings["measurer"].nunique(), "person", "people")
    lines.append(
        f"{counted(len(session.readings), 'reading')} by {people}{missing}, read without a problem."
    )
    if again:
        lines.append(
            f"To take again while the child is here: {len(again)}. Take both rounds again without "
            "showing the first readings, and write 1 in the column retake; figures keep the first."
        )
    return "\n".join(map(one_line, lines + again)), bool(again)


def _paragraph(problem: Problem) -> str:
    """One problem for a narrow screen: where, then what is wrong and what to do."""
    words = str(problem).removeprefix(problem.place).strip()
    indent = " " * 4
    return "\n".join([
        problem.place,
        *textwrap.wrap(words, 92, initial_indent=indent, subsequent_indent=indent),
    ])  # fmt: skip


def follow(folder: str | Path, *, every: float = 1.0) -> Iterator[tuple[str, bool]]:
    """The listing now, and again whenever a file of the folder has changed."""
    before = None
    while True:
        now = _stamps(Path(folder))
        if now != before:
            before = now
            yield check(folder)
        time.sleep(every)


def _stamps(folder: Path) -> dict[str, tuple[int, int]]:
    """Size and time of each file; one that is just being replaced is left out."""
    stamps = {}
    for path in sorted(folder.glob("*")):
        try:
            stat = path.stat()
        except OSError:
            continue
        stamps[path.name] = (stat.st_mtime_ns, stat.st_size)
    return stamps
