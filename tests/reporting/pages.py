"""Small sessions, and every section of their report as plain text."""

import re
from functools import cache
from html import unescape

import pandas as pd

import anthroqa
from anthroqa.decisions import reference_doubts, too_fine, variants
from anthroqa.reporting.page import outputs
from anthroqa.reporting.session import (
    about_the_data,
    against,
    error_parts,
    in_short,
    instrument_section,
    odd,
    patterns,
    sections,
)
from anthroqa.scores import both_views, by_size, entangled, hidden_kinds, parts, watch_for

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


def plain(part):
    """A section without its tags."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", part.text)))


@cache
def pages(session):
    """Every section of the report as plain text, by name; once for each session."""
    scores = anthroqa.score(session)
    decisions = anthroqa.decide(scores, session)
    residuals, slips = anthroqa.residuals(session), anthroqa.slips(session)
    others = variants(session, scores, decisions, slips)
    mark_findings, checks = anthroqa.mark_findings(scores), anthroqa.instrument_checks(session)
    doubts = reference_doubts(scores, session)
    found = {
        "opening": in_short.opening(
            session,
            scores,
            decisions,
            slips,
            others,
            mark_findings,
            checks,
            doubts,
            too_fine(session),
        ),
        "repeatability": sections.repeatability(session, scores, decisions, slips),
        "difference": against.difference(
            session, scores, decisions, slips, both_views(scores), doubts
        ),
        "growing": against.growing(session, by_size(session)),
        "instruments": instrument_section.instruments(session, checks, entangled(session)),
        "odd": odd.odd_readings(session, residuals, slips, hidden_kinds(session)),
        "with and without": odd.with_and_without(session, others),
        "agreement": sections.agreement(session, scores),
        "divided": error_parts.divided(
            session, parts(session), parts(session.without(slips)), scores
        ),
        "together": sections.together(session, scores),
        "watch": patterns.watch(session, watch_for(scores, session)),
        "notes": about_the_data.data_notes(session, residuals),
        "record": about_the_data.run_record(outputs.run_record(session, {"seed": 0})),
    }
    return {name: plain(part) for name, part in found.items()}
