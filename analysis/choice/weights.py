"""The pull of the weights: where the compromise goes when importances change.

Each importance is halved and doubled in turn, and each role's own importances (`[[view]]`) are
taken as a whole. A compromise that hardly moves need not be argued over; one that moves far says
which importance the argument is about.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.choice.again import Search, part_moved, search_again, settled_again
from analysis.choice.compromise import Recipe
from analysis.choice.desirability import Aim, aims_of
from analysis.choice.recipe import RecipeBook
from doe.study.finding import Finding

# An importance is halved and doubled; the question is how far it pulls, not what it should be.
TIMES = (0.5, 2.0)
# Half of what a bench would call another setting; common practice, no source.
FAR = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """The compromise under other importances, on the bench's steps.

    Attributes:
        view: Role whose importances these are; empty for one importance changed.
        response: Whose importance was changed; empty for a view.
        times: By how much; 1 for a view.
        importances: All of them.
        recipe: The best there, its overall desirability by these importances.
        unrounded: The same before the bench's steps.
        stayed: Overall desirability of the compromise itself by these importances.
        by_brief: Overall desirability of the new recipe by the importances of the compromise.
        moved: The largest move of a setting, as a part of its range; 1 for another level.
        setting: Which setting moves most; empty where none does.
        changes: For each response, its value at the new recipe less that at the compromise.
    """

    view: str
    response: str
    times: float
    importances: Mapping[str, float]
    recipe: Recipe
    unrounded: Recipe
    stayed: float
    by_brief: float
    moved: float
    setting: str
    changes: Mapping[str, float]

    @property
    def gained(self) -> float:
        """What moving brings in overall desirability, by these importances."""
        return self.recipe.desirability - self.stayed

    @property
    def words(self) -> str:
        """Say what was changed: `viscosity counts twice`, `view of 'production'`."""
        if self.view:
            return f"view of '{self.view}'"
        return f"{self.response} counts {'twice' if self.times > 1.0 else 'half'}"


def pull_of_weights(search: Search) -> tuple[Pull, ...]:
    """Halve and double each importance; empty with one aim, where importances mean nothing."""
    aims = search.aims()
    if len(aims) < 2:
        return ()
    return tuple(
        _pull(search, search.aims({aim.response: aim.importance * times}), aim.response, times)
        for aim in aims
        for times in TIMES
    )


def pull_of_views(search: Search) -> tuple[Pull, ...]:
    """Take the importances of each role that has a view, in the brief's order."""
    book = search.book
    views = {view.role: aims_of(book.study, view.role) for view in book.study.views}
    fitted = {
        role: tuple(aim for aim in aims if aim.response in book.fits)
        for role, aims in views.items()
    }
    return tuple(_pull(search, aims, "", 1.0, view=role) for role, aims in fitted.items() if aims)


def pull_finding(pulls: tuple[Pull, ...]) -> Finding | None:
    """Say which importances the choice of settings hangs on, or that none matters much."""
    if not pulls:
        return None
    far = sorted((one for one in pulls if one.moved > FAR), key=lambda one: -one.moved)
    largest = max(one.moved for one in pulls)
    evidence: dict[str, float | int | str] = {"largest move, part of a range": round(largest, 3)}
    if not far:
        return Finding(
            level="note",
            what="Halving or doubling any importance moves no setting by more than a tenth of its "
            "range: the compromise does not hang on the exact weights.",
            evidence=evidence,
        )
    told = "; ".join(f"{one.words}: {one.setting} moves most" for one in far[:3])
    return Finding(
        level="note",
        what=f"The compromise hangs on the weights: {told}.",
        evidence=evidence,
        advice="Settle these importances before the recipe is agreed.",
    )


def _pull(
    search: Search, aims: tuple[Aim, ...], response: str, times: float, *, view: str = ""
) -> Pull:
    book = _with_aims(search.book, aims)
    objective = search.objective(aims)
    tops = search_again(search, objective)
    settled = settled_again(search, objective, tops)
    recipe, here = book.recipe(settled.settings), search.found.best
    values = {one.response: one.value for one in here.expected}
    moved, setting = part_moved(search, settled.settings)
    return Pull(
        view=view,
        response=response,
        times=times,
        importances={aim.response: aim.importance for aim in aims},
        recipe=recipe,
        unrounded=book.recipe(tops[0].settings),
        stayed=book.recipe(search.compromise).desirability,
        by_brief=search.book.recipe(settled.settings).desirability,
        moved=moved,
        setting=setting,
        changes={one.response: one.value - values[one.response] for one in recipe.expected},
    )


def _with_aims(book: RecipeBook, aims: tuple[Aim, ...]) -> RecipeBook:
    return RecipeBook(
        study=book.study, region=book.region, fits=book.fits, aims=aims,
        production=book.production, level=book.level,
    )  # fmt: skip
