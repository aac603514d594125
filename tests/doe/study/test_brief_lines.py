"""Every key of a TOML text has a line."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from doe.study.brief_lines import Path, find_lines, line_of
from doe.study.templates import LIKES, brief_text

TRICKY = '''\
a.b."c d".e = 1   # dotted, [not] a "heading"
"quoted = key" = "x = 1 # no remark"
list = [
  1, # one
  [2, 3], { in = "}", "line" = 4 },
  "]",
]
text = """
[factor]
low = 3
"""
plain = \'\'\'
low = 4\'\'\'
table = { a = { b.c = 5, d = [6, 7] }, "e" = 8 }
["study".plan]
key = 1
[[factor]]
name = "\\u03b7"
[factor.production]
mean = 35
[[factor.range]]
low = 1
when = { "grind time" = "a" }
[[factor.range]]
low = 2
[[factor]]
low = 1979-05-27T07:32:00Z
[[factor.range]]
low = 3
[z."y.x"]
"\\"" = 9
'''


def _paths(data: Any, path: Path = ()) -> list[Path]:
    inner = data.items() if isinstance(data, dict) else enumerate(data)
    found: list[Path] = []
    for key, said in inner:
        found.append((*path, key))
        if isinstance(said, dict | list):
            found += _paths(said, (*path, key))
    return found


@pytest.mark.parametrize("text", [TRICKY, *(brief_text(like) for like in LIKES)])
def test_every_path_of_the_values_has_a_line(text: str) -> None:
    """The locator must keep step with the real parser on whatever it accepts."""
    lines = find_lines(text)
    paths = _paths(tomllib.loads(text))

    assert [path for path in paths if path not in lines] == []
    assert all(1 <= lines[path] <= text.count("\n") + 1 for path in paths)
    assert set(lines) == set(paths)


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("a", "b", "c d", "e"), 1),
        (("quoted = key",), 2),
        (("list",), 3),
        (("list", 0), 4),
        (("list", 1, 1), 5),
        (("list", 2, "line"), 5),
        (("list", 3), 6),
        (("text",), 8),
        (("plain",), 12),
        (("table", "a", "b", "c"), 14),
        (("table", "a", "d", 1), 14),
        (("study", "plan", "key"), 16),
        (("factor", 0), 17),
        (("factor", 0, "name"), 18),
        (("factor", 0, "production", "mean"), 20),
        (("factor", 0, "range", 0, "when", "grind time"), 23),
        (("factor", 0, "range", 1, "low"), 25),
        (("factor", 1, "low"), 27),
        (("factor", 1, "range", 0, "low"), 29),
        (("z", "y.x", '"'), 31),
    ],
)
def test_a_path_has_the_line_where_it_stands(path: Path, line: int) -> None:
    """Counted by hand in the text above."""
    assert find_lines(TRICKY)[path] == line


def test_a_missing_key_is_told_at_the_table_around_it() -> None:
    """What is not there has no line of its own."""
    lines = find_lines("[[factor]]\nlow = 1\n")

    assert line_of(lines, ("factor", 0, "name")) == 1
    assert line_of(lines, ("response",)) is None


@pytest.mark.parametrize("text", ["[", "[[", "a = [", "a = {", '"', "a = '''", "= 1", "a\n]", "[a"])
def test_text_that_is_no_toml_does_no_harm(text: str) -> None:
    """It is read before all slips are mended."""
    assert isinstance(find_lines(text), dict)
