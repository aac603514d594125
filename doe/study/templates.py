"""Starting briefs: commented texts that `millbase new` puts into a new study folder."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import resources
from types import MappingProxyType

from doe.errors import StudyError
from doe.study.names import fold, nearest_name

# The registry: a starting brief is one file in `briefs/` and one line here.
LIKES: Mapping[str, str] = MappingProxyType(
    {
        "package-and-process": "a package of three additives with its dose, pH and grind time",
        "package-resin-free": "a package of three for a grind without binder: blend and dose",
        "resin-containing": "binder in the grind: resin share, order of addition, dose",
        "known-package": "a settled package: its dose, the grind time, water in the film",
        "dose-and-time": "how much of a known package, and how long a grind, factors only",
        "blend": "the proportions of three additives at a fixed dose",
        "chemistries": "a choice among dispersant chemistries, each over its own doses",
        "ph-and-counter-ion": "pH of the grind, and ammonia, an amine or sodium to set it",
        "water-rescue": "a film that takes up too much water: hydrophobic part, cure age",
        "two-binders": "one package for two binders, let down side by side",
        "organic-pigment": "an organic pigment: much surface, many anchors, long grinds",
        "effect-pigment": "flakes stirred in at low shear, never milled",
        "table": "the shortest brief, for a table of settings and results that exists already",
    }
)
DEFAULT_LIKE = "package-and-process"


def brief_text(like: str | None = None) -> str:
    """Give the text of a starting brief.

    Args:
        like: Name in `LIKES`, blanks for hyphens allowed; None for the first of them.

    Raises:
        StudyError: There is no starting brief of that name.

    Example:
        >>> brief_text("blend").splitlines()[0]
        '# A blend of three additives at a fixed dose: package only.'
    """
    name = fold(like or DEFAULT_LIKE).replace(" ", "-")
    if name not in LIKES:
        meant = nearest_name(name, LIKES)
        raise StudyError(
            f'"{like}" is no starting brief',
            allowed=", ".join(LIKES),
            do=f'Probably "{meant}" is meant.' if meant else "Take one of these.",
        )
    file = resources.files("doe.study").joinpath("briefs", f"{name}.toml")
    return file.read_text(encoding="utf-8")
