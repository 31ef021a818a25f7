"""Everything that counts of routine records say, worked out once, when it is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from anthroqa.program.routine.counting.counts import Tally
from anthroqa.program.routine.findings.combs_in_counts import conversion_rows
from anthroqa.program.routine.findings.groups import LEVELS, Cells, cells
from anthroqa.program.routine.findings.months import change_rows, month_rows
from anthroqa.program.routine.findings.no_readings import quality_rows
from anthroqa.program.routine.findings.repetition import repeated_rows
from anthroqa.program.routine.findings.shares_of_marks import NAMED, audit_rows


@dataclass(frozen=True, kw_only=True, eq=False)
class RoutineAudit:
    """Counts of routine records, and every table of what they say.

    Each table is a frame as the function of `anthroqa.program` gives it, but that `note` holds
    codes (`anthroqa.notes`), of which the text is that of the function.

    Attributes
    ----------
    tally : Tally
    confidence : float
        Coverage of every two-sided interval.
    audit, conversions, changes, repeated, quality : pandas.DataFrame
        As `audit`, `converted` and the functions of the other names give them.
    """

    tally: Tally
    confidence: float

    @cached_property
    def cells(self) -> tuple[Cells, ...]:
        """The counts of each measure, as arrays."""
        return tuple(cells(self.tally.counts))

    @cached_property
    def conversions(self) -> pd.DataFrame:
        """Who wrote readings that had been converted: `program.converted`."""
        return conversion_rows(self.cells)

    @cached_property
    def audit(self) -> pd.DataFrame:
        """Shares of readings put on coarse marks: `program.audit`."""
        return audit_rows(self.cells, self.conversions, confidence=self.confidence)

    @cached_property
    def changes(self) -> pd.DataFrame:
        """From which month a share is another: `program.changes`."""
        return change_rows(self.cells, confidence=self.confidence)

    @cached_property
    def repeated(self) -> pd.DataFrame:
        """Readings that equal the child's last one: `program.repeated`."""
        return repeated_rows(self.cells, confidence=self.confidence)

    @cached_property
    def quality(self) -> pd.DataFrame:
        """Records that hold no reading on a mark: `program.quality`."""
        return quality_rows(self.cells)

    @cached_property
    def months(self) -> pd.DataFrame:
        """Shares by month of everybody, sites and instruments, and of people with a finding.

        As `program.by_month`. Those of all people would be a table of everybody's every month:
        who has no finding is in the audit.
        """
        *places, person = LEVELS
        found = pd.concat([self.audit[self.audit["state"] == NAMED], self.changes])
        people = found.loc[found["level"] == person, "who"].unique()
        theirs = [(c, np.isin(c.names[person], people)[c.codes[person]]) for c in self.cells]
        return pd.concat(
            [
                month_rows(self.cells, levels=tuple(places)),
                month_rows([c.where(own) for c, own in theirs if own.any()], levels=(person,)),
            ],
            ignore_index=True,
        )
