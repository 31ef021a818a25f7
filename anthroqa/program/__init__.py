"""Staff over many sessions, and routine records as counts."""

from anthroqa.program.routine.counting.counter import tally
from anthroqa.program.routine.counting.counts import for_others, merged
from anthroqa.program.routine.counting.counts_file import read_counts
from anthroqa.program.routine.counting.request import wanted
from anthroqa.program.routine.counting.sources import open_source
from anthroqa.program.routine.findings.combs_in_counts import converted
from anthroqa.program.routine.findings.months import by_month, changes
from anthroqa.program.routine.findings.no_readings import quality
from anthroqa.program.routine.findings.repetition import repeated
from anthroqa.program.routine.findings.shares_of_marks import audit
from anthroqa.program.staff.drift import drifts, smoothed
from anthroqa.program.staff.funnel_limits import funnel
from anthroqa.program.staff.instruments import instrument_drifts
from anthroqa.program.staff.moderation import moderated
from anthroqa.program.staff.naming import named
from anthroqa.program.staff.next_session import due
from anthroqa.program.staff.over_time import differences, history, repeat_errors
from anthroqa.program.staff.retraining import retrained
from anthroqa.program.staff.reviewed import Review, review_of
from anthroqa.program.staff.sessions import Program, read_program

__all__ = [
    "Program", "Review", "audit", "by_month", "changes", "converted", "differences", "drifts",
    "due", "for_others", "funnel", "history", "instrument_drifts", "merged", "moderated", "named",
    "open_source", "quality", "read_counts", "read_program", "repeat_errors", "repeated",
    "retrained", "review_of", "smoothed", "tally", "wanted",
]  # fmt: skip
