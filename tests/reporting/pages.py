"""Small sessions, and every section of their report as plain text."""

import re
from functools import cache
from html import unescape

import pandas as pd

import anthroqa
from anthroqa.reporting.session import page

LIMITS = {"limit_tem": "0.5 cm", "limit_bias": "0.5 cm"}


def frame(rows, **columns):
    table = pd.DataFrame(rows, columns=["measurer", "subject", "round", "reading"])
    return table.assign(measure="length", **columns)


def session_of(table, *, reference=None, **measure):
    measures = {"length": {"recorded_to": "0.1 cm", **measure}}
    return anthroqa.Session.from_frame(table, measures=measures, reference=reference)


def pairs(people, subjects, *, spread=3):
    """Two readings of every subject by everybody, unlike enough to have a repeat error."""
    return [
        (p, f"S{s}", turn, (700 + 20 * s + (s * (i + 2) * turn) % (spread + 2)) / 10)
        for i, p in enumerate(people)
        for s in range(subjects)
        for turn in (1, 2)
    ]


def unlike_instruments():
    """A session in which A read on another instrument, of a name with a semicolon in it."""
    table = frame(pairs("RAB", 8))
    tools = {"R": "PORT-1", "A": "BEAM; old B", "B": "PORT-1"}
    table["instrument"] = table["measurer"].map(tools)
    return session_of(table, reference="R", **LIMITS)


def plain(part):
    """A section without its tags."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", part.text)))


@cache
def pages(session):
    """Every section of the report as plain text, by name; once for each session."""
    analysis = anthroqa.analyse(session)
    found = {
        "opening": page.opening(analysis),
        "repeatability": page.repeatability(analysis),
        "difference": page.difference(analysis),
        "growing": page.growing(analysis),
        "instruments": page.instruments(analysis),
        "odd": page.odd_readings(analysis),
        "with and without": page.with_and_without(analysis),
        "agreement": page.agreement(analysis),
        "divided": page.divided(analysis),
        "together": page.together(analysis),
        "watch": page.watch(analysis),
        "notes": page.data_notes(analysis),
        "record": page.saved(analysis, ""),
    }
    return {name: plain(part) for name, part in found.items()}
