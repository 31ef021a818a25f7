"""A session becomes a folder with one page a person, and one file to print them all from.

The folder holds the pages of one run and no others: those that an earlier run left there are
taken away, and one that is not as a run left it stops everything.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from anthroqa.files import (
    RECORD,
    left_by_last_run,
    read_record,
    sha256,
    sha256_of,
    whole_folder,
    write,
    write_record,
)
from anthroqa.reporting.page import notebooks
from anthroqa.reporting.page.printed import laid_out, pdf_of

if TYPE_CHECKING:
    from anthroqa.reporting.page.html import Html

ALL = "feedback_sheets"
PAPERS = ("A4", "Letter")
_TEMPLATE = Path(__file__).resolve().parents[1] / "page" / "template"
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
_PLAIN = re.compile(r"[A-Za-z0-9_-]{1,40}")


def feedback(session_folder: str | Path, out: str | Path, **parameters: Any) -> Path:
    """Write one page a measurer into `out`, and `feedback_sheets.html` to print all of them.

    Each page is a file of its own, `feedback_CODE.html`, so that it can be given to that person
    alone; with the extra `pdf` every file is there as `.pdf` too. `run.json` says from what they
    were made. `out` holds the pages of one run: those of an earlier one are taken away.

    Parameters
    ----------
    session_folder : str or pathlib.Path
        The session; its files are only read.
    out : str or pathlib.Path
        A folder, made if need be; it changes only once everything is ready.
    **parameters
        Parameters of the notebook `feedback_sheets`, such as `measurer`.

    Returns
    -------
    pathlib.Path
        The file to print from.

    Raises
    ------
    SessionError
        If the session needs attention.
    ValueError
        If a parameter is unknown, the session is a drill or has nobody of that code, `out` is the
        session's own folder, or a page in `out` is not as a run left it.
    """
    folder, out = Path(session_folder).resolve(), Path(out).resolve()
    if out == folder:
        raise ValueError("the pages cannot go into the session's own folder: give another")
    _earlier(out)
    with whole_folder(out) as draft:
        values = {"session_folder": str(folder), "tables_folder": str(draft), **parameters}
        done = notebooks.run(ALL, values)
        record = read_record(draft)
        page = notebooks.to_html(done, title=record["title"])
        write(draft / f"{ALL}.html", page)
        names = record.pop("pages")
        _print(draft, page, list(names.values()), record["parameters"]["paper"])
        made = {path.name for path in draft.iterdir() if path.name != RECORD}
        record["outputs"] = {name: sha256_of(draft / name) for name in sorted(made)}
        write_record(draft, record)
        left = _earlier(out) - made  # somebody may have written meanwhile
    for name in left:
        (out / name).unlink(missing_ok=True)
    return out / f"{ALL}.html"


def save(
    folder: str | Path, title: str, pages: Mapping[str, Html], record: Mapping[str, Any]
) -> None:
    """Write the page of each person into a folder, and `run.json`; nothing for "".

    Raises
    ------
    ValueError
        If the paper in the record's parameters is not known.
    """
    paper = record["parameters"]["paper"]
    if paper not in PAPERS:
        raise ValueError(f"paper is {' or '.join(PAPERS)}, not {paper!r}")
    if not str(folder):
        return
    names = file_names(pages)
    with whole_folder(Path(folder)) as draft:
        for code, name in names.items():
            write(draft / f"{name}.html", document(f"{code}: {title}", pages[code]))
        write_record(draft, {**record, "pages": names})


def style() -> str:
    """How the pages look, on the screen and in print."""
    return (_TEMPLATE / "feedback.css").read_text(encoding="utf-8")


def document(title: str, page: Html) -> str:
    """One person's page as a self-contained document without script."""
    from anthroqa.reporting.page.html import escape

    look = (_TEMPLATE / "page.css").read_text(encoding="utf-8") + style()
    return "\n".join([
        "<!DOCTYPE html>", '<html lang="en"><head><meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(title)}</title><style>{look}</style></head><body><main>",
        page.text, "</main></body></html>", "",
    ])  # fmt: skip


def file_names(codes: Iterable[str]) -> dict[str, str]:
    """A file name without its ending for each code, safe on any disk and each another.

    A code of plain letters, digits, - and _ is in it as it is; any other has what is plain of it,
    and eight digits of its SHA-256, so that it keeps its name whoever else is in the session.

    Examples
    --------
    >>> file_names(["K4", "a/b", "sheets"])
    {'K4': 'feedback_K4', 'a/b': 'feedback_a_b-c14cddc0', 'sheets': 'feedback_sheets-01c01800'}
    """
    names: dict[str, str] = {}
    taken = {ALL}
    for code in codes:
        plain = f"feedback_{code}"
        if not _PLAIN.fullmatch(code) or plain.casefold() in taken:
            bare = re.sub(r"[^A-Za-z0-9_-]+", "_", code)[:24]
            plain = f"feedback_{bare}-{sha256(code.encode())[:8]}"
        while plain.casefold() in taken:
            plain += "-"
        taken.add(plain.casefold())
        names[code] = plain
    return names


def anchor(n: int) -> str:
    """Where the page of a person begins among all pages, from 0."""
    return f"sheet-{n}"


def _earlier(out: Path) -> set[str]:
    """The pages that an earlier run left in a folder, if they are as it left them."""
    there = {p.name for p in out.glob("feedback_*") if p.suffix in (".html", ".pdf")}
    if not there:
        return set()
    known = left_by_last_run(out)
    strange = sorted(n for n in there if known.get(n) != sha256_of(out / n))
    if strange:
        raise ValueError(
            f"not as a run left it in {out.name}: {', '.join(strange[:5])}. Move it away, or give "
            "another folder"
        )
    return there


def _print(draft: Path, text: str, names: list[str], paper: str) -> None:
    """All pages as one PDF, and each person's cut out of it, where the extra `pdf` is installed.

    It is laid out once: that takes as long as everything else.
    """
    sized = text.replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>", 1)
    laid = laid_out(sized)
    if laid is None:
        return
    first = {a: i for i, page in reversed(list(enumerate(laid.pages))) for a in page.anchors}
    starts = [first[anchor(n)] for n in range(len(names))]
    for name, start, end in zip(names, starts, [*starts[1:], len(laid.pages)], strict=True):
        (draft / f"{name}.pdf").write_bytes(pdf_of(laid.copy(laid.pages[start:end])))
    (draft / f"{ALL}.pdf").write_bytes(pdf_of(laid))
