"""Problems that the search for optimal plans is measured on, stated as data.

A family is a region, a model and who shares what; each of its sizes and criteria is a problem.
Ranges run from −1 to 1, so that lab and coded units are the same; nothing has a step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from doe.layouts.optimal.goal import criterion_values
from doe.layouts.optimal.search import Wanted, prepared
from doe.model.coding import code, coding_of
from doe.model.expansion import compile_model
from doe.model.region import region_of
from doe.model.strata import Strata, Stratum, make_strata, precision, stages_of
from doe.model.terms import make_model
from doe.study.brief import Study
from doe.study.settings import FloatArray, IntArray

Share = tuple[float, float]
FREE: Share = (0.0, 1.0)


def _range(name: str, **more: Any) -> dict[str, Any]:
    return {"name": name, "low": -1.0, "high": 1.0, **more}


def _ranges(count: int, **more: Any) -> tuple[dict[str, Any], ...]:
    return tuple(_range(f"factor {i + 1}", **more) for i in range(count))


def _choice(count: int) -> dict[str, Any]:
    names = ("acrylate", "block", "comb", "electrosteric", "resin-free")
    return {"name": "chemistry", "levels": list(names[:count])}


GRIND_TIME = _range("grind time", set_per="sample")
# Each chemistry has its own dose range, and one of them none.
RANGED_DOSE = {
    "name": "dose",
    "range": [
        {"when": {"chemistry": "acrylate"}, "low": 0.5, "high": 1.5},
        {"when": {"chemistry": "block"}, "low": 1.0, "high": 3.0},
        {"when": {"chemistry": "comb"}, "low": 2.0, "high": 4.0},
    ],
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """A region, a model and who shares what.

    Attributes:
        name: What to call it.
        sizes: Numbers of runs.
        factors: Factors as the brief states them.
        additives: Low and high share of each.
        limits: Linear limits as the brief states them.
        package_per: Stage at which the package is set.
        each: Samples drawn from every batch; 0 where each run is a batch of its own.
        day: Runs a day; 0 without days.
        day_is_fixed: Whether days are fixed blocks.
    """

    name: str
    sizes: tuple[int, ...]
    factors: tuple[Mapping[str, Any], ...] = ()
    additives: tuple[Share, ...] = ()
    limits: tuple[Mapping[str, Any], ...] = ()
    package_per: str = "batch"
    each: int = 0
    day: int = 0
    day_is_fixed: bool = False


FAMILIES: tuple[Family, ...] = (
    Family(name="2 factors", sizes=(6, 8, 12), factors=_ranges(2)),
    Family(name="3 factors", sizes=(10, 14, 16), factors=_ranges(3)),
    Family(name="4 factors", sizes=(15, 20, 25), factors=_ranges(4)),
    Family(name="5 factors", sizes=(21, 28, 35), factors=_ranges(5)),
    Family(name="6 factors", sizes=(28, 36), factors=_ranges(6)),
    Family(name="7 factors", sizes=(36, 46), factors=_ranges(7)),
    Family(name="3 additives", sizes=(8,), additives=(FREE,) * 3),
    Family(name="4 additives", sizes=(14,), additives=(FREE,) * 4),
    Family(name="5 additives", sizes=(20,), additives=(FREE,) * 5),
    Family(name="6 additives", sizes=(26,), additives=(FREE,) * 6),
    Family(name="3 bounded", sizes=(9,), additives=((0.1, 0.4), (0.4, 0.8), (0.0, 0.3))),
    Family(name="4 bounded", sizes=(14,),
           additives=((0.1, 0.4), (0.3, 0.7), (0.0, 0.3), (0.05, 0.25))),
    Family(name="5 bounded", sizes=(20,),
           additives=((0.1, 0.4), (0.2, 0.6), (0.0, 0.3), (0.0, 0.25), (0.05, 0.2))),
    Family(name="6 bounded", sizes=(26,),
           additives=((0.1, 0.4), (0.2, 0.6), (0.0, 0.3), (0.0, 0.2), (0.0, 0.2), (0.05, 0.15))),
    Family(name="3 additives + 2", sizes=(24,), factors=_ranges(2),
           additives=((0.1, 0.4), (0.4, 0.8), (0.0, 0.3))),
    Family(name="4 additives + 1", sizes=(20,), factors=_ranges(1), additives=(FREE,) * 4),
    Family(name="cut box", sizes=(14,), factors=_ranges(3),
           limits=({"sum": {"factor 1": 1.0, "factor 2": 1.0, "factor 3": 0.5}, "at_most": 1.0},)),
    Family(name="choice of 3 × 2", sizes=(18,), factors=(*_ranges(2), _choice(3))),
    Family(name="choice of 5 × 3", sizes=(32,), factors=(*_ranges(3), _choice(5))),
    Family(name="dose by chemistry", sizes=(20,),
           factors=(_choice(3), RANGED_DOSE, *_ranges(1))),
    Family(name="levels", sizes=(14,),
           factors=(*_ranges(2), {"name": "bead", "levels": [-1.0, -0.5, 0.2, 1.0]})),
    Family(name="8 batches × 3", sizes=(24,), each=3, factors=(*_ranges(2), GRIND_TIME)),
    Family(name="10 batches × 4", sizes=(40,), each=4, factors=(*_ranges(3), GRIND_TIME)),
    Family(name="8 × 3, package a batch", sizes=(24,), each=3, factors=(GRIND_TIME,),
           additives=((0.1, 0.4), (0.4, 0.8), (0.0, 0.3))),
    Family(name="8 × 3, package a sample", sizes=(24,), each=3, factors=_ranges(1),
           additives=(FREE,) * 3, package_per="sample"),
    Family(name="3 fixed days", sizes=(18,), day=6, day_is_fixed=True, factors=_ranges(3)),
    Family(name="5 random days", sizes=(20,), day=4, factors=_ranges(3)),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One problem: a family, a number of runs and a criterion."""

    family: Family
    n: int
    criterion: str

    @property
    def name(self) -> str:
        """Give the key under which its best known value is kept."""
        return f"{self.family.name}, {self.n} runs, {self.criterion}"


