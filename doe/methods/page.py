"""The page that lists all test methods: `python -m doe.methods.page > docs/methods.md`."""

from __future__ import annotations

import sys
from collections.abc import Iterator

from doe.methods.method import Method, Option
from doe.methods.registry import FAMILIES

_HEADS = ("name", "gives", "unit", "raw readings", "options", "in the manner of")


def methods_page() -> str:
    """Write the page, a table a family, from the registry."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    yield "# Test methods"
    yield ""
    yield (
        '`from = "…"` of a response takes one of these names, `with = { … }` its options. Values '
        "are calculated in the manner of the standards named; nothing here claims conformity. An "
        "option with a value in brackets has that default; one with a star must be given."
    )
    yield ""
    yield "This page is written by `python -m doe.methods.page > docs/methods.md`."
    for family, methods in FAMILIES.items():
        yield ""
        yield f"## {family[0].upper()}{family[1:]}"
        yield ""
        yield _row(_HEADS)
        yield _row("---" for _ in _HEADS)
        for method in methods:
            yield _row(_cells(method))


def _cells(method: Method) -> Iterator[str]:
    yield f"`{method.name}`"
    yield method.gives
    yield method.unit or "–"
    yield _readings(method)
    yield "; ".join(_option(option) for option in method.options) or "–"
    yield method.standard


def _readings(method: Method) -> str:
    if method.gathers == "recipe":
        return "none: from the recipe"
    if method.table is None:
        return f"none: from another response ({method.gathers})"
    table = method.table
    named = [
        f"{column.name}{f' ({column.unit})' if column.unit else ''}"
        + ("" if column.is_needed else ", if read")
        for column in table.columns
    ]
    curves = [f"curve: {word or 'plain'}" for word in table.curves if table.curve]
    return f"*{table.name}*: " + "; ".join([*named, *curves])


def _option(option: Option) -> str:
    words = f": {', '.join(option.words)}" if option.words else ""
    unit = f" {option.unit}" if option.unit else ""
    if option.is_needed:
        return f"`{option.name}`*{words or unit}"
    if option.default is None:
        return f"`{option.name}`{words or unit}"
    default = option.default if isinstance(option.default, str) else f"{option.default:g}"
    return f"`{option.name}` [{default}{unit}]{words}"


def _row(cells: Iterator[str] | tuple[str, ...]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr]  # a stream of text when run
    sys.stdout.write(methods_page())
