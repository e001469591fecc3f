"""Dwellbook's study: from the plan of a dwell study to the maximum display duration it supports."""

import os

# The matrices here are small: threads of the linear algebra library wait for each other longer than they help, and on
# a busy machine take three times as long. It reads this when it is first loaded; a person's own setting is kept.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
