"""The pages of persons, as plain text."""

import re
from html import unescape

import pandas as pd

import anthroqa
from anthroqa.reporting.person import pages


def measure_of(step, name="x", **settings):
    """A measure with its step, as a session has it."""
    frame = pd.DataFrame({"measurer": ["A"], "subject": ["1"], "measure": [name], "round": [1],
                          "reading": ["66"]})  # fmt: skip
    session = anthroqa.Session.from_frame(frame, measures={name: {"recorded_to": step, **settings}})
    return session.measures[name]


def sheets_of(analysis):
    """Every person's page as HTML, by code."""
    return {code: page.text for code, page in pages.sheets(analysis).items()}


def plain(text):
    """A page without its tags, on one line; drawings with what they say to those who hear them."""
    text = re.sub(r'<svg[^>]*aria-label="([^"]*)"[^>]*>', r" \1 ", text)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text))).replace("\u00a0", " ")
