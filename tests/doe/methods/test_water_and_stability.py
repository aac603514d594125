"""What the methods of water and stability say of themselves."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

import pytest

from analysis.lab.computing.registry import COMPUTE
from analysis.lab.raw_unit import RawUnit
from doe.methods import stability, water
from doe.methods.method import Method

METHODS = (*water.METHODS, *stability.METHODS)
FORMULAS = [one for one in METHODS if one.formula]
OPTIONS = {"area": 0.02, "density": 1.6, "hours": 24.0, "volume": 100.0, "sd_times_v": 21.0}
# Raw readings such as a bench delivers, by column.
RAW = {
    "mass before": 0.5, "mass wet": 0.5425, "mass re-dried": 0.496, "mass after": 0.9,
    "mass after 200 cycles": 0.445, "cup mass at start": 101.0, "cup mass at end": 100.15,
    "days between": 1.0, "L* before": 40.0, "a* before": 30.0, "b* before": 20.0, "L*": 43.0,
    "a*": 28.0, "b*": 21.0, "cycles to failure": 800.0, "clear layer": 4.0,
    "height of filling": 80.0, "density foamed": 1.10, "density de-aerated": 1.16,
    "cup empty": 134.0, "cup filled": 250.0, "dish": 2.0, "dish and sample": 3.0,
    "dish and residue": 2.66,
}  # fmt: skip


@pytest.mark.parametrize("method", METHODS, ids=lambda one: one.name)
def test_every_method_is_computed(method: Method) -> None:
    """A method that nobody computes would stay pending for ever."""
    assert method.name in COMPUTE


@pytest.mark.parametrize("method", water.METHODS, ids=lambda one: one.name)
def test_water_on_films_has_a_film_age_and_panels(method: Method) -> None:
    """A young film takes up more: a water test without an age says nothing."""
    assert method.film_age_d is not None
    assert method.per == "panel"
    assert any("film age" in note for note in method.notes)


@pytest.mark.parametrize("method", METHODS, ids=lambda one: one.name)
def test_no_scatter_is_claimed(method: Method) -> None:
    """No precision of these tests was read: the study's own replicates tell."""
    assert method.repeatability is None


@pytest.mark.parametrize(
    "method", [one for one in METHODS if one.scale_type == "rating"], ids=lambda one: one.name
)
def test_ratings_say_that_their_means_need_care(method: Method) -> None:
    """Ratings are ordinal; steps need not be even."""
    assert any("ordinal" in note and "means need care" in note for note in method.notes)
    assert method.bounds is not None


def test_words_of_ratings_ascend_and_lie_within_the_column() -> None:
    """A drop-down shows them in order."""
    for method in METHODS:
        for column in method.table.columns if method.table else ():
            numbers = list((column.ratings or {}).values())

            assert numbers == sorted(set(numbers))
            assert not numbers or (numbers[0], numbers[-1]) == (column.low, column.high)


@pytest.mark.parametrize("method", METHODS, ids=lambda one: one.name)
def test_formula_names_columns_and_options_that_there_are(method: Method) -> None:
    """An unknown name would leave the sheet's cell empty."""
    columns = {column.name for column in method.table.columns} if method.table else set()
    options = {f"option:{option.name}" for option in method.options}

    assert set(re.findall(r"\{([^{}]*)\}", method.formula)) <= columns | options


@pytest.mark.parametrize("method", FORMULAS, ids=lambda one: one.name)
def test_spreadsheet_and_tool_agree(method: Method) -> None:
    """What the bench sees in the workbook is what is fitted."""
    columns = [column.name for column in method.table.columns] if method.table else []
    values = {name: RAW[name] for name in columns if name in RAW}
    defaults = {one.name: one.default for one in method.options if one.default is not None}
    options = defaults | {o.name: OPTIONS[o.name] for o in method.options if o.name in OPTIONS}
    computed = COMPUTE[method.name](RawUnit(label="run 1", values=values), options)

    assert computed.value == pytest.approx(_worked_out(method.formula, values, options))


def test_a_cup_that_changes_the_wrong_way_has_one_sign_in_sheet_and_tool() -> None:
    """A wet cup that gains: the size of the change alone would look sound in the sheet."""
    method = next(one for one in METHODS if one.name == "water vapour transmission")
    values = {"cup mass at start": 100.0, "cup mass at end": 100.85, "days between": 1.0}
    for cup, v in (("wet", -170.0), ("dry", 170.0)):
        options: dict[str, float | str] = {"area": 0.005, "cup": cup}
        computed = COMPUTE[method.name](RawUnit(label="run 1", values=values), options)

        assert computed.value == pytest.approx(v)
        assert _worked_out(method.formula, values, options) == pytest.approx(v)


def _worked_out(
    formula: str, values: Mapping[str, float], options: Mapping[str, float | str]
) -> float:
    def number(match: re.Match[str]) -> str:
        name = match[1]
        found = options[name[7:]] if name.startswith("option:") else values[name]
        return f"({found!r})"

    text = re.sub(r"\{([^{}]*)\}", number, formula).replace("^", "**").replace('="', '=="')
    known = {"SQRT": math.sqrt, "ABS": abs, "IF": lambda is_so, a, b: a if is_so else b}
    return float(eval(text, {"__builtins__": {}}, known))
