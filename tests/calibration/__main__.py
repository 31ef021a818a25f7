"""The long study behind the figures of README.md and `power.md`.

From the top of the project: `PYTHONPATH=tests python -m calibration --sessions 150`. It writes
`power.md` with `power.png`, `whose_error.md`, `planned.md`, `program.md` and `records.md` beside
itself, the same for the same seed; with `--page` one of them.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import pandas as pd
from calibration import (
    components,
    digits,
    drill,
    known_loads,
    likeness,
    patterns,
    planning,
    program,
    records,
    records_changes,
    resolved,
    shifts,
    slips,
)  # fmt: skip
from calibration.sessions import DESIGNS
from matplotlib.figure import Figure

HERE = Path(__file__).parent
SHARES, SUBJECTS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.8), (6, 10, 20, 30)
_STYLES = dict(zip(SUBJECTS, (":", "-.", "--", "-"), strict=True))

_PAGE = """\
# What drawn sessions say of the tests of marks, repeats and drills

{sessions} sessions a row (a third of that for the curves), seed {seed}; made by
`PYTHONPATH=tests python -m calibration --sessions {sessions}`. Truth is known here, so every
wrong name is counted. *Honest* people read every mark to the nearest; a *leaner* puts each reading
by chance 0.6 on the half mark (0.5 cm, 0.5 kg, whole 0.1 kg, 1/2 in, 4 oz). Nominal risk 5 %.

## How strong must a habit be to be named?

![Share of leaners named, by share of readings on the half mark and number of subjects](power.png)

Two of eight staff lean ({leaners} leaners a point); named means p at or under 0.05 / 8 for the
largest contrast.

{power}

## Marks: how often chance speaks, how often a leaner is found

`honest_marks`, `honest_digits`: honest people with p at or under 0.05 by the largest contrast of
a coarse mark and by the dissimilarity of digits. `found_marks`: leaners at or under 0.05 / 8.
`covered`: intervals (0.90) of the share that hold the planted 0.6.

{digits}

## The repeat error behind the rounding

{resolved}

## Second readings

{likeness}

## Drills

{drill}
"""


_WHOSE = """\
# What drawn sessions say of whose error it is

{sessions} sessions a row, seed {seed}; made by
`PYTHONPATH=tests python -m calibration --page whose_error --sessions {sessions}`.
Truth is known here, so every wrong name is counted.

## A shift of one TEM that everybody shares

Shares of staff with another state than in the same session without the shift, by limit in TEMs;
`reread`: than without an amount added to every round, which is nobody's shift but is read off
other marks. `above_*`, `below_*`: intervals judged on that lie wholly on one side of the TEM.

{shifts}

## Variance components

Share of intervals (0.90) that hold the truth in four times as many sessions a row; everybody reads
one TEM higher in round 2. `spread` and `apart` are the SDs of measurers and of measurer with
subject, in TEMs; `chi2` is `between_tem` on chi-squared with its df, for comparison.

{components}

## Patterns to watch for where nothing was planted

`lines`: share of staff and measures that get one; `skewness`, `repeat`: those of these figures.

{nothing_planted}

## Patterns where one of five staff has a fault

`found`: sessions in which the line is there; `others`: share of the other staff with any.

{patterns}

## The reference, with a limit of one TEM and four staff

`first`: its interval with all staff lies beyond the limit; `doubted`: without the farthest too.

{reference}

## Differences that grow with size

`covered`: intervals (0.90) of the slope that hold it; `turned`: those that exclude zero.

{slopes}

## The scale or the person

One clinic of three honest staff and twelve adults, a beam scale that reads high, a lead on a
sound one, and known loads of both. `over_by_bias`, `over_less_instrument`: share of staff over
the limit without and with the known loads; `beam_over`, `port_over`: sessions in which that scale
is; `covered`: intervals (0.90) of `bias_less_instrument` that hold a drawn bias (scales and staff
drawn between marks).

{known_loads}

## Slips planted one a session

