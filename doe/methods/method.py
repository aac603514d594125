"""What a test method is, as a value: what the bench writes down, and what the number means.

Nothing here says that a result conforms to a standard: numbers are calculated in the manner of it,
and its own text is needed for conformity.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from doe.study.brief import ScaleName

# How sure a fact of the trade is: read in the source named, recalled, or common shop practice.
Mark = Literal["read", "from memory", "common practice, no source", "calculated"]
ScaleType = Literal[
    "ratio", "percent of standard", "bounded", "difference", "distance", "interval", "rating",
    "count", "time to event",
]  # fmt: skip
Direction = Literal["low", "high", "target"]
Unit = Literal["batch", "sample", "panel"]
CurveKind = Literal["reflectance", "flow curve"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RawColumn:
    """One raw reading, as the bench writes it down.

    Attributes:
        name: Head of the column, alone in its table: `wet mass`.
        unit: Its unit; empty for ratings and counts.
        ratings: The words of a rating, each with the number that stands for it; empty for numbers.
        spellings: Other words of a rating that are taken, each with its number.
        low: Least value that is possible at all; None without one. Less is doubted.
        high: Greatest value that is possible at all.
        is_needed: Whether the method can do nothing without it.
        hint: What to read and how, a few words.
    """

    name: str
    unit: str = ""
    ratings: Mapping[str, float] | None = None
    spellings: Mapping[str, float] | None = None
    low: float | None = None
    high: float | None = None
    is_needed: bool = True
    hint: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """What the bench writes down in one test; several methods may read the same table.

    Attributes:
        name: Of the test: `water uptake`. `raw/` holds one table a test.
        columns: The raw readings; empty where they come as curves alone.
        curve: The kind of curves that come from an instrument's file; None without any.
        curves: Which curves of a unit are needed, by the word that labels them; an empty word is
            the plain reading. Those of the standard and of the white are said by `references`.
        references: What is drawn and read beside the runs: `standard`, `white`.
        cautions: What can hurt, in a sentence each.
    """

    name: str
    columns: tuple[RawColumn, ...] = ()
    curve: CurveKind | None = None
    curves: tuple[str, ...] = ()
    references: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """What a brief may set of a method, with `with = { … }`.

    Attributes:
        name: Key.
        default: What holds without a word; None where the brief has to say it.
        words: The words that fit; empty for a number.
        low: Least number that fits, lab units; None without an end.
        high: Greatest number that fits.
        unit: Unit of the number.
        meaning: What it is, a phrase.
        mark: How sure the default is.
        is_needed: Whether the method can do nothing without it.
    """

    name: str
    default: float | str | None = None
    words: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    unit: str = ""
    meaning: str = ""
    mark: Mark = "common practice, no source"
    is_needed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """How far two readings of one unit lie apart, as one standard deviation.

    Attributes:
        sd: In the unit of the result, or as a fraction of it where `is_relative`.
        is_relative: Whether it is a coefficient of variation, 0..1.
        source: Where it was found.
    """

    sd: float
    is_relative: bool = False
    source: str = ""


Gathers = Literal["unit", "times in a batch", "two ages", "recipe"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """One way from raw readings to the value of a response.

    Attributes:
        name: As `from = "…"` in the brief calls it.
        gives: What the value is, a phrase.
        unit: Unit of the value.
        direction: Which way is better, as a rule.
        scale_type: What kind of number it is.
        scale: Scale on which such numbers are fitted, as a rule.
        bounds: Ends that the value can never pass; for a logit.
        standard: Number and year of the standard in whose manner it is calculated.
        typical: Where values lie as a rule; one far outside is doubted.
        typical_mark: How sure that is.
        repeatability: None where none was found: the study's own replicates tell.
        film_age_d: Age at which it is read as a rule, days.
        per: The unit it belongs to as a rule.
        table: The raw readings that it needs; None where it comes from another response.
        options: What the brief may set.
        needs_one_of: Sets of options of which the brief must give one whole, such as the area, or
            stroke and width; empty where there is no such choice.
        gathers: Whether it needs one unit, all grind times of a batch, two ages of a unit, or no
            reading at all, as the settings give its value through the recipe.
        formula: What a spreadsheet can compute, columns in braces `{wet mass}`, options as
            `{option:area}`; empty where it cannot.
        notes: What the reader has to know of the number, a sentence each.
    """

    name: str
    gives: str
    unit: str
    direction: Direction
    scale_type: ScaleType
    scale: ScaleName = "identity"
    bounds: tuple[float, float] | None = None
    standard: str
    typical: tuple[float, float] | None = None
    typical_mark: Mark = "common practice, no source"
    repeatability: Repeatability | None = None
    film_age_d: float | None = None
    per: Unit = "sample"
    table: RawTable | None = None
    options: tuple[Option, ...] = ()
    needs_one_of: tuple[tuple[str, ...], ...] = ()
    gathers: Gathers = "unit"
    formula: str = ""
    notes: tuple[str, ...] = ()

    def option(self, name: str) -> Option:
        """Find an option by its key.

        Raises:
            KeyError: It has no such option.
        """
        for option in self.options:
            if option.name == name:
                return option
        raise KeyError(name)
