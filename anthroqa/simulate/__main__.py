"""`python -m anthroqa.simulate NAME FOLDER [--rows N]` draws a sample, or large records like it."""

import argparse
from pathlib import Path

from anthroqa.simulate import SAMPLES, records, write_sample

if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m anthroqa.simulate", description=__doc__)
    parser.add_argument("name", metavar="NAME", choices=[*SAMPLES, records.NAME])
    parser.add_argument("folder", metavar="FOLDER", type=Path)
    parser.add_argument(
        "--rows", type=int, metavar="N",
        help=f"of {records.NAME}: how many readings, default {records.ROWS}",
    )  # fmt: skip
    args = parser.parse_args()
    if args.name == records.NAME:
        records.write_records(args.folder, rows=args.rows or records.ROWS)
    elif args.rows is not None:
        parser.error(f"--rows is for {records.NAME}")
    else:
        write_sample(args.name, args.folder)
