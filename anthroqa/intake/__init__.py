"""Exact readings from what was written: a session folder, or every problem in it."""

from anthroqa.intake.described.instruments import Instrument
from anthroqa.intake.described.settings import Measure
from anthroqa.intake.entries.readings import EVERYBODY
from anthroqa.intake.folder import look, read_session
from anthroqa.intake.session import Look, Session
from anthroqa.intake.tables.problems import Problem, SessionError
from anthroqa.intake.written.steps import Step

__all__ = [
    "EVERYBODY", "Instrument", "Look", "Measure", "Problem", "Session", "SessionError", "Step",
    "look", "read_session",
]  # fmt: skip
