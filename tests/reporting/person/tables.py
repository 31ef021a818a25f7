"""The tables that pages of persons are made from, and a page as plain text."""

import re
from html import unescape

import pandas as pd

import anthroqa
from anthroqa.decisions import reference_doubts, variants
from anthroqa.reporting.person import pages
from anthroqa.scores import watch_for


def measure_of(step, name="x", **settings):
    """A measure with its step, as a session has it."""
    frame = pd.DataFrame({"measurer": ["A"], "subject": ["1"], "measure": [name], "round": [1],
                          "reading": ["66"]})  # fmt: skip
    session = anthroqa.Session.from_frame(frame, measures={name: {"recorded_to": step, **settings}})
    return session.measures[name]


def tables_of(session, *, confidence=0.90, seed=0):
    scores = anthroqa.score(session, confidence=confidence, seed=seed)
    decisions, slips = anthroqa.decide(scores, session), anthroqa.slips(session)
    return pages.Tables(
        scores=scores, decisions=decisions, mark_findings=anthroqa.mark_findings(scores),
        residuals=anthroqa.residuals(session), slips=slips, patterns=watch_for(scores, session),
        doubts=reference_doubts(scores, session), checks=anthroqa.instrument_checks(session, confidence=confidence),
        variants=variants(session, scores, decisions, slips, confidence=confidence, seed=seed),
    )  # fmt: skip


def sheets_of(session, tables=None):
    """Every person's page as HTML, by code."""
    people = pages.people(session)
    made = pages.sheets(session, people, tables or tables_of(session))
    return {code: page.text for code, page in made.items()}


def plain(text):
    """A page without its tags, on one line; drawings with what they say to those who hear them."""
    text = re.sub(r'<svg[^>]*aria-label="([^"]*)"[^>]*>', r" \1 ", text)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text))).replace("\u00a0", " ")
