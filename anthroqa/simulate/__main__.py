"""`python -m anthroqa.simulate NAME FOLDER` draws a sample session."""

import sys
from pathlib import Path

from anthroqa.simulate import write_sample

if __name__ == "__main__":
    write_sample(sys.argv[1], Path(sys.argv[2]))
