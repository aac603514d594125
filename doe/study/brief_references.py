"""References inside a brief: names and levels brought to the spelling of their definitions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from doe.study.brief import Study, is_number
from doe.study.brief_bounds import read_condition
from doe.study.brief_flaws import NAMES, Flaw
from doe.study.brief_lines import Path
from doe.study.names import match_name, nearest_name


def settle_references(study: Study) -> tuple[Study, list[Flaw]]:
    """Bring names and levels that the brief refers to into the spelling of their definitions.

    Returns:
        The brief without the references that lead nowhere, and one flaw for each of those.
    """
    clerk = _Clerk(study)
    settled = study.model_copy(
        update={
            "factors": clerk.factors(),
            "limits": clerk.limits(),
            "forbids": clerk.forbids(),
            "controls": clerk.controls(),
            "views": clerk.views(),
            "wishes": clerk.wishes(),
        }
    )
    return settled, clerk.flaws


class _Clerk:
    """Looks names up and notes those that it cannot find; the only value here that changes."""

    def __init__(self, study: Study) -> None:
        self.study = study
        self.flaws: list[Flaw] = []
        self.settings = (*(a.name for a in study.additives), *(f.name for f in study.factors))
        self.responses = tuple(response.name for response in study.responses)
        self.levels = {
            factor.name: tuple(level for level in factor.levels if isinstance(level, str))
            for factor in study.factors
            if factor.kind == "choice"
        }

    def factors(self) -> tuple[Any, ...]:
        settled = []
        for i, factor in enumerate(self.study.factors):
            ranges = tuple(
                one.model_copy(update={"when": self._when(one.when, ("factor", i, "range", j))})
                for j, one in enumerate(factor.ranges)
            )
            settled.append(factor.model_copy(update={"ranges": ranges}))
        return tuple(settled)

    def _when(self, when: Mapping[str, str], path: Path) -> dict[str, str]:
        named = self._table(when, (*path, "when"), self.settings, "setting")
        return {
            name: str(self._level(name, level, (*path, "when", name)))
            for name, level in named.items()
        }

    def limits(self) -> tuple[Any, ...]:
        return tuple(
            limit.model_copy(
                update={
                    "sum": self._table(limit.sum, ("limit", i, "sum"), self.settings, "setting")
                }
            )
            for i, limit in enumerate(self.study.limits)
        )

    def forbids(self) -> tuple[Any, ...]:
        return tuple(
            one.model_copy(update={"settings": self._conditions(one.settings, ("forbid", i))})
            for i, one in enumerate(self.study.forbids)
        )

    def _conditions(self, settings: Mapping[str, Any], path: Path) -> dict[str, Any]:
        named = self._table(settings, (*path, "settings"), self.settings, "setting")
        return {
            name: tuple(self._level(name, one, (*path, "settings", name)) for one in said)
            if isinstance(said, tuple)
            else self._condition(name, said, (*path, "settings", name))
            for name, said in named.items()
        }

    def _condition(self, name: str, said: Any, path: Path) -> Any:
        condition = read_condition(said) if isinstance(said, str) else None
        if condition is None or name in self.levels:
            return self._level(name, said, path)
        sign, number = condition
        return f"{sign} {str(number).removesuffix('.0')}"

    def controls(self) -> tuple[Any, ...]:
        settled = []
        for i, control in enumerate(self.study.controls):
            if not control.settings:  # an empty table says something else than none
                settled.append(control)
                continue
            path: Path = ("control", i, "settings")
            named = self._table(control.settings, path, self.settings, "setting")
            settings = {
                name: self._level(name, said, (*path, name)) for name, said in named.items()
            } | self._only_share(named)
            settled.append(control.model_copy(update={"settings": settings}))
        return tuple(settled)

    def _only_share(self, named: Mapping[str, Any]) -> dict[str, float]:
        """Give the share that goes without saying: a package of one additive is all of it."""
        additives, dose = self.study.additives, self.study.dose
        amount = named.get(dose.name, 0) if dose else 0
        if len(additives) != 1 or additives[0].name in named or not is_number(amount):
            return {}
        return {additives[0].name: 1.0} if amount > 0 else {}

    def views(self) -> tuple[Any, ...]:
        settled = []
        for i, view in enumerate(self.study.views):
            path: Path = ("view", i, "importance")
            named = self._table(view.importance, path, self.responses, "response")
            role = match_name(view.role, self.study.about.roles)
            if role is None:
                self._miss(("view", i, "role"), view.role, self.study.about.roles, "role",
                           do='Add it to roles = [ … ] under [study].')  # fmt: skip
            settled.append(view.model_copy(update={"role": role or view.role, "importance": named}))
        return tuple(settled)

    def wishes(self) -> Any:
        wishes = self.study.wishes
        return wishes.model_copy(
            update={
                key: self._table(getattr(wishes, key), ("plan", key), self.responses, "response")
                for key in ("sd", "effect")
            }
        )

    def _table(
        self, said: Mapping[str, Any], path: Path, names: tuple[str, ...], what: str
    ) -> dict[str, Any]:
        settled: dict[str, Any] = {}
        for written, value in said.items():
            name = match_name(written, names)
            if name is None:
                self._miss((*path, written), written, names, what)
            elif name in settled:
                self.flaws.append(
                    Flaw(path=(*path, written), what=f'"{name}" stands twice', do="Keep one.")
                )
            else:
                settled[name] = value
        return settled

    def _level(self, name: str, said: Any, path: Path) -> Any:
        if name not in self.levels or not isinstance(said, str):
            return said
        level = match_name(said, self.levels[name])
        if level is None:
            self._miss(path, said, self.levels[name], f'level of "{name}"')
        return level if level is not None else said

    def _miss(
        self, path: Path, written: str, names: tuple[str, ...], what: str, do: str = ""
    ) -> None:
        meant = nearest_name(written, names)
        if meant:
            do = f'Probably "{meant}" is meant.'
        elif what == "setting" and match_name(written, self.responses):
            do = "It is a response; limits on responses go into their accept = { … }."
        self.flaws.append(
            Flaw(
                path=path,
                what=f'"{written}" is no {what} of this brief',
                allowed=", ".join(f'"{name}"' for name in names),
                do=do,
                rests_on=(path, NAMES),
            )
        )
