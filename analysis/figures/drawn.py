"""A drawn figure with the words that belong to it."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from matplotlib.figure import Figure

# Systems take names of 255 bytes; the ending and a folder's own rules need some of them.
MOST_BYTES = 150


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """One figure, readable alone.

    Attributes:
        name: Stem of its files, unique within an album.
        kind: Name in the registry of figures.
        subject: The response it is about; empty where it is about all.
        title: A sentence that says what it shows; also drawn on it.
        caption: How to read it.
        figure: The picture.
    """

    name: str
    kind: str
    subject: str
    title: str
    caption: str
    figure: Figure


def file_stem(*parts: str) -> str:
    """Make a file name that every system takes; letters of any script stay.

    Example:
        >>> file_stem("contours", "Viscosity @ 50 1/s", "dose × pH")
        'contours-viscosity-50-1-s-dose-ph'
    """
    text = unicodedata.normalize("NFC", " ".join(parts)).casefold()
    stem = re.sub(r"[\W_]+", "-", text).strip("-")
    # A character may take three bytes of a name, and two of them must not be cut apart.
    cut = stem.encode("utf-8")[:MOST_BYTES].decode("utf-8", errors="ignore")
    return cut.strip("-") or "figure"
