"""What needs attention in a session folder, in words for the trainer's screen?

No value of a reading that is to be taken again is shown: its reader must not see it.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from anthroqa.decisions import take_again, too_fine
from anthroqa.decisions.retakes import CAPPED, PAIR, STILL, STOPPED, pair_limit
from anthroqa.intake import Look, Problem, Session, look
from anthroqa.intake.tables.problems import one_line
from anthroqa.reporting.page import wording
from anthroqa.reporting.page.wording import counted, exact, label, limit_of, listed

LOCKS = ("~$", ".~lock.")  # what spreadsheet programs leave beside a file that is open
_WIDE, _BAR = 78, 20  # characters
_FULL, _REST = ("\u2588", "\u2591"), ("#", ".")
_HEADS = {
    "": "To take again while the child is here",
    STILL: "Taken again and still too far, to be taken once more at most",
    CAPPED: "Not to be taken again, for the cap of handlings is reached",
    STOPPED: "Not to be taken again, for a stop code stands there",
}


def check(folder: str | Path, *, plain: bool = False) -> tuple[str, bool]:
    """The listing of a folder, and whether anything in it needs attention.

    `plain` keeps to characters that every screen can show.
    """
    return listing_of(look(folder), Path(folder), plain=plain)


def listing_of(found: Look, folder: Path, *, plain: bool) -> tuple[str, bool]:
    """The listing of what was found in a folder, and whether anything needs attention."""
    parts = ["\n".join(_entered(found, plain))]
    if found.problems:
        parts += [_paragraph(problem) for problem in found.problems]
        parts.append(f"{counted(len(found.problems), 'problem')}.")
    again = pd.DataFrame() if found.session is None else take_again(found.session)
    lines = [] if found.session is None else list(_remarks(found.session, found.problems))
    lines += [f"{name} is open in a spreadsheet program: what is not saved is not seen here."
              for name in open_elsewhere(folder)]  # fmt: skip
    parts.append("\n".join(map(_wrapped, lines)))
    if len(again):
        parts.append("\n".join(_again(again, found.session)))
    listing = "\n\n".join(filter(None, parts)) or "Nothing is entered yet."
    return listing, bool(len(again) or found.problems)


def open_elsewhere(folder: Path) -> list[str]:
    """Files of the folder that a spreadsheet program holds open, by what it leaves beside them."""
    names = [path.name for path in folder.glob("*")] if folder.is_dir() else []
    return sorted(
        name for name in names
        if any(f"{lock}{name}" in names or f"{lock}{name}#" in names for lock in LOCKS)
    )  # fmt: skip


def _entered(found: Look, plain: bool) -> Iterator[str]:
    """How far the entry is, a bar a round, as long as anything is not entered."""
    progress = found.progress
    done = progress["planned"].sum() == progress["entered"].sum()
    if progress.empty or (done and not (found.second and progress["twice"].any())):
        return
    rounds = progress.groupby("round", sort=False)[["planned", "entered", "twice"]].sum()
    for turn, row in rounds.iterrows():
        typed = f"{_bar(row['entered'], row['planned'], plain)} {row['entered']} of "
        twice = f", typed twice {row['twice']}" if found.second else ""
        yield one_line(f"Round {turn}  {typed}{row['planned']} entered{twice}")
    behind = progress[(progress["entered"] > 0) & (progress["entered"] < progress["planned"])]
    for row in behind.itertuples():
        left = row.planned - row.entered
        yield one_line(f"  {row.measurer}, round {row.round}: {left} not entered")


def _bar(part: int, whole: int, plain: bool) -> str:
    full, rest = _REST if plain else _FULL
    n = int(_BAR * part // whole)
    return full * n + rest * (_BAR - n)


def _remarks(session: Session, problems: tuple[Problem, ...]) -> Iterator[str]:
    """What was passed over, what is not set, and how much was read."""
    yield from (f"{file}: {text}." for file, text in session.notices)
    if session.unused:
        yield f"Columns not used: {listed(session.unused)}."
    unlimited = [label(n) for n, m in session.measures.items() if pair_limit(m) is None]
    if unlimited:
        yield (
            f"No limit_pair is set for {listed(unlimited)}, nor expected_tem: if the program has a "
            "rule for taking readings again, write it into session.toml."
        )
    for row in too_fine(session).itertuples():
        yield wording.too_fine(row, session.measures[row.measure])
    lost = len(session.missing) + len(session.absent)
    missing = f", {lost} missing" if lost else ""
    people = counted(session.readings["measurer"].nunique(), "person", "people")
    read = f"{counted(len(session.readings), 'reading')} by {people}{missing}"
    yield f"{read}, read {'beside these problems' if problems else 'without a problem'}."


def _again(again: pd.DataFrame, session: Session) -> Iterator[str]:
    """What to take again, by subject, so that a child is called once."""
    for note, head in _HEADS.items():
        rows = again[again["note"] == note]
        if rows.empty:
            continue
        yield f"{head}: {counted(rows['subject'].nunique(), 'subject')}."
        for subject, of in sorted(rows.groupby("subject"), key=lambda one: _natural(one[0])):
            what = "; ".join(
                f"{label(r.measure)} by {r.measurer}, "
                f"{'rounds' if ',' in r.rounds else 'round'} {listed(r.rounds.split(', '))}"
                for r in sorted(of.itertuples(), key=lambda r: _natural(r.measurer))
            )
            yield _wrapped(f"{subject}: {what}.", "  ", "      ")
    for name in dict.fromkeys(again["measure"]):
        yield _wrapped(_rule(again[again["measure"] == name], session))
    if again["note"].isin(["", STILL]).any():
        yield _wrapped(
            "Take them again without showing the first readings; write each on a new row with 1 "
            "in the column retake (2, if it was taken again before). Figures keep the first. With "
            "competent staff about one in twenty comes up by chance (one pair in twelve, where "
            "one mark is as much as the expected error)."
        )


def _natural(code: str) -> list[tuple[bool, int, str]]:
    """A code's place among others, A2 before A11."""
    parts = re.split(r"(\d+)", code)
    return [(p.isdecimal(), int(p) if p.isdecimal() else 0, p) for p in parts]


def _rule(rows: pd.DataFrame, session: Session) -> str:
    """What was too far in a measure."""
    measure = session.measures[rows["measure"].iloc[0]]
    if measure.limit_pair is not None:
        limit = limit_of(measure, "limit_pair")
    else:
        far = exact(pair_limit(measure))
        limit = f"{far} {measure.step.unit} (2.77 times the expected error)"
    kinds = []
    if (rows["kind"] == PAIR).any():
        kinds.append(f"two readings further apart than {limit}")
    if (rows["kind"] != PAIR).any():
        kinds.append(
            "a reading as far, for one, from what the others read" if kinds
            else f"a reading too far from what the others read, for a limit of {limit} between two"
        )  # fmt: skip
    return f"{label(measure.name)}: {' or '.join(kinds)}."


def _paragraph(problem: Problem) -> str:
    """One problem for a narrow screen: where, then what is wrong and what to do."""
    words = str(problem).removeprefix(problem.place).strip()
    return f"{problem.place}\n{_wrapped(words, ' ' * 4, ' ' * 4)}"


def _wrapped(text: str, first: str = "", later: str = "  ") -> str:
    """A text that stays readable on a screen of 80 columns; no code or file name is broken."""
    return textwrap.fill(
        one_line(text), _WIDE, initial_indent=first, subsequent_indent=later,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
