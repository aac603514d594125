"""An invented study, small and quick: brick-red masonry paint; every number is made up."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from itertools import chain, islice

import numpy as np

from analysis.choice.again import search_of
from analysis.choice.compromise import Compromise, ExpectedResponse, Recipe
from analysis.choice.frontier import find_frontier
from analysis.choice.influential import (
    BenchUnit,
    Influence,
    InfluenceOnChoice,
    MovedSetting,
)
from analysis.choice.limit_prices import LimitPrices
from analysis.choice.trade_offs import TradeOffs
from analysis.figures.album import FIGURES, make_album
from analysis.figures.album_request import AlbumRequest
from analysis.figures.drawn import Drawn
from analysis.fits.assessment import UnitEffects
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.forms.bendable import forms_of
from analysis.fits.forms.comparing import compare_forms
from analysis.lab.response_data import ResponseData
from analysis.report.content import Provenance, ReportContent
from analysis.surface.predict import predict_response
from doe.model.coding import coding_of, settings_table
from doe.model.region import Region, region_of
from doe.model.sampling import sample_region
from doe.recipe.recipe import BatchRecipe
from doe.recipe.weigh import weigh_batch
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.plan import Plan, Round
from doe.study.settings import FloatArray
from doe.study.status import StatusLine

BRIEF = """
[study]
title = "Brick-red millbase for an exterior masonry paint"
question = "Which package, dose and grind time thin it without making the film thirsty?"
seed = 20260114
roles = ["formulator", "colourist"]
[pigment]
name = "red iron oxide"
[millbase]
batch_g = 500.0
pigment_percent = 55.0
[package]
[[package.additive]]
name = "wetting agent"
low = 0.05
high = 0.35
active_percent = 70.0
[[package.additive]]
name = "dispersant"
low = 0.35
high = 0.85
active_percent = 40.0
[[package.additive]]
name = "hydrophobic co-additive"
low = 0.10
high = 0.45
active_percent = 35.0
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 2.4
step = 0.05
[[factor]]
name = "pH"
low = 8.0
high = 9.5
step = 0.05
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 45
step = 1
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
[[limit]]
sum = { "dose" = 1.0, "grind time" = 0.05 }
at_most = 4.2
because = "foam"
[[response]]
name = "viscosity"
unit = "mPa·s"
aim = "low"
best = 350
worst = 1200
accept = { at_most = 600 }
scale = "log"
[[response]]
name = "colour strength"
unit = "% of standard"
aim = "high"
best = 105
worst = 96
accept = { at_least = 102 }
[[response]]
name = "water uptake"
unit = "% by mass"
aim = "low"
best = 4.0
worst = 6.0
accept = { at_most = 5.0 }
"""
N_RUNS = 40
PROVENANCE = Provenance(version="0.1.0", seed=20260114, hashes={"region": "00112233445566aa"})
# Names of forty characters, in several scripts, with signs that mean something to some program.
HARD_NAMES = (
    ("wetting agent", "Смачивающий агент с длинным названием 40"),
    ("dispersant", '分散剂 <script>alert("x")</script> 润湿剂的混合物'),
    ("hydrophobic co-additive", "hydrophobic co-additive, forty chars 123"),
    ("dose", "=$dose_{x}$ {{ 7 * 7 }} of the whole pack"),
    ("grind time", "Verweildauer_in_der_Perlmühle_Durchgang1"),
    ("neutraliser", "Neutralisationsmittel & \"lang\" 'auch' <b>"),
    ("viscosity", "viscosity & 'flow' <b> at fifty per second"),
)


@cache
def masonry(rename: tuple[tuple[str, str], ...] = ()) -> Masonry:
    """Build the study, its plan, its invented readings and models.

    Args:
        rename: Pairs of a name in the brief and the name to use instead.
    """
    return Masonry(dict(rename))


@cache
def album_of(rename: tuple[tuple[str, str], ...] = ()) -> tuple[Drawn, ...]:
    """Draw every figure of the study; with other names those of the response that has one."""
    request = request_of(masonry(rename))
    named = {new for _, new in rename}
    fitted = {name: one for name, one in request.fitted.items() if not named or name in named}
    return make_album(replace(request, fitted=fitted))


def first_figures(rename: tuple[tuple[str, str], ...], n: int) -> tuple[Drawn, ...]:
    """Draw the first few figures alone, where all of them would show nothing more."""
    request = request_of(masonry(rename))
    kinds = (kind.draw(request) for kind in FIGURES.values())
    return tuple(islice(chain.from_iterable(kinds), n))


def request_of(study: Masonry) -> AlbumRequest:
    """Ask for every figure of the study."""
    return AlbumRequest(
        study=study.study,
        region=study.region,
        fitted=_with_units(study.fitted),
        data=study.data,
        compromise=study.compromise,
        trade_offs=study.trade_offs,
        influence=_influence(study),
    )


def _with_units(fitted: Mapping[str, FittedResponse]) -> dict[str, FittedResponse]:
    """Give every response days that add something, as if runs had shared them."""
    units = UnitEffects(
        stratum="day",
        labels=("1", "2", "3", "4"),
        effect=(-0.1, 0.0, 0.05, 0.4),
        standardised=(-0.8, 0.1, 0.4, 3.2),
        limit=2.9,
        envelope=((-2.4, -0.3), (-1.1, 0.5), (-0.5, 1.1), (0.3, 2.4)),
    )
    return {
        name: replace(one, assessment=replace(one.assessment, units=(units,)))
        for name, one in fitted.items()
    }


def _influence(study: Masonry) -> InfluenceOnChoice:
    """Leave out each run of the first response; the moves are made up."""
    runs = next(iter(study.data.values())).run
    return InfluenceOnChoice(
        present=0.8,
        units=tuple(
            Influence(
                unit=BenchUnit(kind="run", number=run, runs=(run,)),
                moves=(
                    MovedSetting(setting="dose", unit="%", before=1.6, after=1.7, part=0.3 / n),
                ),
                desirability=0.8,
                at_present=0.79,
                predictions=(),
            )
            for n, run in enumerate(runs, start=1)
        ),
    )


def full_content(study: Masonry, figures: tuple[Drawn, ...] = ()) -> ReportContent:
    """Make the content of a study that has come all the way."""
    return ReportContent(
        study=study.study,
        provenance=PROVENANCE,
        plan=study.plan,
        data=study.data,
        fitted=study.fitted,
        compromise=study.compromise,
        trade_offs=study.trade_offs,
        influence=_influence(study),
        batch_recipe=study.batch_recipe(),
        figures=figures,
        status=(StatusLine(state="waiting", text="Run 41 waits for water uptake."),),
        invented=True,
    )


class Masonry:
    """Everything of the invented study that figures and report take."""

    def __init__(self, rename: Mapping[str, str]) -> None:
        brief = BRIEF
        for old, new in rename.items():
            text = new.replace("\\", "\\\\").replace('"', '\\"')
            brief = brief.replace(f'name = "{old}"', f'name = "{text}"')
            brief = brief.replace(f'"{old}" =', f'"{text}" =')
        self.study = Study.model_validate(tomllib.loads(brief))
        self.coding = coding_of(self.study)
        self.region: Region = region_of(self.study)
        rng = np.random.default_rng(7)
        values = sample_region(self.region, N_RUNS, rng)
        values[-5:] = values[:5]
        self.plan = _plan(self.study, values)
        self.data = self._data(values, rng)
        self.fitted: dict[str, FittedResponse] = {
            name: fit_response(data, self.coding, model="interactions")
            for name, data in self.data.items()
        }
        # One response has its kinetics looked at, for the table and the figure of forms.
        first = self.study.responses[0].name
        plain, kinetics = self.fitted[first], forms_of(self.study, self.coding)[:1]
        self.fitted[first] = compare_forms(self.data[first], self.coding, plain, plain, kinetics)
        self.candidates = sample_region(self.region, 2000, rng)
        self.compromise = self._compromise()
        fits = {name: one.fit for name, one in self.fitted.items()}
        search = search_of(self.study, self.region, fits, self.compromise, seed=1)
        # The frontier alone: the other searches are tested where they live.
        self.trade_offs = TradeOffs(
            frontier=find_frontier(search), weights=(), views=(), least_regret=None,
            limit_prices=LimitPrices(within=self.compromise.best, is_met=True, prices=()),
            least_dose=None,
        )  # fmt: skip

    def _data(self, values: FloatArray, rng: np.random.Generator) -> dict[str, ResponseData]:
        w, d, h, dose, ph, time, choice = values.T
        scatter = rng.normal(size=(3, len(values)))
        thin = 5.9 - 0.5 * (dose - 0.8) - 0.4 * d + 0.25 * (ph - 8.8) ** 2 + 0.1 * choice
        readings = (
            np.exp(thin + 0.05 * scatter[0]),
            94 + 0.16 * time + 3 * w + 2 * d - 0.5 * choice + 0.5 * scatter[1],
            4.2 + 1.05 * dose * (d + 1.9 * w - 0.55 * h) + 0.6 * choice + 0.15 * scatter[2],
        )
        readings[0][3] *= 1.6  # one weighing that went wrong
        return {
            response.name: self._response_data(response.name, values, y)
            for response, y in zip(self.study.responses, readings, strict=True)
        }

    def _response_data(self, name: str, values: FloatArray, y: FloatArray) -> ResponseData:
        n = len(y)
        settings = settings_table(values, self.coding)
        none = (None,) * n
        return ResponseData(
            response=self.study.response(name),
            run=self.plan.run[:n],
            planned=settings,
            actual=settings,
            repeats=tuple((float(value),) for value in y),
            kind=("design",) * n,
            control=none,
            batch=tuple(range(1, n + 1)),
            day=none,
            sample=none,
            panel=none,
            block=none,
            order=tuple(float(i) for i in range(1, n + 1)),
            pending=(n + 1,) if name == self.study.responses[2].name else (),
        )

    def expected(self, row: FloatArray) -> tuple[ExpectedResponse, ...]:
        """Predict every response at one recipe."""
        return tuple(self._expected(name, row) for name in self.fitted)

    def _expected(self, name: str, row: FloatArray) -> ExpectedResponse:
        prediction = predict_response(self.fitted[name].fit, row[None, :])
        response = self.study.response(name)
        value = float(prediction.value[0])
        accept = response.accept
        assert accept is not None
        assert response.best is not None
        assert response.worst is not None
        low, high = accept.at_least or -np.inf, accept.at_most or np.inf
        ramp = (value - response.worst) / (response.best - response.worst)
        return ExpectedResponse(
            response=name,
            unit=response.unit,
            value=value,
            value_is=prediction.value_is,
            mean_interval=(
                float(prediction.mean_interval[0, 0]),
                float(prediction.mean_interval[0, 1]),
            ),
            run_interval=(
                float(prediction.run_interval[0, 0]),
                float(prediction.run_interval[0, 1]),
            ),
            predict_for=prediction.predict_for,
            desirability=float(np.clip(ramp, 0.0, 1.0)),
            accepted=bool(low <= value <= high),
        )

    def recipe(self, row: FloatArray) -> Recipe:
        """Give one recipe with what to expect of it."""
        expected = self.expected(row)
        each = np.array([entry.desirability for entry in expected], dtype=np.float64)
        settings = settings_table(row[None, :], self.coding).row(0)
        return Recipe(
            settings={name: value for name, value in settings.items() if value is not None},
            desirability=float(np.prod(each) ** (1 / len(each))),
            expected=expected,
        )

    def _compromise(self) -> Compromise:
        ramps = []
        for name, fitted in self.fitted.items():
            response = self.study.response(name)
            value = predict_response(fitted.fit, self.candidates).value
            best, worst = response.best or 0.0, response.worst or 0.0
            ramps.append(np.clip((value - worst) / (best - worst), 0.0, 1.0))
        order = np.argsort(-np.prod(ramps, axis=0))
        best = self.recipe(_on_steps(self.candidates[order[0]]))
        return Compromise(
            best=best,
            unrounded=self.recipe(self.candidates[order[0]]),
            loss=0.004,
            unmet=tuple(
                f"{entry.response} is not met" for entry in best.expected if entry.accepted is False
            ),
            binding=("dose + 0.05 × grind time at most 4.2 (foam)",),
            alternatives=tuple(self.recipe(self.candidates[i]) for i in order[40:42]),
            view="",
            within_limits=False,
            findings=(
                Finding(
                    level="caution",
                    what="Water uptake stands in the way: it alone keeps the desirability down.",
                    evidence={"desirability of water uptake": 0.4123456},
                    advice="Ask whether 7.5 % is a fair worst value.",
                ),
            ),
        )

    def batch_recipe(self) -> BatchRecipe:
        """Weigh the recommended recipe out."""
        return weigh_batch(self.study, self.compromise.best.settings)


def _on_steps(row: FloatArray) -> FloatArray:
    rounded = row.copy()
    rounded[:2] = np.round(row[:2], 2)
    rounded[2] = 1.0 - rounded[:2].sum()
    rounded[3:5] = np.round(row[3:5] / 0.05) * 0.05
    rounded[5] = np.round(row[5])
    return rounded


def _plan(study: Study, values: FloatArray) -> Plan:
    n = len(values)
    runs = tuple(range(1, n + 2))
    every = np.vstack([values, values[:1]])
    none: tuple[None, ...] = (None,) * (n + 1)
    made = Round(
        number=1, layout="optimal", models=("interactions",), criterion="D", criterion_value=0.31,
        seed=study.about.seed, version="0.1.0", region_hash="00112233445566aa",
        goals_hash="ffeeddccbbaa9988", runs=runs, reasons=("Few runs carry the model.",),
    )  # fmt: skip
    return Plan(
        settings=settings_table(every, coding_of(study)), run=runs, round=(1,) * (n + 1), day=none,
        batch=runs, sample=none, panel=none, kind=("design",) * (n + 1), rounds=(made,),
    )  # fmt: skip
