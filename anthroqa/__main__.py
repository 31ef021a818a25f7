"""`python -m anthroqa` is `anthroqa`."""

import sys

from anthroqa.cli import main

if __name__ == "__main__":
    sys.exit(main())