CASES: tuple[Case, ...] = tuple(
    Case(family=family, n=n, criterion=criterion)
    for family in FAMILIES
    for n in family.sizes
    for criterion in ("D", "I")
)


def case_named(name: str) -> Case:
    """Find a problem by its name."""
    return next(case for case in CASES if case.name == name)


def study_of(family: Family) -> Study:
    """Write the family's brief."""
    sections: dict[str, Any] = {
        "study": {"title": "Invented"},
        "factor": list(family.factors),
        "limit": list(family.limits),
        "response": [{"name": "viscosity"}],
    }
    if family.additives:
        sections["package"] = {
            "set_per": family.package_per,
            "additive": [
                {"name": f"additive {i + 1}", "low": low, "high": high}
                for i, (low, high) in enumerate(family.additives)
            ],
        }
    return Study.model_validate(sections)


def strata_of(family: Family, n: int) -> Strata:
    """Say which runs share a day or a batch."""
    units = []
    if family.day:
        units.append(Stratum(name="day", unit=_grouped(n, family.day),
                             is_fixed=family.day_is_fixed))  # fmt: skip
    if family.each:
        units.append(Stratum(name="batch", unit=_grouped(n, family.each)))
    return make_strata(n, units)


def wanted_of(case: Case, **more: Any) -> Wanted:
    """State a problem as the search takes it; `more` goes on to it (seed, starts, workers)."""
    study = study_of(case.family)
    region = region_of(study)
    return Wanted(
        region=region, model=make_model("quadratic", region.coding), n=case.n,
        weights={case.criterion: 1.0}, strata=strata_of(case.family, case.n),
        stages=stages_of(study), **more,
    )  # fmt: skip


@lru_cache(maxsize=128)
def moments_of(name: str) -> FloatArray:
    """Give the moments of a problem's model over its region."""
    return prepared(wanted_of(case_named(name)))[1]


def value_of(case: Case, values: FloatArray) -> float:
    """Judge a plan in lab units by the criterion of the problem, at a variance ratio of 1."""
    wanted = wanted_of(case)
    coding = coding_of(study_of(case.family))
    X = compile_model(coding, wanted.model).matrix(code(values, coding))
    return criterion_values(X, precision(wanted.strata, 1.0), moments_of(case.name))[case.criterion]


def efficiency(case: Case, value: float, best: float) -> float:
    """Compare two values of a criterion: 1 where they are equal, less where the first is worse."""
    return value / best if case.criterion == "D" else best / value


def _grouped(n: int, size: int) -> IntArray:
    return np.arange(n) // size + 1
