"""Sessions whose truth is known: for tests, and for the sample sessions.

Nothing that judges real people imports this. `python -m anthroqa.simulate NAME FOLDER` redraws
a sample.
"""

from anthroqa.simulate.readings import draw, nearest
from anthroqa.simulate.samples import SAMPLES, write_sample

__all__ = ["SAMPLES", "draw", "nearest", "write_sample"]
