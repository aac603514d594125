"""Tests compute as the command does: one thread for small matrices, set before numpy loads."""

import os

for library in ("OPENBLAS", "OMP", "MKL"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")
