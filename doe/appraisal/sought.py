"""The effects that a plan should show, response by response."""

from __future__ import annotations

from dataclasses import dataclass

from doe.errors import PlanError
from doe.methods.registry import is_computed
from doe.study.brief import Study

# Effect looked for where nobody names one, in standard deviations of a run.
DEFAULT_EFFECT = 2.0
DEFAULT_ALPHA = 0.05
# Power usually asked for (Cohen 1988, section 2.4).
WANTED_POWER = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Sought:
    """The effect that a plan should show in one response.

    Attributes:
        response: Its name; empty where one effect stands for all.
        effect: Change between the ends of a range, on the fitted scale.
        sd: Residual standard deviation, on the same scale.
        is_said: Whether somebody named the effect; else it is the house's two sd.
    """

    response: str = ""
    effect: float = DEFAULT_EFFECT
    sd: float = 1.0
    is_said: bool = False

    @property
    def ratio(self) -> float:
        """The effect in standard deviations."""
        return self.effect / self.sd


def what_is_sought(
    study: Study, effect: float | None = None, sd: float | None = None
) -> tuple[Sought, ...]:
    """Decide which effects the plan is judged by.

    Args:
        study: The brief, with `sd` and `effect` of `[plan]`.
        effect: Asked for on the command line, in place of the brief's of every response.
        sd: Asked for on the command line, likewise. What is not asked for stays the brief's.

    Returns:
        One entry a response of which a standard deviation is known; a single one for all where the
        command line says everything or the brief nothing: an effect alone is then in standard
        deviations of a run.

    Raises:
        PlanError: A number is not positive, or the effect is beyond all standard deviations.
    """
    for option, value in (("--effect", effect), ("--sd", sd)):
        if value is not None and not value > 0:
            raise PlanError(f"{value:g} is not positive", where=option, allowed="above 0")
    if effect is not None and sd is not None:
        return (_checked(Sought(effect=effect, sd=sd, is_said=True)),)
    found = []
    for response in study.responses:
        name = response.name
        if is_computed(response):
            # It has no error for an effect to stand out of.
            continue
        scale = study.wishes.sd.get(name, 0.0) if sd is None else sd
        said = study.wishes.effect.get(name) if effect is None else effect
        size = DEFAULT_EFFECT * scale if said is None else abs(said)
        # A standard deviation that is asked for takes the place of those the brief says only.
        is_known = scale > 0 and (sd is None or name in study.wishes.effect)
        if is_known and size > 0:
            found.append(Sought(response=name, effect=size, sd=scale, is_said=said is not None))
    if found:
        return tuple(_checked(one) for one in found)
    scale = 1.0 if sd is None else sd
    return (_checked(Sought(effect=(effect or DEFAULT_EFFECT) * scale, sd=scale)),)


def _checked(sought: Sought) -> Sought:
    if not sought.ratio < _MOST_DEVIATIONS:
        raise PlanError(
            f"an effect of {sought.ratio:g} standard deviations needs no plan to be seen",
            where="--effect",
            allowed=f"below {_MOST_DEVIATIONS:g} standard deviations",
        )
    return sought


_MOST_DEVIATIONS = 1e6
