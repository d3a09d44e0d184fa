"""Tests run as the program does: with one thread for linear algebra, said before numpy loads."""

import flatcheck.threads  # noqa: F401