Seven staff, twelve subjects, two rounds. `from_6_far`, `from_9_far`: share of readings moved by six
or nine repeat SDs and more that are far; of the far ones, `right_first` and `right_listed`: the
planted kind stands first, or at all; `chance`: the printed rate.

{slips}

## Readings moved by so many repeat SDs: share that is far

{slips_by_size}

## Far readings in twenty honest sessions

{slips_honest}

## Random gross errors up to 40 spreads: how many are explained, and the rate printed

{slips_by_chance}
"""
_PLANNED = """\
# What drawn sessions say of the chances of a plan

Seed {seed}; made by `PYTHONPATH=tests python -m calibration --page planned --sessions {sessions}`.

Everybody has the expected repeat error (`tem`; it and the limits in steps) and no bias. `planned`:
the chance that a plan gives for a person to be found within the limit; `found`: the share of so
many `measurers` in whole sessions, scored and judged; `points`: by how much the two differ.

{planned}
"""
_RECORDS = """\
# What drawn programs say of the statistics of routine records

{sessions} programs a row, seed {seed}; made by
`PYTHONPATH=tests python -m calibration --page records --sessions {sessions}`.
Only counts are given to the audit, and truth is known, so that every wrong name is counted.

## Who leans to a mark

Forty staff in four sites, 150 readings each in 25 days and two months; three of them put 15 in
100 more readings on a whole pound (1 oz) or on the mark in the name of the row (0.3 on 1/2 in).
*Days differ*: each of their days has a share of its own, beta distributed about theirs with
intra-day correlation 0.1 (nine days in ten lie between 2 and 37 in 100) or, *much*, 0.3 (between
0 and 59). `found`: share of leaners named after Holm over staff and marks; `right`: on the planted
mark; `wrong_mark`: programs in which a leaner is named for another mark, maybe beside it;
`honest`: programs in which anybody else is named; `looked_at`: in which anybody else is worth a
look; `sites`: in which a site is named. `covered`: intervals (0.90) of the planted
mark that hold a leaner's share; `covered_honest`: those of everybody else; `effect`: mean design
effect of that mark. Where all lean they are held against a typical person, and clusters cost power.

{records}

## Months, conversions, repeated values

Forty staff in four sites, about 40 readings a month each for a year, unless the row says
otherwise; a month has a share on the pound of its own. `changed`: the planted change is found
within a month; `false`: programs in which any other change is told. `converted`: the converted
site is found; `false_comb`: programs in which anything else is. `carried`: the person with 20 in
100 more repeated values is told; `alike`: programs in which anybody else is.

{records_years}
"""
_PROGRAM = """\
# What drawn programs say of who is flagged, and of retraining that did nothing

{sessions} programs a row (half for retraining), seed {seed}; made by
`PYTHONPATH=tests python -m calibration --page program --sessions {sessions}`.
A lead and twelve staff, four sessions of ten subjects read twice. Beside the repeat error (one TEM,
three steps) everybody adds an amount to each subject (`interaction`, its SD in TEMs) and to each
session (`session`).

## Nobody differs and nobody moves: programs in which anybody is flagged

By question: `larger` and `grew` are repeat errors, `moved` differences.

{nobody}

## Planted: a movement of two TEMs over the four sessions, a repeat error that is larger or doubles

`found`: share of programs in which it is flagged, after the adjustment over all questions;
`others`: in which somebody else is.

{moved}

## Retraining and repeat errors

In the middle of so many `sessions`; it multiplies the repeat error by `effect` (1: it did nothing).
True repeat errors differ by `differ` (SD of logs). `better` and `worse`: shares of those picked.

{nothing_done}

## Retraining and differences

The three farthest of twelve; true differences have an SD of `differ` TEMs; `effect` multiplies
them.

{differences_picked}

## Moderated repeat errors

Mean size of the log of estimate over truth, own and moderated, and how often intervals (0.90) hold.

