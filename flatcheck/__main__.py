"""`python -m flatcheck` is the command line."""

import sys

from flatcheck.cli import main

if __name__ == "__main__":
    sys.exit(main())
