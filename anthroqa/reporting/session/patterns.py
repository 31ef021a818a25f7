"""What is to be watched for in a person's technique?"""

from __future__ import annotations

from anthroqa.analysis import Analysis
from anthroqa.intake import EVERYBODY, Measure
from anthroqa.reporting.page.html import SOME, Html, cut, paragraph, table
from anthroqa.reporting.page.wording import amount, interval, label, number


def watch(analysis: Analysis) -> Html:
    """Patterns over a person's readings and the technique step each points to; never a finding."""
    patterns, session = analysis.patterns, analysis.session
    if patterns.empty:
        return Html(paragraph("No pattern stands out beyond chance."))
    body = [
        (
            "everybody" if row.measurer == EVERYBODY else row.measurer, label(row.measure),
            _what_shows(row, session.measures[row.measure]), row.pattern,
            f"{row.technique} ({row.note})" if row.note else row.technique,
        )
        for row in patterns.head(SOME).itertuples()
    ]  # fmt: skip
    return Html(
        table(
            ["Who", "Measure", "What shows", "Would look like this", "Watch, and practise"],
            body,
            caption="To watch for while they measure; not a finding",
        ),
        *cut(patterns, "lines"),
    )


def _what_shows(row, measure: Measure) -> str:
    """The figure that the pattern shows in, with its interval; ratios and skewness have no unit."""
    if row.unit == measure.step.unit:
        size = amount(row.estimate, measure, signed=True)
        return f"{size} {row.unit} ({interval(row.lower, row.upper, measure, signed=True)})"
    size, low, high = (number(v, 1) for v in (row.estimate, row.lower, row.upper))
    return f"{size} {row.unit} ({low} to {high})"
