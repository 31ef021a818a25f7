"""What must be looked at before a finding on a person is believed: the instrument, the reference?

Plain text, a sentence each, with a word that leads in.
"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from anthroqa.decisions.reference import MAY_BE_OFF
from anthroqa.intake import EVERYBODY, Session
from anthroqa.notes.scores.odd import ReadOnInstrument
from anthroqa.reporting.page.wording import label, listed
from anthroqa.reporting.person import words

OVER = "over limit"
_LESS_INSTRUMENT = "bias_less_instrument"
_INSTRUMENT, _REFERENCE = "First the instrument:", "First the comparison:"


def first(
    session: Session, code: str, decisions: pd.DataFrame, checks: pd.DataFrame,
    patterns: pd.DataFrame, doubts: pd.DataFrame,
) -> Iterator[tuple[str, str]]:  # fmt: skip
    """What leads in, and what is to be looked at first.

    `decisions` are the person's, `checks` and `doubts` of everything, `patterns` those of the
    person and of everybody on an instrument.
    """
    told = set()
    for name, tool in _used(session, code):
        if text := _known(checks, decisions, session, name, tool) or _shared(
            patterns, session, name, tool
        ):
            told.add(name)
            yield _INSTRUMENT, text
    over = decisions[(decisions["state"] == OVER) & (decisions["question"] == "bias")]
    unknown = over[(over["statistic"] != _LESS_INSTRUMENT) & ~over["measure"].isin(told)]
    if len(unknown):
        yield (
            _INSTRUMENT,
            (
                f"nothing is known of yours in {listed(map(label, unknown['measure']))}. Have it "
                "checked with a known weight or length before you change anything."
            ),
        )
    off = doubts.loc[doubts["state"] == MAY_BE_OFF, "measure"]
    off = [label(name) for name in off if (decisions["measure"] == name).any()]
    if off:
        who = "the reference may" if code != session.reference else "as the reference, you may"
        yield (
            _REFERENCE,
            (
                f"{who} be off in {listed(off)}: the staff together lie further away than the "
                "limit. That has to be settled before anything else is."
            ),
        )


def _used(session: Session, code: str) -> list[tuple[str, str]]:
    """Measures and the instruments that a person read them on."""
    readings = session.readings
    if "instrument" not in readings:
        return []
    mine = readings[(readings["measurer"] == code) & (readings["instrument"] != "")]
    return list(dict.fromkeys(zip(mine["measure"], mine["instrument"], strict=True)))


def _known(
    checks: pd.DataFrame, decisions: pd.DataFrame, session: Session, name: str, tool: str
) -> str:
    """What an instrument that is over its published tolerance showed; "" for another."""
    off = checks[
        (checks["instrument"] == tool) & (checks["measure"] == name) & (checks["state"] == OVER)
    ]
    if off.empty:
        return ""
    worst = next(off.loc[[off["estimate"].abs().idxmax()]].itertuples())
    judged = decisions[(decisions["measure"] == name) & (decisions["question"] == "bias")]
    shown = words.instrument(worst, session.measures[name])
    if judged.empty:
        return f"{shown}. That is the instrument, not you."
    if (judged["statistic"] == _LESS_INSTRUMENT).all():
        return f"{shown}. That is the instrument, not you: it is taken out of your difference."
    return f"{shown}. That is the instrument, not you, and it may be part of your difference."


def _shared(patterns: pd.DataFrame, session: Session, name: str, tool: str) -> str:
    """Whether everybody who used an instrument is off to one side; "" if not."""
    rows = patterns[(patterns["measurer"] == EVERYBODY) & (patterns["measure"] == name)]
    for row in rows.itertuples():
        seen = row.note.first(ReadOnInstrument)
        if seen and seen.instrument == tool:
            size = words.size(row.estimate, session.measures[name])
            return (
                f"all who used {tool} read {size} {words.way(row.estimate)} in {label(name)}: it "
                "may be the instrument, not you."
            )
    return ""
