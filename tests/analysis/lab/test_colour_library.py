"""The colour library stays behind its door: loaded late, and without traces."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from analysis.lab.colour_library import (
    ILLUMINANTS,
    OBSERVERS,
    Illuminant,
    Observer,
    Viewing,
    chromaticity_of_white,
    eye_weights,
    weights_of_library,
    white_of_library,
)

_TRACES = """
import sys, warnings
import numpy as np
import analysis.lab.computing.colour
from analysis.lab.colour_library import Viewing, chromaticity_of_white, ciede2000, eye_weights
eye_weights(Viewing()), chromaticity_of_white(Viewing())
assert "colour" not in sys.modules, "loaded before the first CIEDE2000"
before = np.get_printoptions(), list(warnings.filters)
ciede2000(np.array([50.0, 2.5, 0.0]), np.array([50.0, 0.0, -2.5]))
assert "colour" in sys.modules
assert (np.get_printoptions(), list(warnings.filters)) == before, "left traces"
"""


@pytest.mark.parametrize("observer", OBSERVERS)
@pytest.mark.parametrize("illuminant", ILLUMINANTS)
def test_the_kept_tables_are_those_of_the_library(
    illuminant: Illuminant, observer: Observer
) -> None:
    """Source: the CIE tables in colour-science; equal to the last digit."""
    viewing = Viewing(illuminant=illuminant, observer=observer)

    np.testing.assert_array_equal(eye_weights(viewing), weights_of_library(viewing))
    assert chromaticity_of_white(viewing) == white_of_library(viewing)


def test_the_library_loads_when_it_is_needed_and_leaves_no_traces() -> None:
    """It takes seconds, and sets NumPy's printing and warning filters for the whole program."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", _TRACES], capture_output=True, text=True, check=False
    )

    assert done.returncode == 0, done.stderr
