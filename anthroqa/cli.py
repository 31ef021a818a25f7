"""The command line: parameters in, one call, results out.

Exit codes: 0, it did its work, whatever was found; 2, the data need attention; 1, it failed,
a wrong command line included; 130, it was interrupted. Everything heavy is imported inside the
command that needs it.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from pathlib import Path

# arrays here are small: threads to multiply them cost more than they save; read by numpy at start
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
_DONE, _FAILED, _DATA, _INTERRUPTED = 0, 1, 2, 130


class _Parser(argparse.ArgumentParser):
    """A parser whose errors end with exit code 1: 2 is for data that need attention."""

    def error(self, message: str) -> NoReturn:
        self.print_usage(sys.stderr)
        self.exit(_FAILED, f"{self.prog}: {message}\n")


def _parser() -> _Parser:
    parser = _Parser(
        prog="anthroqa",
        description="Does a trained person now measure well? Audit of a standardisation exercise.",
        epilog="example: anthroqa report sample_sessions/clinics_customary --out report",
    )
    parser.add_argument("--version", action="store_true", help="show the version and stop")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)
    for name, (_, _, help_, _) in _COMMANDS.items():
        commands.add_parser(name, help=help_)  # its options come when it is called
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and give its exit code."""
    os.environ |= dict.fromkeys(_THREADS, "1")
    gc.set_threshold(50_000)  # a command makes much and drops little: look for rubbish less often
    words = list(sys.argv[1:] if argv is None else argv)
    if words and words[0] in _COMMANDS:
        add, run, help_, example = _COMMANDS[words[0]]
        parser = _Parser(
            prog=f"anthroqa {words[0]}", description=help_, epilog=f"example: {example}"
        )
        add(parser)
        return _guarded(run, parser.parse_args(words[1:]))
    args = _parser().parse_args(words)
    if args.version:
        import anthroqa

        print(f"anthroqa {anthroqa.__version__}")
        return _DONE
    _parser().print_help(sys.stderr if words else sys.stdout)
    return _FAILED if words else _DONE


def _guarded(run, args: argparse.Namespace) -> int:
    """Run a command; what stops it is told in plain words."""
    from pathlib import Path

    folder = getattr(args, "folder", None)
    try:
        if folder is not None and not (Path(folder).is_dir() or run is _plan):  # it makes its own
            raise ValueError(f"there is no folder {folder}: give the folder of a session")
        return run(args)
    except KeyboardInterrupt:
        return _INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
        return _FAILED
    except (OSError, ValueError) as error:
        print(f"anthroqa: {error}", file=sys.stderr)
        return _FAILED
    except Exception as error:
        return _stopped(error, getattr(args, "out", None) or (folder if run is _plan else None))


def _add_plan(parser: argparse.ArgumentParser) -> None:
    _add_parameters(parser, "session_plan", "the folder of the session to come, with plan.toml")
    parser.add_argument(
        "--ask", action="store_true", help="ask what plan.toml should say; so it does in a "
        "terminal where there is none",
    )  # fmt: skip


def _plan(args: argparse.Namespace) -> int:
    from pathlib import Path

    from anthroqa.planning.plan import FILE
    from anthroqa.planning.questions import ask_plan
    from anthroqa.reporting.plan.folder import plan

    folder = Path(args.folder)
    there = (folder / FILE).exists()
    try:
        if args.ask and there:
            raise ValueError(f"{folder / FILE} is there already: change it, or give another folder")
        if args.ask or (not there and sys.stdin.isatty()):
            text = ask_plan(input, print)
            folder.mkdir(parents=True, exist_ok=True)
            (folder / FILE).write_text(text, encoding="utf-8", newline="")
        written = plan(folder, **_chosen(args))
    except EOFError:
        raise ValueError("the answers ended before the plan did; nothing was written") from None
    print(*written, sep="\n")
    if not any(path.suffix == ".pdf" for path in written):
        _without_pdf("sheets")
    return _DONE


def _without_pdf(name: str) -> None:
    """Say what to print instead."""
    print(
        f"There is no {name}.pdf: it needs the extra pdf (see README). Print {name}.html from a "
        "browser: it is the same.", file=sys.stderr,
    )  # fmt: skip


def _add_folder(parser: argparse.ArgumentParser, what: str = "the folder of the session") -> None:
    parser.add_argument("folder", metavar="FOLDER", help=what)


def _add_check(parser: argparse.ArgumentParser) -> None:
    _add_folder(parser)
    parser.add_argument(
        "--follow", action="store_true", help="look again whenever a file changes, until Ctrl-C"
    )


