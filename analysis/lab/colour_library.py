"""The tables and the colour difference that come from the open library colour-science.

Nothing else imports it. It takes seconds to load, with much that is not needed here. So what light
and eye make of a wavelength is kept beside it, as the library gives it (`cie_weights.csv`,
`cie_whites.csv`, made with version 0.4.7; a test holds them together), and the library is loaded
for CIEDE2000 alone.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import ModuleType
from typing import Literal, get_args

import numpy as np

from analysis.lab.kubelka_munk import FloatArray
from analysis.lab.spectrum import GRID

Illuminant = Literal["D65", "A", "C"]
Observer = Literal["10", "2"]
ILLUMINANTS: tuple[Illuminant, ...] = get_args(Illuminant)
OBSERVERS: tuple[Observer, ...] = get_args(Observer)
_OBSERVER_NAMES: dict[Observer, str] = {
    "10": "CIE 1964 10 Degree Standard Observer",
    "2": "CIE 1931 2 Degree Standard Observer",
}
_KEPT = resources.files("analysis.lab").joinpath("cie_weights.csv")
_WHITES = resources.files("analysis.lab").joinpath("cie_whites.csv")


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewing:
    """Under which light and by which eye a colour is seen."""

    illuminant: Illuminant = "D65"
    observer: Observer = "10"


@cache
def eye_weights(viewing: Viewing) -> FloatArray:
    """Give what light and eye make of each wavelength of the grid.

    Returns:
        Light times sensitivity for X, Y and Z, shape (31, 3); relative. Read-only.

    Source:
        CIE standard observers and illuminants as colour-science 0.4.7 holds them.
    """
    heads, *lines = _KEPT.read_text(encoding="utf-8").splitlines()
    columns = heads.split(",")
    wanted = [columns.index(f"{viewing.illuminant} {viewing.observer} {axis}") for axis in "XYZ"]
    table = np.array([[float(cell) for cell in line.split(",")] for line in lines])
    if not np.array_equal(table[:, 0], GRID):
        raise ValueError(f"{_KEPT.name} is not on the grid")
    weights = np.ascontiguousarray(table[:, wanted])
    weights.setflags(write=False)
    return weights


def weights_of_library(viewing: Viewing) -> FloatArray:
    """Work out anew what `eye_weights` keeps, from the library's own tables."""
    colour = _library()
    name = _OBSERVER_NAMES[viewing.observer]
    eye = colour.MSDS_CMFS[name]
    light = colour.SDS_ILLUMINANTS[viewing.illuminant]
    # Both tables hold the grid's wavelengths, so they are read off and not interpolated.
    sensitivity = np.asarray(eye.values)[np.searchsorted(eye.wavelengths, GRID)]
    power = np.asarray(light.values)[np.searchsorted(light.wavelengths, GRID)]
    return np.asarray(sensitivity * power[:, None], dtype=np.float64)


@cache
def chromaticity_of_white(viewing: Viewing) -> tuple[float, float]:
    """Give x and y of the perfect white.

    Source:
        CIE white points as colour-science 0.4.7 holds them.
    """
    lines = _WHITES.read_text(encoding="utf-8").splitlines()[1:]
    table = {tuple(cells[:2]): cells[2:] for cells in (line.split(",") for line in lines)}
    x, y = table[viewing.illuminant, viewing.observer]
    return float(x), float(y)


def white_of_library(viewing: Viewing) -> tuple[float, float]:
    """Look up anew what `chromaticity_of_white` keeps, in the library's own table."""
    table = _library().CCS_ILLUMINANTS[_OBSERVER_NAMES[viewing.observer]]
    x, y = table[viewing.illuminant]
    return float(x), float(y)


def ciede2000(sample: FloatArray, standard: FloatArray) -> FloatArray:
    """Compute the colour difference CIEDE2000, kL = kC = kH = 1.

    Args:
        sample: L*, a*, b*, shape (..., 3).
        standard: The same, shape (..., 3).

    Source:
        Sharma, Wu & Dalal (2005), Color Res. Appl. 30, 21-30; in the manner of ISO/CIE 11664-6.
    """
    result = _library().delta_E(sample, standard, method="CIE 2000")
    return np.asarray(result, dtype=np.float64)


@cache
def _library() -> ModuleType:
    # Imported here: it takes three seconds that nothing before the first curve needs. It changes
    # how NumPy prints and which warnings show, for everybody; both are set back.
    with np.printoptions(), warnings.catch_warnings():
        import colour

    library: ModuleType = colour
    return library
