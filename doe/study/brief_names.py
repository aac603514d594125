"""The names of a brief: unique together, and none of our own words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from doe.study.brief import Study
from doe.study.brief_flaws import Flaw
from doe.study.brief_lines import Path
from doe.study.names import RESERVED, fold, other_name, tidy

Named = tuple[Path, str, str]

# A block may be a day; the other stages hold the blocks and cannot be one.
_BLOCKS_TOO = frozenset({"day", "block", "lot", "order"})


def tidy_names(study: Study) -> Study:
    """Give the brief with white space in names made plain; nothing else changes."""
    package = study.package
    if package:
        package = package.model_copy(update={"additives": _tidied(package.additives)})
    return study.model_copy(
        update={
            "package": package,
            "factors": _tidied(study.factors),
            "responses": _tidied(study.responses),
            "controls": _tidied(study.controls),
            "blocks": _tidied(study.blocks),
        }
    )


def _tidied(several: Iterable[Any]) -> tuple[Any, ...]:
    # Every section handed in here has a name; levels are words of a factor.
    return tuple(one.model_copy(update=_tidy_fields(one)) for one in several)


def _tidy_fields(one: Any) -> dict[str, Any]:
    fields: dict[str, Any] = {"name": tidy(one.name)}
    if getattr(one, "levels", ()) and isinstance(one.levels[0], str):
        fields["levels"] = tuple(tidy(level) for level in one.levels)
    if isinstance(getattr(one, "value", None), str):
        fields["value"] = tidy(one.value)
    return fields


def check_names(study: Study) -> Iterator[Flaw]:
    """Find names that are empty, taken, twice, or not to be told from other signs."""
    named = list(_named(study))
    for path, what, name in named:
        yield from _check_name(path, what, name, reserved=RESERVED)
    yield from _check_unique(named)
    blocks: list[Named] = [
        (("block", i, "name"), "block", one.name) for i, one in enumerate(study.blocks)
    ]
    for path, what, name in blocks:
        yield from _check_name(path, what, name, reserved=RESERVED - _BLOCKS_TOO)
    settings = [one for one in named if one[1] in {"factor", "additive"}]
    yield from (flaw for flaw in _check_unique(settings + blocks) if flaw.path[0] == "block")
    yield from _check_unique(
        (("study", "roles", i), "role", role) for i, role in enumerate(study.about.roles)
    )


def _named(study: Study) -> Iterator[Named]:
    for i, additive in enumerate(study.additives):
        yield ("package", "additive", i, "name"), "additive", additive.name
    several: dict[str, Iterable[Any]] = {
        "factor": study.factors,
        "response": study.responses,
        "control": study.controls,
    }
    for key, ones in several.items():
        for i, one in enumerate(ones):
            yield (key, i, "name"), key, one.name


def _check_name(path: Path, what: str, name: str, *, reserved: frozenset[str]) -> Iterator[Flaw]:
    if not fold(name):
        yield Flaw(path=path, what=f"the name of this {what} is empty", do="Give it a name.")
    elif fold(name) in reserved:
        yield Flaw(
            path=path,
            what=f'"{name}" is a word that our own tables use',
            do=f'Take another name, such as "{other_name(name)}".',
        )
    elif '"' in name or not name.isprintable():
        yield Flaw(
            path=path,
            what=f"the name of this {what} holds a quote or an invisible sign",
            do="Leave it out: quotes protect a name inside a model term.",
        )


def _check_unique(named: Iterable[Named]) -> Iterator[Flaw]:
    seen: dict[str, Named] = {}
    for path, what, name in named:
        other = seen.setdefault(fold(name), (path, what, name))
        if other[0] != path and fold(name):
            spelled = "" if other[2] == name else f' (as "{other[2]}")'
            yield Flaw(
                path=path,
                what=f'the name "{name}" stands twice: {_also(other)}{spelled}',
                do="Give each its own name; capitals and blanks do not tell names apart.",
                rests_on=(path, other[0]),
            )


def _also(other: Named) -> str:
    path, what, _ = other
    number = next((key for key in reversed(path) if isinstance(key, int)), 0) + 1
    return f"also {what} {number}"
