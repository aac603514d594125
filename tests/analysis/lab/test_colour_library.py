"""The colour library stays behind its door: loaded late, and without traces."""

from __future__ import annotations

import subprocess
import sys

_TRACES = """
import sys, warnings
import numpy as np
import analysis.lab.computing.colour
from analysis.lab.colour_library import Viewing, eye_weights
assert "colour" not in sys.modules, "loaded before the first curve"
before = np.get_printoptions(), list(warnings.filters)
eye_weights(Viewing())
assert "colour" in sys.modules
assert (np.get_printoptions(), list(warnings.filters)) == before, "left traces"
"""


def test_the_library_loads_at_the_first_curve_and_leaves_no_traces() -> None:
    """It takes seconds, and sets NumPy's printing and warning filters for the whole program."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", _TRACES], capture_output=True, text=True, check=False
    )

    assert done.returncode == 0, done.stderr