{likely_errors}
"""
PAGES = {
    "power": _PAGE,
    "whose_error": _WHOSE,
    "planned": _PLANNED,
    "records": _RECORDS,
    "program": _PROGRAM,
}


STUDIES: dict[str, Callable[[int, int], pd.DataFrame]] = {
    "power": lambda n, seed: digits.power(max(n // 3, 1), seed, shares=SHARES, subjects=SUBJECTS),
    "digits": digits.study,
    "resolved": resolved.study,
    "shifts": shifts.study,
    "likeness": likeness.study,
    "drill": drill.study,
    "components": lambda n, seed: components.study(4 * n, seed),
    "nothing_planted": patterns.nothing_planted,
    "patterns": patterns.planted,
    "reference": patterns.reference,
    "slopes": patterns.slopes,
    "known_loads": known_loads.study,
    "slips": slips.study,
    "slips_by_size": slips.by_size,
    "slips_honest": slips.honest,
    "slips_by_chance": slips.random_errors,
    "planned": planning.study,
    "nobody": program.nobody,
    "moved": program.planted,
    "nothing_done": lambda n, seed: program.nothing_done(max(n // 2, 1), seed),
    "differences_picked": lambda n, seed: program.differences_picked(max(n // 2, 1), seed),
    "likely_errors": lambda n, seed: program.likely_errors(max(n // 2, 1), seed),
    "records": records.study,
    "records_years": records_changes.study,
}


def main() -> None:
    """Run every study and write the page with its curves, or print one table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=150)
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--page", choices=PAGES, help="write this page only")
    parser.add_argument("--only", choices=STUDIES, help="print this table as CSV, write nothing")
    args = parser.parse_args()
    if args.only:
        sys.stdout.write(STUDIES[args.only](args.sessions, args.seed).to_csv(index=False))
        return
    for page in [args.page] if args.page else PAGES:
        names = [name for name in STUDIES if f"{{{name}}}" in PAGES[page]]
        found = {name: STUDIES[name](args.sessions, args.seed) for name in names}
        write_page(page, found, args.sessions, args.seed)


def write_page(page: str, found: Mapping[str, pd.DataFrame], sessions: int, seed: int) -> None:
    """Write one page of tables, and its curves where it has some."""
    tables = dict(found)
    if "power" in found:
        draw_power(found["power"], HERE / "power.png")
        wide = found["power"].pivot_table(
            index=["design", "subjects"], columns="share", values="found"
        )
        tables["power"] = wide.reindex(DESIGNS, level="design").reset_index()
    text = {name: _table(table) for name, table in tables.items()}
    filled = PAGES[page].format(sessions=sessions, seed=seed, leaners=2 * (sessions // 3), **text)
    (HERE / f"{page}.md").write_text(filled, encoding="utf-8")


def draw_power(power: pd.DataFrame, path: Path) -> None:
    """One panel a design, one line a number of subjects, labelled where it ends."""
    figure = Figure(figsize=(9, 5.4), layout="constrained")
    axes = figure.subplots(2, 3, sharex=True, sharey=True).ravel()
    for ax, name in zip(axes, DESIGNS, strict=False):
        for n, line in power[power["design"] == name].groupby("subjects"):
            ax.plot(line["share"], line["found"], color="#1a1a1a", linestyle=_STYLES[n])
        ax.set_title(f"read to {name}", fontsize=10)
        ax.set_ylim(0, 1.02)
        ax.grid(color="#e4e4e4", linewidth=0.6)
    axes[0].set_ylabel("Share of leaners named")
    axes[3].set_ylabel("Share of leaners named")
    axes[-1].set_axis_off()
    for n, style in _STYLES.items():
        axes[-1].plot([], [], color="#1a1a1a", linestyle=style, label=f"{n} subjects, read twice")
    axes[-1].legend(loc="center", frameon=False)
    figure.supxlabel("Share of readings that go to the half mark", fontsize=10)
    figure.savefig(path, dpi=110, metadata={"Software": None})


def _table(frame: pd.DataFrame) -> str:
    rows = [[str(c) for c in frame.columns], ["---"] * frame.shape[1]]
    rows += [["" if v != v else f"{v:.3g}" if isinstance(v, float) else str(v) for v in row]
             for row in frame.itertuples(index=False)]  # fmt: skip
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


if __name__ == "__main__":
    main()
