"""What the colour methods say of themselves."""

from __future__ import annotations

import math
import re

import pytest

from analysis.lab.computing.registry import COMPUTE
from analysis.lab.raw_unit import RawUnit
from doe.methods.colour import METHODS
from doe.methods.method import Method

FORMULAS = [one for one in METHODS if one.formula]
# Raw readings such as a bench delivers, by column.
RAW = {
    "L* plain": 60.0, "a* plain": 20.0, "b* plain": 10.0, "L* rubbed": 58.5, "a* rubbed": 21.0,
    "b* rubbed": 10.5, "Y over black": 92.1, "Y over white": 95.3, "gloss 20°": 75.0,
    "gloss 60°": 88.0, "gloss 85°": 95.0, "linear haze": 12.0,
}  # fmt: skip


@pytest.mark.parametrize("method", METHODS, ids=lambda one: one.name)
def test_every_method_is_computed(method: Method) -> None:
    """A method that nobody computes would stay pending for ever."""
    assert method.name in COMPUTE


@pytest.mark.parametrize("method", METHODS, ids=lambda one: one.name)
def test_no_scatter_is_claimed(method: Method) -> None:
    """No precision of these tests was read: the study's own replicates tell."""
    assert method.repeatability is None


@pytest.mark.parametrize("method", METHODS, ids=lambda one: one.name)
def test_every_default_is_one_of_the_words(method: Method) -> None:
    """Else a brief without a word would be computed in a way that it cannot ask for."""
    for option in method.options:
        assert not option.words or option.default in option.words


def test_tables_of_one_name_are_one_table() -> None:
    """`raw/` holds one table a test."""
    tables = {method.table.name: method.table for method in METHODS if method.table}

    assert all(method.table in tables.values() for method in METHODS)


@pytest.mark.parametrize("method", FORMULAS, ids=lambda one: one.name)
def test_spreadsheet_and_tool_agree(method: Method) -> None:
    """What the bench sees in the workbook is what is fitted."""
    columns = {column.name for column in method.table.columns} if method.table else set()
    named = set(re.findall(r"\{([^{}]*)\}", method.formula))
    computed = COMPUTE[method.name](RawUnit(label="run 1", values=RAW), {})
    text = re.sub(r"\{([^{}]*)\}", lambda match: f"({RAW[match[1]]!r})", method.formula)
    worked_out = eval(text, {"__builtins__": {}}, {"LOG10": math.log10})

    assert named <= columns
    assert computed.value == pytest.approx(worked_out)
