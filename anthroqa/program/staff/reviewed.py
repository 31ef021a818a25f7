"""Everything about one program, worked out once, part by part, when it is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from anthroqa.analysis import Analysis, analyse
from anthroqa.program.staff.dated import events
from anthroqa.program.staff.drift import drift_rows, smoothed
from anthroqa.program.staff.funnel_limits import funnel_rows
from anthroqa.program.staff.instruments import instrument_drift_rows, moved_instruments
from anthroqa.program.staff.moderation import moderated_rows
from anthroqa.program.staff.naming import named_rows
from anthroqa.program.staff.next_session import check_months, due_rows
from anthroqa.program.staff.over_time import differences, history_rows, repeat_errors
from anthroqa.program.staff.retraining import retrained_rows
from anthroqa.program.staff.sessions import Program
from anthroqa.scores.layout.figures import check_confidence


@dataclass(frozen=True, kw_only=True, eq=False)
class Review:
    """One program, and every table of figures and findings on its staff.

    Each table is a frame as the function of its name in `anthroqa.program` gives it, but that
    `note` holds codes (`anthroqa.notes`), of which the text is that of the function.

    Attributes
    ----------
    program : Program
    confidence : float
        Coverage of every two-sided interval.
    seed : int
        For statistics that draw random numbers.
    months : int
        From the last session of a person to the next.
    history, repeat_errors, differences, smoothed, funnel, drifts : pandas.DataFrame
    named, moderated, retrained, instrument_drifts, due : pandas.DataFrame
        As the functions of these names give them.
    """

    program: Program
    confidence: float
    seed: int
    months: int

    @cached_property
    def analyses(self) -> tuple[Analysis, ...]:
        """Each session by itself."""
        return tuple(
            analyse(session, confidence=self.confidence, seed=self.seed)
            for session in self.program.sessions
        )

    @cached_property
    def history(self) -> pd.DataFrame:
        """The figures of every session that change over time is looked for in."""
        return history_rows(self.analyses)

    @cached_property
    def repeat_errors(self) -> pd.DataFrame:
        """The repeat error of each person and measure in each session."""
        return repeat_errors(self.history)

    @cached_property
    def differences(self) -> pd.DataFrame:
        """The difference of each person in each measure and session."""
        return differences(self.history)

    @cached_property
    def smoothed(self) -> pd.DataFrame:
        """Every session of every person with its smoothed value and limits."""
        return smoothed(self.repeat_errors, self.differences)

    @cached_property
    def funnel(self) -> pd.DataFrame:
        """Each person's repeat error beside what chance gives the program's centre."""
        return funnel_rows(self.repeat_errors)

    @cached_property
    def drifts(self) -> pd.DataFrame:
        """The change of each person, and of the reference, from first to last session."""
        return drift_rows(self.repeat_errors, self.differences, confidence=self.confidence)

    @cached_property
    def named(self) -> pd.DataFrame:
        """Every question of the program with its adjusted p-value and its state."""
        return named_rows(self.funnel, self.drifts)

    @cached_property
    def moderated(self) -> pd.DataFrame:
        """Each person's repeat error moderated by everybody's."""
        return moderated_rows(self.repeat_errors, confidence=self.confidence)

    @cached_property
    def retrained(self) -> pd.DataFrame:
        """What led to each retraining, what luck alone would give next, and what came."""
        return retrained_rows(self.program, self.repeat_errors, self.differences)

    @cached_property
    def instrument_drifts(self) -> pd.DataFrame:
        """What each instrument showed for each known load by session."""
        return instrument_drift_rows(self.program, confidence=self.confidence)

    @cached_property
    def moved_instruments(self) -> pd.DataFrame:
        """A row for each instrument that moved."""
        return moved_instruments(self.instrument_drifts)

    @cached_property
    def due(self) -> pd.DataFrame:
        """When each person is due again, and with how many subjects."""
        return due_rows(self.program, self.history, self.moderated, months=self.months)

    @cached_property
    def events(self) -> pd.DataFrame:
        """What happened between the sessions: training, other instruments, other references."""
        return events(self.program)


def review_of(
    program: Program, *, confidence: float = 0.90, seed: int = 0, months: int = 12
) -> Review:
    """Everything about one program; nothing is worked out before it is asked for.

    Parameters
    ----------
    program : Program
    confidence : float, default 0.90
        Coverage of every two-sided interval, between 0 and 1.
    seed : int, default 0
        For statistics that draw random numbers.
    months : int, default 12
        From the last session of a person to the next; common practice, no source.

    Returns
    -------
    Review

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1, or `months` is under 1.
    """
    check_confidence(confidence)
    check_months(months)
    return Review(program=program, confidence=confidence, seed=seed, months=months)
