"""`python -m radiocheck`."""

import sys

from radiocheck.cli.main import run

sys.exit(run())
