"""Invented studies for the recipe card, their models written down instead of fitted."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import numpy as np

from analysis.choice.search import choose_compromise
from analysis.fits.fit import Fit, Scale
from analysis.fits.kenward_roger import KenwardRoger
from analysis.fits.likelihood.parts import CountPart, OrdinalPart
from analysis.report.content import Provenance
from analysis.report.decide.basis import DecisionBasis
from analysis.surface.exact import Surface, exact_response
from doe.model.bend import Bend, FormName
from doe.model.coding import Coding, coding_of
from doe.model.column import bent_columns, model_columns
from doe.model.region import region_of
from doe.model.term import Model
from doe.model.terms import make_model
from doe.study.brief import Study
from doe.study.settings import FloatArray

PACKAGE_BRIEF = """
[study]
title = "Package, dose and grind </script><b>time</b>"
seed = 5
[pigment]
name = "red iron oxide"
price_per_kg = 2.0
[millbase]
batch_g = 500.0
pigment_percent = 55.0
balance_price_per_kg = 0.0
[[millbase.ingredient]]
name = "defoamer"
percent = 0.3
price_per_kg = 5.0
[letdown]
millbase_g = 25.0
[[letdown.ingredient]]
name = "acrylic dispersion"
grams = 75.0
active_percent = 46.0
price_per_kg = 1.8
[package]
[[package.additive]]
name = "wetting agent"
low = 0.05
high = 0.35
step = 0.01
active_percent = 70.0
price_per_kg = 6.0
[[package.additive]]
name = "dispersant"
low = 0.35
high = 0.85
step = 0.01
active_percent = 40.0
price_per_kg = 4.0
[[package.additive]]
name = "hydrophobic co-additive"
low = 0.10
high = 0.45
step = 0.01
active_percent = 35.0
price_per_kg = 8.0
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 2.4
spacing = "log"
step = 0.05
[[factor]]
name = "pH"
low = 8.0
high = 9.5
set_by = "neutraliser"
step = 0.05
[[factor]]
name = "bead diameter"
unit = "mm"
levels = [0.4, 0.8, 1.2]
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
[[limit]]
sum = { "dose" = 1.0, "wetting agent" = 4.0 }
at_most = 3.0
because = "foam"
[[forbid]]
settings = { neutraliser = "ammonia", pH = "> 9.3" }
because = "smell"
[[response]]
name = "viscosity"
unit = "mPa·s"
aim = "low"
best = 300
worst = 900
accept = { at_most = 600 }
scale = "log"
[[response]]
name = "gloss"
unit = "%"
aim = "high"
best = 90
worst = 20
accept = { at_least = 45 }
scale = "logit"
bounds = [0, 100]
[[response]]
name = "fineness"
unit = "µm"
aim = "target"
best = 12
worst_low = 2
worst_high = 40
accept = { at_least = 4, at_most = 30 }
scale = "power"
power = -0.5
[[response]]
name = "water uptake"
unit = "% by mass"
aim = "low"
best = 2
worst = 9
accept = { at_most = 7 }
[[response]]
name = "settling"
unit = "mm"
scale = "square root"
accept = { at_most = 9 }
[[response]]
name = "rub-out"
kind = "rating"
aim = "high"
best = 5
worst = 1
accept = { at_least = 4 }
[[response]]
name = "craters"
kind = "count"
aim = "low"
best = 0
worst = 20
accept = { at_most = 8 }
[[response]]
name = "sediment"
unit = "mm"
accept = { at_most = 6 }
[[response]]
name = "cost"
from = "cost per kg"
unit = "€/kg"
[[view]]
role = "colourist"
importance = { gloss = 4.0 }
"""

RANGED_BRIEF = """
[study]
title = "One additive of three, each in its own range"
[millbase]
batch_g = 400.0
pigment_percent = 50.0
[[factor]]
name = "additive"
levels = ["none", "polymer", "soap"]
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
step = 0.1
[[factor.range]]
when = { additive = "polymer" }
low = 0.5
high = 2.5
[[factor.range]]
when = { additive = "soap" }
low = 0.2
high = 1.2
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 60
[[factor]]
name = "water hardness"
unit = "mmol/l"
low = 0.5
high = 4.0
noise = true
production = { mean = 2.0, sd = 0.6 }
[[material]]
name = "polymer"
active_percent = 40.0
[[response]]
name = "viscosity"
unit = "mPa·s"
aim = "low"
best = 200
worst = 2000
accept = { at_most = 900 }
scale = "log"
[[response]]
name = "strength"
unit = "%"
aim = "high"
best = 108
worst = 90
accept = { at_least = 97 }
"""

FORM_BRIEF = """
[study]
title = "A dose with a critical value"
[[factor]]
name = "dose"
unit = "%"
low = 0.5
high = 4.0
[[factor]]
name = "pH"
low = 8.0
high = 9.5
[[response]]
name = "viscosity"
unit = "mPa·s"
aim = "low"
best = 300
worst = 900
accept = { at_most = 600 }
scale = "log"
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How a written-down model scatters."""

    level: float
    size: float
    by: str = "ols"
    scale: Scale = field(default_factory=Scale)


@cache
def package_case() -> DecisionBasis:
    """The package with its compromise, searched for."""
    basis = package_models()
    found = choose_compromise(
        basis.study, basis.region, basis.surfaces, rng=np.random.default_rng(1)
    )
    return replace(basis, compromise=found)


@cache
def package_models() -> DecisionBasis:
    """A package with limit and forbid; every scale, family and estimator among its responses."""
    study = Study.model_validate(tomllib.loads(PACKAGE_BRIEF))
    coding = coding_of(study)
    rng = np.random.default_rng(11)
    spreads = {
        "viscosity": Spread(level=6.2, size=0.15, by="reml", scale=Scale(name="log")),
        "gloss": Spread(level=0.4, size=0.3, scale=Scale(name="logit", bounds=(0.0, 100.0))),
        "fineness": Spread(level=1.4, size=0.04, by="two", scale=Scale(name="power", power=-0.5)),
        "water uptake": Spread(level=5.0, size=0.6, by="reml"),
        "settling": Spread(level=2.2, size=0.4, scale=Scale(name="square root")),
        "rub-out": Spread(
            level=0.8, size=0.5, by="ml", scale=Scale(name="logit", bounds=(0.0, 1.0))
        ),
        "craters": Spread(level=1.2, size=0.2, by="ml", scale=Scale(name="log")),
        "sediment": Spread(level=4.0, size=0.5, by="ml"),
    }
    fits: dict[str, Surface] = {}
    for name, spread in spreads.items():
        model = "cubic" if name == "water uptake" else "quadratic"
        fit = written(coding, name, make_model(model, coding), spread, rng)
        if name == "rub-out":
            surfaces = np.stack([fit.coefficients, fit.coefficients - 1.0])
            part = OrdinalPart(
                classes=(3.0, 4.0, 5.0), surfaces=surfaces,
                covariances=np.stack([fit.covariance] * 2),
                accepted=np.array([False, True, True]), batch_sd=0.3,
            )  # fmt: skip
            fit = replace(fit, family="ordinal", classes=part, unit="")
        if name == "craters":
            fit = replace(fit, family="count", counts=CountPart(overdispersion=0.1), unit="")
        fits[name] = replace(fit, unit=study.response(name).unit)
    fits["cost"] = exact_response(study, study.response("cost"), coding)
    return _basis(study, fits)


@cache
def ranged_case() -> DecisionBasis:
    """A dose that hangs on a choice and is lacking at one level; a noise factor."""
    study = Study.model_validate(tomllib.loads(RANGED_BRIEF))
    coding = coding_of(study)
    rng = np.random.default_rng(3)
    model = make_model("quadratic", coding)
    spreads = {
        "viscosity": Spread(level=6.4, size=0.2, by="reml", scale=Scale(name="log")),
        "strength": Spread(level=99.0, size=1.5),
    }
    fits = {name: written(coding, name, model, one, rng) for name, one in spreads.items()}
    return _basis(study, {n: replace(f, unit=study.response(n).unit) for n, f in fits.items()})


@cache
def form_case(form: FormName, shape: tuple[float, ...]) -> DecisionBasis:
    """A factor whose axis is bent by a form."""
    study = Study.model_validate(tomllib.loads(FORM_BRIEF))
    coding = coding_of(study)
    plain = make_model("interactions", coding)
    n_bent = len(bent_columns(model_columns(plain, coding), "dose"))
    bend = Bend(
        factor="dose", form=form, shape=shape, low=0.5, high=4.0,
        weights=tuple(-0.3 - 0.1 * i for i in range(n_bent)),
    )  # fmt: skip
    spread = Spread(level=6.2, size=0.2, scale=Scale(name="log"))
    rng = np.random.default_rng(2)
    fit = written(coding, "viscosity", replace(plain, bend=bend), spread, rng)
    return _basis(study, {"viscosity": replace(fit, unit="mPa·s")})


def written(
    coding: Coding, name: str, model: Model, spread: Spread, rng: np.random.Generator
) -> Fit:
    """Write a model down: coefficients and covariance at random, around a level."""
    columns = model_columns(model, coding)
    p = len(columns)
    b = rng.normal(0.0, spread.size, p)
    constant = [
        i for i, column in enumerate(columns)
        if not column.term.powers
        or (len(column.term.powers) == 1 and column.term.names[0] in _share_names(coding))
    ]  # fmt: skip
    b[constant] += spread.level
    root = rng.normal(0.0, spread.size / 6.0, (p, p)) / np.sqrt(p) + np.eye(p) * spread.size / 12.0
    known: dict[str, Any] = _estimator(spread, root @ root.T, rng)
    return Fit(
        response=name, unit="", per="sample", scale=spread.scale, coding=coding, model=model,
        columns=columns, coefficients=b, n=p + 12, runs=tuple(range(1, p + 13)), **known,
    )  # fmt: skip


def _share_names(coding: Coding) -> Sequence[str]:
    return [axis.name for axis in coding.shares]


def _estimator(spread: Spread, covariance: FloatArray, rng: np.random.Generator) -> dict[str, Any]:
    p, v = len(covariance), (spread.size / 3.0) ** 2
    each = np.full(p, 9.0)
    known: dict[str, Any] = {"covariance": covariance, "coefficient_df": each}
    if spread.by == "ols":
        return known | {"components": {"residual": v}, "component_df": {"residual": 9.0}}
    if spread.by == "two":
        df = {"batch": 3.5, "residual": 7.0}
        known["coefficient_df"] = rng.uniform(2.0, 12.0, p)
        return known | {"components": {"batch": v / 2, "residual": v}, "component_df": df}
    if spread.by == "ml":
        df = {"batch": 4.0, "residual": np.inf}
        known["coefficient_df"] = np.where(np.arange(p) % 2 == 0, 5.0, np.inf)
        components = {"batch": v, "residual": v / 2}
        return known | {"components": components, "component_df": df, "method": "ml"}
    parts = [rng.normal(0.0, 0.2, (p, p)) for _ in range(3)]
    slopes = np.stack([part @ part.T / p for part in parts])
    adjustment = KenwardRoger(
        strata=("day", "batch", "residual"), unadjusted=covariance * 0.9, slopes=slopes,
        component_covariance=np.diag([v**2, v**2 / 3, v**2 / 20]) + v**2 / 200,
    )  # fmt: skip
    return known | {
        "components": {"day": v / 3, "batch": v / 2, "residual": v},
        "component_df": {"day": 2.0, "batch": 5.0, "residual": 12.0},
        "method": "reml", "adjustment": adjustment, "repeats": 2, "by_reading": True,
    }  # fmt: skip


def _basis(study: Study, fits: Mapping[str, Surface]) -> DecisionBasis:
    region = region_of(study)
    return DecisionBasis(
        study=study, region=region, surfaces=fits, seed=4, invented=True,
        not_fitted={"odour": "no readings yet"},
        provenance=Provenance(version="0.1.0", seed=5, hashes={"region": "00112233445566aa"}),
    )  # fmt: skip