def _check(args: argparse.Namespace) -> int:
    from anthroqa.reporting.check.following import follow
    from anthroqa.reporting.check.listing import check

    plain = not _shows("\u2588\u2591")
    if not args.follow:
        listing, attention = check(args.folder, plain=plain)
        print(listing)
        return _DATA if attention else _DONE
    found = False
    clear = "\033[2J\033[H" if sys.stdout.isatty() else f"{'-' * 72}\n"
    try:
        for listing, attention in follow(args.folder, plain=plain):
            found = attention
            print(clear + listing, end="\n\n", flush=True)
    except KeyboardInterrupt:
        pass
    return _DATA if found else _DONE


def _shows(text: str) -> bool:
    """Whether the screen can show these characters."""
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def _add_score(parser: argparse.ArgumentParser) -> None:
    _add_folder(parser)
    parser.add_argument("--format", choices=("csv", "json"), default="csv", help="default csv")
    parser.add_argument(
        "--confidence", type=float, default=0.90, help="coverage of every interval, default 0.90"
    )
    parser.add_argument("--seed", type=int, default=0, help="for random draws, default 0")
    parser.add_argument("--only", metavar="NAME,NAME", help="these statistics only")


def _score(args: argparse.Namespace) -> int:
    import anthroqa
    from anthroqa.reporting.page.outputs import csv_text, json_text

    only = None if args.only is None else [n.strip() for n in args.only.split(",")]
    session = anthroqa.read_session(args.folder)
    scores = anthroqa.score(session, confidence=args.confidence, seed=args.seed, only=only)
    sys.stdout.write(csv_text(scores) if args.format == "csv" else json_text(scores))
    return _DONE


def _add_notebook(parser: argparse.ArgumentParser, notebook: str) -> None:
    """What every page of a session needs."""
    _add_parameters(parser, notebook)
    parser.add_argument("--out", metavar="DIR", required=True, help="the folder to write into")


def _add_parameters(
    parser: argparse.ArgumentParser, notebook: str, what: str = "the folder of the session"
) -> None:
    """The folder, and the parameters of a notebook."""
    _add_folder(parser, what)
    _add_options(parser, notebook, leave=("session_folder",))


def _add_options(parser: argparse.ArgumentParser, notebook: str, *, leave: Sequence[str]) -> None:
    """The parameters of a notebook, without those that have an argument of their own."""
    from anthroqa.reporting.page.notebooks import parameters

    kinds = {"float": float, "int": int, "str": str}
    for p in parameters(notebook):
        if p.name not in (*leave, "tables_folder"):
            parser.add_argument(
                f"--{p.name.replace('_', '-')}", dest=f"set_{p.name}", type=kinds[p.type],
                metavar=p.type.upper(), default=p.default,
                help=p.help if p.default == "" else f"{p.help}, default {p.default}",
            )  # fmt: skip


def _chosen(args: argparse.Namespace) -> dict[str, object]:
    """What was chosen of a notebook's parameters."""
    return {k.removeprefix("set_"): v for k, v in vars(args).items() if k.startswith("set_")}


def _feedback(args: argparse.Namespace) -> int:
    from pathlib import Path

    end = _page("feedback", args)
    if end == _DONE and not Path(args.out, "feedback_sheets.pdf").is_file():
        _without_pdf("feedback_sheets")
    return end


def _add_review(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folders", metavar="FOLDER", nargs="+",
        help="folders of sessions, or a folder that holds them",
    )  # fmt: skip
    _add_options(parser, "staff_review", leave=("program_folders",))
    parser.add_argument("--out", metavar="DIR", required=True, help="the folder to write into")


def _review(args: argparse.Namespace) -> int:
    from anthroqa.reporting.staff.folder import left_out, review

    return _shown(review(args.folders, args.out, **_chosen(args)), left_out(args.out))


