"""Exact readings from what was written: a session folder, or every problem in it."""

from anthroqa.intake.instruments import Instrument
from anthroqa.intake.problems import Problem, SessionError
from anthroqa.intake.rows import EVERYBODY
from anthroqa.intake.session import Session, read_session
from anthroqa.intake.settings import Measure
from anthroqa.intake.steps import Step

__all__ = [
    "EVERYBODY", "Instrument", "Measure", "Problem", "Session", "SessionError", "Step",
    "read_session",
]  # fmt: skip
