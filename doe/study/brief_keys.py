"""The keys of a brief: which table knows which, and what an unknown one was probably meant for."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, get_args, get_origin

from doe.study.brief import Section, Study
from doe.study.brief_flaws import Flaw
from doe.study.brief_lines import Path
from doe.study.names import fold

# What people write for a key of ours, by habit or from other files.
_HABITS = {
    "min": "low", "minimum": "low", "lower": "low", "from": "low", "start": "low",
    "max": "high", "maximum": "high", "upper": "high", "to": "high", "stop": "high",
    "units": "unit", "goal": "aim", "objective": "aim", "direction": "aim", "weight": "importance",
    "log": "spacing", "fixed": "value", "held": "value", "options": "levels", "values": "levels",
    "choices": "levels", "stage": "set_per", "method": "from", "limits": "accept", "spec": "accept",
    "transform": "scale", "transformation": "scale", "reason": "because",
    "active": "active_percent", "solids": "active_percent", "density": "density_g_per_ml",
    "price": "price_per_kg", "voc": "voc_percent", "about": "study", "mixture": "package",
    "blend": "package",
    "component": "additive", "goals": "response", "wishes": "plan", "sd": "scatter_sd",
}  # fmt: skip
_CLOSE = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a table: the section it holds, if it holds one, and whether several of it."""

    section: type[Section] | None
    several: bool


def keys_of(section: type[Section]) -> dict[str, Key]:
    """List the keys of a table as they are spelled in a file."""
    return {
        field.alias or name: _key(field.annotation) for name, field in section.model_fields.items()
    }


def _key(annotation: Any) -> Key:
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return Key(section=annotation, several=False)
    for inner in get_args(annotation):
        key = _key(inner)
        if key.section:
            return Key(section=key.section, several=key.several or get_origin(annotation) is tuple)
    return Key(section=None, several=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownKeys:
    """A brief with known keys only.

    Attributes:
        data: The brief; keys that were probably meant stand under their right names.
        flaws: The unknown keys, and tables that stand once where several are due or the reverse.
        renamed: Right path by the path as written.
        doubtful: Paths of what could not be used.
    """

    data: dict[str, Any]
    flaws: tuple[Flaw, ...]
    renamed: Mapping[Path, Path]
    doubtful: frozenset[Path]


def settle_keys(data: Mapping[str, Any]) -> KnownKeys:
    """Name the unknown keys of a brief and take each for the known one it is nearest to."""
    sieve = _Sieve()
    settled = sieve.table(data, Study, ())
    return KnownKeys(
        data=settled,
        flaws=tuple(sieve.flaws),
        renamed=sieve.renamed,
        doubtful=frozenset(sieve.doubtful),
    )


class _Sieve:
    """One walk over a brief; the only value here that changes."""

    def __init__(self) -> None:
        self.flaws: list[Flaw] = []
        self.renamed: dict[Path, Path] = {}
        self.doubtful: set[Path] = set()

    def table(self, data: Mapping[str, Any], section: type[Section], path: Path) -> dict[str, Any]:
        known = keys_of(section)
        settled: dict[str, Any] = {}
        for written, said in data.items():
            key = written if written in known else self._unknown(written, data, known, path)
            if key is None or key in settled:
                continue
            if key != written:
                self.renamed[(*path, written)] = (*path, key)
            settled[key] = self._said(said, known[key], (*path, key))
        return settled

    def _unknown(
        self, written: str, data: Mapping[str, Any], known: Mapping[str, Key], path: Path
    ) -> str | None:
        key = meant_key(written, known)
        do, home = "", home_of(written) if key is None else None
        if key is not None:
            do = f"Probably {key} is meant."
        elif home is not None:
            do = f"It belongs in {home}."
        self.flaws.append(
            Flaw(
                path=(*path, written),
                what=f"the key {_plain(written)} is not known here",
                allowed=", ".join(known) if not do else "",
                do=do,
            )
        )
        return key if key not in data else None

    def _said(self, said: Any, key: Key, path: Path) -> Any:
        if key.section is None:
            return said
        if key.several:
            return self._several(said, key.section, path)
        if isinstance(said, list) and len(said) == 1 and isinstance(said[0], dict):
            self._flaw(
                path, "is a list of tables where one table is due", f"Write [{_dots(path)}]."
            )
            said = said[0]
        if isinstance(said, dict):
            return self.table(said, key.section, path)
        return self._refuse(
            path, said, f"Write [{_dots(path)}] on a line of its own, its keys below."
        )

    def _several(self, said: Any, section: type[Section], path: Path) -> list[Any]:
        heading = f"[[{_dots(path)}]]"
        if isinstance(said, dict):
            self._flaw(path, "is one table where a list of tables is due", f"Write {heading}.")
            said = [said]
        if not isinstance(said, list):
            self._refuse(path, said, f"Write {heading} on a line of its own, its keys below.")
            return []
        return [
            self.table(one, section, (*path, i))
            if isinstance(one, dict)
            else self._refuse((*path, i), one, f"Write {heading} for each, its keys below.") or {}
            for i, one in enumerate(said)
        ]

    def _refuse(self, path: Path, said: Any, do: str) -> dict[str, Any]:
        self._flaw(path, f"is {said!r:.40} where a table is due", do)
        self.doubtful.update({path, ()})
        return {}

    def _flaw(self, path: Path, what: str, do: str) -> None:
        key = next((one for one in reversed(path) if isinstance(one, str)), "")
        self.flaws.append(Flaw(path=path, what=f"{key} {what}", do=do))


def meant_key(written: str, known: Iterable[str]) -> str | None:
    """Guess which known key was meant.

    Example:
        >>> meant_key("hihg", ["low", "high"])
        'high'
    """
    known = tuple(known)
    plain = fold(written).replace(" ", "_").replace("-", "_")
    for guess in (plain, _HABITS.get(plain), plain.removesuffix("s"), f"{plain}s"):
        if guess is not None and guess in known:
            return guess
    swapped = [key for key in known if sorted(key) == sorted(plain)]
    close = swapped or difflib.get_close_matches(plain, known, n=1, cutoff=_CLOSE)
    return close[0] if close else None


def home_of(written: str) -> str | None:
    """Name the table that knows a key, if just one or two do."""
    homes = [heading for heading, section in _headings(Study, "", several=False)
             if written in keys_of(section)]  # fmt: skip
    return " or ".join(homes) if 1 <= len(homes) <= 2 else None


def _headings(
    section: type[Section], prefix: str, *, several: bool
) -> list[tuple[str, type[Section]]]:
    found: list[tuple[str, type[Section]]] = []
    if prefix:
        found.append((f"[[{prefix}]]" if several else f"[{prefix}]", section))
    for name, key in keys_of(section).items():
        if key.section:
            below = f"{prefix}.{name}".lstrip(".")
            found += _headings(key.section, below, several=key.several)
    return found


def _plain(key: str) -> str:
    return key if key.isidentifier() else f'"{key}"'


def _dots(path: Path) -> str:
    return ".".join(key for key in path if isinstance(key, str))
