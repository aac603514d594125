"""Names: how factors, additives, responses and controls are compared, and which are taken."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable

# Column names of our own tables and files (DESIGN.md, section 2), and the word that models print
# for a constant: a setting of that name could not be told from them.
RESERVED_WITH_ADVICE = {
    "run": "run number",
    "round": "campaign",
    "day": "curing days",
    "batch": "batch size",
    "sample": "sample size",
    "panel": "panel type",
    "kind": "pigment kind",
    "block": "test block",
    "intercept": "offset",
    "id": "lot id",
    "replaces": "replaced material",
    "entered": "entered water",
    "age_d": "cure age",
    "age": "cure age",
    "repeat": "repeat grind",
    "response": "mill response",
    "value": "colour value",
    "value_to": "upper value",
    "flag": "flag rating",
    "because": "reason",
    "source": "pigment source",
    "unit": "mill unit",
    "what": "material",
    "when": "addition time",
    "order": "order of addition",
}
RESERVED: frozenset[str] = frozenset(RESERVED_WITH_ADVICE)

# Two names closer than this are taken for a slip of the pen; below it a suggestion misleads.
_CLOSE = 0.6


def fold(name: str) -> str:
    """Bring a name into the form in which names are compared.

    Compatible characters become one (NFKC), white space at the ends goes, white space inside
    becomes one blank, and capitals do not count.

    Example:
        >>> fold("  Grind   Time ") == fold("grind time")
        True
    """
    once = unicodedata.normalize("NFKC", name).casefold()
    # Casefolding can undo the normal form (as in "ͅ"), so it is restored before comparing.
    return " ".join(unicodedata.normalize("NFKC", once).casefold().split())


def tidy(name: str) -> str:
    """Strip a name and make each white space inside it one blank; its letters stay."""
    return " ".join(name.split())


def match_name(text: str, names: Iterable[str]) -> str | None:
    """Find the name that a text means, in the spelling of the brief.

    Args:
        text: What the user wrote.
        names: The names it may mean, unique after folding.

    Returns:
        The name as `names` spells it, None if no name is meant.

    Example:
        >>> match_name("PH", ["dose", "pH"])
        'pH'
    """
    folded = fold(text)
    return next((name for name in names if fold(name) == folded), None)


def nearest_names(text: str, names: Iterable[str], count: int = 5) -> tuple[str, ...]:
    """Find the names that a text comes closest to, the closest first.

    Example:
        >>> nearest_names("gloss 60", ["water uptake", "gloss", "gloss retention"], 2)
        ('gloss', 'gloss retention')
    """
    wanted = fold(text)
    ordered = sorted(
        names, key=lambda name: (-difflib.SequenceMatcher(None, fold(name), wanted).ratio(), name)
    )
    return tuple(ordered[:count])


def nearest_name(text: str, names: Iterable[str]) -> str | None:
    """Find the name that was probably meant by a text which matches none.

    Example:
        >>> nearest_name("dispersent", ["wetting agent", "dispersant"])
        'dispersant'
    """
    by_fold = {fold(name): name for name in names}
    close = difflib.get_close_matches(fold(text), by_fold, n=1, cutoff=_CLOSE)
    return by_fold[close[0]] if close else None


def other_name(name: str) -> str:
    """Suggest what to call a thing whose name is reserved.

    Example:
        >>> other_name("Day")
        'curing days'
    """
    return RESERVED_WITH_ADVICE.get(fold(name), f"my {tidy(name)}")
