# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Counts the cases of a script test and closes it with the line that tests/driver.sh reads."""
import os
import sys

SANITIZED = "-fsanitize" in os.environ.get("TEST_CFLAGS", "")


def times(plain, sanitized):
    """How often a costly thing is repeated: whole in the plain build, less often where sanitizers slow it down several times."""
    return sanitized if SANITIZED else plain


class Tally:
    def __init__(self):
        self.passed = 0
        self.failed = 0

    def check(self, good, what):
        """Count one case; @what says what is wrong if it is not @good."""
        if good:
            self.passed += 1
        else:
            self.failed += 1
            print("FAIL:", what)

    def close(self):
        """Print the counts and end the program; a test that counted nothing has failed."""
        print(f"{self.passed} passed, {self.failed} failed")
        sys.exit(1 if self.failed or not self.passed else 0)
