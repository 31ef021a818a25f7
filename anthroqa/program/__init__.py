"""Staff over many sessions, and routine records as counts."""

from anthroqa.program.routine.audit import audit
from anthroqa.program.routine.combs_in_counts import converted
from anthroqa.program.routine.counts import for_others, merged, read_counts
from anthroqa.program.routine.months import by_month, changes
from anthroqa.program.routine.quality import quality
from anthroqa.program.routine.repeated import repeated
from anthroqa.program.routine.sources import open_source
from anthroqa.program.routine.tally import tally
from anthroqa.program.routine.wanted import wanted
from anthroqa.program.staff.drift import drifts, smoothed
from anthroqa.program.staff.due import due
from anthroqa.program.staff.flags import flags
from anthroqa.program.staff.funnel import funnel
from anthroqa.program.staff.history import differences, history, repeat_errors
from anthroqa.program.staff.instruments import instrument_drifts
from anthroqa.program.staff.moderated import moderated
from anthroqa.program.staff.retraining import retrained
from anthroqa.program.staff.sessions import Program, read_program

__all__ = [
    "Program", "audit", "by_month", "changes", "converted", "differences", "drifts", "due",
    "flags", "for_others", "funnel", "history", "instrument_drifts", "merged", "moderated",
    "open_source", "quality", "read_counts", "read_program", "repeat_errors", "repeated",
    "retrained", "smoothed", "tally", "wanted",
]  # fmt: skip
