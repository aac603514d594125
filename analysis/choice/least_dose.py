"""The lowest dose that does it: less of the package at nearly the same desirability.

Water uptake and cost keep rising with dose. So the lowest dose is looked for at which some recipe
keeps the overall desirability within a stated amount of the best, and every acceptance limit that
the compromise meets. The other settings are chosen anew at each dose.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.choice.again import Search, noted, search_again
from analysis.choice.ascent import Summit, climb
from analysis.choice.chart import Chart, held_chart, number_of_chart
from analysis.choice.compromise import Recipe
from analysis.choice.objective import Objective
from analysis.choice.steps import near_on_steps
from doe.model.coding import NumericAxis
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# What may be given away of the best overall desirability; our own choice, an option.
GIVEN_AWAY = 0.02
# Doses that are tried between low end and compromise where the bench has no step.
DOSES = 25
# Starts at each dose, and halvings between the last dose that fails and the first that does it.
STARTS, HALVINGS = 4, 12
# Doses that fail on the bench's steps, though not between them, before the search goes up no more.
MOST_TRIED = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastDose:
    """The lowest dose that does it.

    Attributes:
        factor: Name of the dose.
        unit: Its unit.
        given_away: What may be given away of the overall desirability.
        keeps_limits: Whether every acceptance limit had to be met; only where the compromise does.
        dose: The lowest dose, on the bench's steps where it has any.
        of_compromise: The dose of the compromise.
        recipe: The best recipe at that dose.
        changes: For each response, computed ones too, its value there less that at the compromise.
    """

    factor: str
    unit: str
    given_away: float
    keeps_limits: bool
    dose: float
    of_compromise: float
    recipe: Recipe
    changes: Mapping[str, float]

    @property
    def finding(self) -> Finding:
        """Say how much of the package can be saved."""
        saved = self.of_compromise - self.dose
        unit = f" {self.unit}" if self.unit else ""
        if saved <= 0.0:
            return Finding(
                level="note",
                what=f"No lower {self.factor} does it: below {self.of_compromise:.4g}{unit} the "
                f"overall desirability falls by more than {self.given_away:g}.",
            )
        return Finding(
            level="note",
            what=f"A {self.factor} of {self.dose:.4g}{unit} instead of {self.of_compromise:.4g} "
            f"does it within {self.given_away:g} of the desirability.",
            evidence={"saved": saved, "desirability": self.recipe.desirability},
            advice="Water uptake and cost rise with dose: weigh the saving against what it gives "
            "away.",
        )


def find_least_dose(search: Search, given_away: float = GIVEN_AWAY) -> LeastDose | None:
    """Search for the lowest dose that does it; None where the compromise sets no dose."""
    name = next((f.name for f in search.book.study.factors if f.role == "dose"), None)
    if name is None or name not in search.found.best.settings:
        return None
    axis = search.book.coding.axes[search.book.coding.index(name)]
    if not isinstance(axis, NumericAxis) or search.found.best.desirability <= 0.0:
        return None
    met = all(one.accepted is not False for one in search.found.best.expected)
    objective = search.objective(within_limits=met)
    ladder = _Ladder(search=search, objective=objective, axis=axis, column=_column(search, name))
    floor = search.found.best.desirability - given_away
    best = ladder.lowest(floor)
    if best is None:
        best = noted(objective, search.charts, [search.compromise])[0]
    recipe = search.book.recipe(best.settings)
    values = {one.response: one.value for one in search.found.best.expected}
    return LeastDose(
        factor=name,
        unit=axis.unit,
        given_away=given_away,
        keeps_limits=met and bool(search.limits()),
        dose=float(recipe.settings[name]),
        of_compromise=float(search.found.best.settings[name]),
        recipe=recipe,
        changes={one.response: one.value - values[one.response] for one in recipe.expected},
    )


def _column(search: Search, name: str) -> int:
    return int(search.book.coding.index(name))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ladder:
    """Doses from the low end of the range up to that of the compromise."""

    search: Search
    objective: Objective
    axis: NumericAxis
    column: int

    def lowest(self, floor: float) -> Summit | None:
        """Give the best recipe at the lowest dose that keeps the floor; None below no dose."""
        doses = self._doses()
        tops = self._best_at(doses)
        good = [i for i, top in enumerate(tops) if top is not None and top.score >= floor]
        if not good:
            return None
        if self.axis.step is None:
            i = good[0]
            below = doses[i - 1] if i else doses[0]
            return self._on_steps(self._halved(below, doses[i], tops[i], floor), floor)
        for i in good[:MOST_TRIED]:
            settled = self._on_steps(tops[i], floor)
            if settled is not None:
                return settled
        return None

    def _doses(self) -> list[float]:
        """List the doses to try, rising; the last is that of the compromise."""
        axis, here = self.axis, float(self.search.compromise[self.column])
        ranges = [chart.extent([self.column]) for chart in self.search.charts if self._has(chart)]
        low = min((float(ends[0][0]) for ends in ranges), default=here)
        if axis.levels:
            every = [x for x in axis.levels if low - 1e-9 <= x <= here + 1e-9]
        elif axis.step is not None:
            n = round((here - low) / axis.step) + 1
            every = [round(here - i * axis.step, 12) for i in range(n)]
            every = [x for x in every if x >= low - 1e-9 * axis.step] + [low]
        else:
            every = list(np.linspace(low, here, DOSES))
        return sorted(set(every))

    def _has(self, chart: Chart) -> bool:
        return bool(np.isfinite(chart.origin[self.column]))

    def _best_at(self, doses: Sequence[float]) -> list[Summit | None]:
        """Search for the best recipe at each dose, all doses together."""
        charts: list[Chart] = []
        starts: list[tuple[int, FloatArray]] = []
        owner: list[int] = []
        places = search_again(self.search, self.objective)[:STARTS]
        for i, dose in enumerate(doses):
            for number in dict.fromkeys([*(one.chart for one in places), *self._pieces()]):
                held = self._held(self.search.charts[number], dose)
                if held is None:
                    continue
                charts.append(held)
                owned = [one for one in places if one.chart == number]
                rows = self._spread(held, number, owned)
                starts += [(len(charts) - 1, z) for z in rows]
                owner += [i] * len(rows)
        tops: list[Summit | None] = [None] * len(doses)
        for i, top in zip(owner, climb(self.objective, charts, starts), strict=True):
            held_here = self._placed(top)
            old = tops[i]
            if old is None or held_here.score > old.score:
                tops[i] = held_here
        return tops

    def _pieces(self) -> list[int]:
        """Name the pieces that are worth a look: those of the best scattered points."""
        first = self.search.scatter.chart[:200]
        numbers = dict.fromkeys(int(i) for i in first)
        return [i for i in numbers if self._has(self.search.charts[i])][:STARTS]

    def _held(self, chart: Chart, dose: float) -> Chart | None:
        if not np.any(chart.span[self.column]):
            same = abs(chart.origin[self.column] - dose) <= 1e-9
            return chart if same else None
        return held_chart(chart, (self.column,), np.array([dose]))

    def _spread(self, held: Chart, number: int, owned: Sequence[Summit]) -> list[FloatArray]:
        """Bring good places onto a dose; those that leave the piece are drawn inside."""
        scatter = self.search.scatter
        near = np.flatnonzero(scatter.chart == number)[:STARTS]
        rows = [one.settings for one in owned] + [scatter.settings[i] for i in near]
        z = held.coordinates(np.array(rows)) if rows else np.zeros((0, held.dimension))
        return [np.zeros(held.dimension), *(held.drawn_in(one) for one in z)]

    def _placed(self, top: Summit) -> Summit:
        """Name a place of a held piece by the piece that it was cut from."""
        found = noted(self.objective, self.search.charts, [top.settings])
        return found[0] if found else top

    def _halved(
        self, below: float, above: float, top: Summit | None, floor: float
    ) -> Summit | None:
        """Draw two doses together, of which the upper one does it."""
        best = top
        for _ in range(HALVINGS):
            if above - below <= 1e-6 * (self.axis.high - self.axis.low):
                break
            middle = (below + above) / 2.0
            tried = self._best_at([middle])[0]
            if tried is not None and tried.score >= floor:
                best, above = tried, middle
            else:
                below = middle
        return best

    def _on_steps(self, top: Summit | None, floor: float) -> Summit | None:
        """Bring a recipe onto the bench's steps at its dose; None where that breaks the floor."""
        if top is None:
            return None
        coding = self.search.book.coding
        dose = float(top.settings[self.column])
        number = number_of_chart(self.search.charts, top.settings)
        if number is None:
            return None
        held = self._held(self.search.charts[number], dose)
        if held is None:
            return None
        z = held.coordinates(top.settings[None, :])[0]
        start = Summit(chart=0, z=z, settings=top.settings, score=top.score)
        settled = near_on_steps(self.objective, [held], coding, start)
        return settled if settled is not None and settled.score >= floor else None
