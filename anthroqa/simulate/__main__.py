"""`python -m anthroqa.simulate NAME FOLDER [--rows N]` draws a sample, or large records like it."""

import argparse
from pathlib import Path

from anthroqa.simulate import SAMPLES, routine, write_sample

if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m anthroqa.simulate", description=__doc__)
    parser.add_argument("name", metavar="NAME", choices=[*SAMPLES, routine.NAME])
    parser.add_argument("folder", metavar="FOLDER", type=Path)
    parser.add_argument(
        "--rows", type=int, metavar="N",
        help=f"of {routine.NAME}: how many readings, default {routine.ROWS}",
    )  # fmt: skip
    args = parser.parse_args()
    if args.name == routine.NAME:
        routine.write_records(args.folder, rows=args.rows or routine.ROWS)
    elif args.rows is not None:
        parser.error(f"--rows is for {routine.NAME}")
    else:
        write_sample(args.name, args.folder)
