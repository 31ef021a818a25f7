"""How does the error of a single reading divide, and which part is to be worked on first?"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd
from matplotlib.axes import Axes

from anthroqa.analysis import Analysis
from anthroqa.reporting.page import figures
from anthroqa.reporting.page.html import Html, bullets, image, paragraph, table
from anthroqa.reporting.page.wording import amount, label, listed, number, unbroken
from anthroqa.reporting.words.scores.components import typeset

# what a part is called in a sentence, and what helps with it (common practice, no source)
_SAID = {
    "between measurers": (
        "what differs between measurers", "measure side by side and agree on one technique"),
    "measurer with subject": (
        "subjects that some find harder than others do", "agree on positioning and calming"),
    "repeat error": (
        "repeat error", "practise holding still, positioning and reading the mark"),
    "shift between rounds": (
        "the shift between rounds", "look at hours, clothing and rest of the subjects"),
    "instrument": ("the instruments", "have them checked before the people"),
}  # fmt: skip
_SHORT = {
    "between measurers": "between staff",
    "measurer with subject": "with subject",
    "repeat error": "repeat error",
    "shift between rounds": "round shift",
    "instrument": "instrument",
}
_SURE, _LIKELY = 0.9, 0.6  # of drawn sessions in which a part is the largest


def divided(analysis: Analysis) -> Html:
    """How the error of a single reading divides in each measure, and without odd readings."""
    parts, without = analysis.parts, analysis.without_slips.parts
    there, other = (table[table["sd"].notna()] for table in (parts, without))
    if there.empty:
        return Html(paragraph("The error cannot be divided here."), *_reasons(parts))
    level = f"{100 * analysis.confidence:.0f} % interval"
    calm = {(row.measure, row.part): row for row in other.itertuples()}
    body = []
    for row in there.itertuples():
        cells = [unbroken(label(row.measure)), _SHORT[row.part],
                 f"{amount(row.sd, analysis.session.measures[row.measure])} {row.unit}",
                 f"{row.share:.0f} %", _between(row)]  # fmt: skip
        if calm:
            again = calm.get((row.measure, row.part))
            cells.append(number(float("nan"), 0) if again is None else f"{again.share:.0f} %")
        body.append(cells)
    header = ["Measure", "Part", "Size (SD)", "Share", level]
    return Html(
        bullets(_first(name, rows, other) for name, rows in there.groupby("measure", sort=False)),
        image(shares(there, other), alt=alt_shares(there)),
        *_hollow(other),
        table(
            header + ["Without odd readings"] * bool(calm), body,
            caption="The error of a single reading, in parts; the reference left out",
        ),
        *_reasons(parts),
    )  # fmt: skip


def _between(row) -> str:
    if row.lower != row.lower:
        return "no interval"
    return f"{number(row.lower, 0)} to {number(row.upper, 0)} %"


def _first(name: str, rows: pd.DataFrame, other: pd.DataFrame) -> str:
    """Which part to work on first, in one sentence; odd readings are not to lead it astray."""
    calm = other[other["measure"] == name]
    if calm.empty or calm["largest"].isna().all():
        return f"{label(name)}: {_largest(rows)}."
    return (
        f"{label(name)}: odd readings are inside, so look these up first; without them "
        f"{_largest(calm)}."
    )


def _largest(rows: pd.DataFrame) -> str:
    if rows["largest"].isna().all():
        return "which part is the largest cannot be said"
    best = rows.loc[rows["largest"].idxmax()]
    part, help_ = _SAID[best["part"]]
    share, sure = number(best["share"], 0), number(100 * best["largest"], 0)
    how_sure = f"{share} % of the error, the largest part in {sure} % of draws"
    if best["largest"] >= _SURE:
        return f"work first on {part} ({how_sure}): {help_}"
    if best["largest"] >= _LIKELY:
        return f"probably work first on {part} ({how_sure}): {help_}"
    return f"which part is the largest is not settled; it may be {part} ({how_sure})"


def _hollow(other: pd.DataFrame) -> Iterator[str]:
    if len(other):
        yield paragraph("Open circles: without the odd readings.")


def _reasons(parts: pd.DataFrame) -> Iterator[str]:
    """Why parts are blank or nought, and what would help."""
    noted = parts[parts["note"].map(bool)]
    lines = []
    for note, rows in noted.groupby("note", sort=False):
        where = [
            f"{part} ({listed(map(label, some['measure']))})"
            for part, some in rows.groupby("part", sort=False)
        ]
        lines.append(f"{listed(where)}: {typeset(note)}.")
    yield bullets(lines)


def shares(parts: pd.DataFrame, other: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Share of each part with its interval, a line a part, under the name of its measure."""
    rows: list[tuple[str, object]] = []
    for name, some in parts.groupby("measure", sort=False):
        rows += [(label(name), None), *((_SHORT[r.part], r) for r in some.itertuples())]
    codes = [code for code, _ in rows]
    calm = {(r.measure, r.part): r.share for r in other.itertuples()}
    ax = figures.axes(codes, right=0.6) if ax is None else ax
    figures.lay_out(ax, codes, "Share of the error of a single reading (%)", 0, 100)
    for y, (_, row) in enumerate(rows):
        if row is None:
            continue
        ax.hlines(y, row.lower, row.upper, color=figures.BLUE, linewidth=1.4, zorder=2)
        for share, face in (
            (row.share, figures.BLUE),
            (calm.get((row.measure, row.part)), "white"),
        ):
            if share is not None:
                ax.plot([share], [y], marker="o", markerfacecolor=face, markersize=6,
                        markeredgecolor=figures.BLUE, linestyle="none", zorder=3,
                        clip_on=False)  # fmt: skip
        figures.beside(ax, 1.04, y, f"{row.share:.0f} %")
    return ax


def alt_shares(parts: pd.DataFrame) -> str:
    """What the plot of shares shows, in one sentence."""
    said = [f"{label(r.measure)}, {r.part} {r.share:.0f} %" for r in parts.itertuples()]
    return f"Shares of the error of a single reading. {'; '.join(said)}."