def _add_records(parser: argparse.ArgumentParser) -> None:
    from anthroqa.reporting.page.notebooks import parameters

    page = {p.name: p for p in parameters("routine_records")}
    parser.add_argument(
        "source", metavar="SOURCE", help="Parquet or CSV files ('records/*.parquet'), a folder of "
        "them, a counts file, or a database as in postgresql://host/name",
    )  # fmt: skip
    for option, name, metavar, help_ in (
        (
            "--recorded-to", "recorded_to", "MEASURE=STEP",
            "the step of each measure, as in infant_weight='1 oz'",
        ),
        (
            "--range", "ranges", "MEASURE=RANGE",
            "what is possible, as in infant_weight='3 lb to 45 lb'",
        ),
        (
            "--column", "columns", "NAME=COLUMN",
            "what the source calls measurer, measure, reading, taken_at, site, instrument or "
            "visit_key",
        ),
    ):  # fmt: skip
        parser.add_argument(
            option, dest=name, metavar=metavar, nargs="+", action="extend", default=[], help=help_
        )
    parser.add_argument("--table", default="", help="that holds the records, in a database")
    parser.add_argument(
        "--clusters", choices=("day", "none"), help="count days too, to allow for readings of a "
        "day that are alike; default day for a page, none with --tally-only",
    )  # fmt: skip
    confidence = page["confidence"]
    parser.add_argument(
        "--confidence", type=float, default=confidence.default,
        help=f"{confidence.help}, default {confidence.default}",
    )  # fmt: skip
    parser.add_argument(
        "--tally-only", action="store_true", help="write counts.csv for somebody else to audit"
    )
    parser.add_argument("--show-sql", action="store_true", help="print the query and stop")
    parser.add_argument("--out", metavar="DIR", help="the folder to write into")


def _records(args: argparse.Namespace) -> int:
    from anthroqa.program.routine.counting.progress import Progress
    from anthroqa.reporting.routine.folder import counts_only, records, shown_sql

    clusters = args.clusters or ("none" if args.tally_only else "day")
    asked = {name: "; ".join(getattr(args, name)) for name in ("recorded_to", "ranges", "columns")}
    asked |= {"table": args.table, "clusters": clusters.removeprefix("none")}
    if args.show_sql:
        print(shown_sql(args.source, **asked))
        return _DONE
    if args.out is None:
        raise ValueError("say where to write with --out DIR")
    if not args.tally_only:
        asked["confidence"] = args.confidence
    make = counts_only if args.tally_only else records
    return _shown(*make(args.source, args.out, progress=Progress(sys.stderr), **asked))


def _shown(page: Path, problems: Sequence[object]) -> int:
    """Say where a page is, and what was left out of it."""
    print(page)
    print(*problems, sep="\n", end="\n" if problems else "", file=sys.stderr)
    return _DATA if problems else _DONE


def _page(name: str, args: argparse.Namespace) -> int:
    """Make a page and say where it is, or what stopped it."""
    import anthroqa

    print(getattr(anthroqa, name)(args.folder, args.out, **_chosen(args)))
    return _DONE


def _stopped(error: Exception, out: str | None) -> int:
    """Say what stopped a command; data that need attention are no failure."""
    from anthroqa import SessionError

    if not isinstance(error, SessionError):
        print(f"anthroqa: it stopped: {type(error).__name__}: {error}", file=sys.stderr)
        return _FAILED
    print(error, file=sys.stderr)
    if out is not None:
        print(f"\nNothing was written to {out}.", file=sys.stderr)
    return _DATA


_COMMANDS = {
    "plan": (
        _add_plan, _plan, "make a session folder from its plan: order, sheets, workbook, chances",
        "anthroqa plan spring_north",
    ),
    "check": (
        _add_check, _check, "list what needs attention in a session folder",
        "anthroqa check sample_sessions/outreach_metric",
    ),
    "score": (
        _add_score, _score, "print the table of figures",
        "anthroqa score sample_sessions/outreach_metric --only within_tem,bias",
    ),
    "report": (
        partial(_add_notebook, notebook="session_report"), partial(_page, "report"),
        "make the report of a session",
        "anthroqa report sample_sessions/outreach_metric --out report",
    ),
    "drill": (
        partial(_add_notebook, notebook="marks_drill"), partial(_page, "drill"),
        "say who reads which marks, and how, from a read-back drill",
        "anthroqa drill sample_sessions/marks_drill --out drill",
    ),
    "feedback": (
        partial(_add_notebook, notebook="feedback_sheets"), _feedback,
        "make one page for each measurer, with their own readings only",
        "anthroqa feedback sample_sessions/clinics_customary --out feedback",
    ),
    "review": (
        _add_review, _review, "follow staff, reference and instruments over many sessions",
        "anthroqa review sample_sessions/four_quarters --out review",
    ),
    "records": (
        _add_records, _records, "audit digits and rounding of routine records, from counts",
        "anthroqa records sample_sessions/valley_records --recorded-to infant_weight='1 oz' "
        "infant_length='1/8 in' adult_weight='1/4 lb' --out audit",
    ),
}  # fmt: skip
