"""Lets a test import what is shared between directories, such as `strategies`."""

import os
import sys
from pathlib import Path

from hypothesis import settings

# arrays here are small: threads cost more than they save; read when numpy is first loaded
os.environ |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
sys.path.insert(0, str(Path(__file__).parent))

# One fixed set of examples a test: a run is the same every time, on every machine.
settings.register_profile("fixed", derandomize=True, deadline=None)
settings.load_profile("fixed")

_OUTSIDE = "an outside program"
_unexplained = []


def pytest_runtest_logreport(report):
    if report.skipped and _OUTSIDE not in str(report.longrepr):
        _unexplained.append(report.nodeid)


def pytest_terminal_summary(terminalreporter):
    for name in _unexplained:
        terminalreporter.write_line(f"skipped without an outside program: {name}")


def pytest_sessionfinish(session):
    """On a clean machine only what needs an outside program may be skipped."""
    if _unexplained and os.environ.get("CI"):
        session.exitstatus = 1
