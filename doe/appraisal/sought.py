"""The effects that a plan should show, response by response."""

from __future__ import annotations

from dataclasses import dataclass

from doe.errors import PlanError
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
        effect: Asked for on the command line; then it stands for all responses.
        sd: Asked for on the command line; 1 beside an effect alone, which is then in sd.

    Returns:
        One entry a response that the brief says enough of; a single one for all where it says of
        none, or where the command line does.

    Raises:
        PlanError: A number is not positive.
    """
    for option, value in (("--effect", effect), ("--sd", sd)):
        if value is not None and not value > 0:
            raise PlanError(f"{value:g} is not positive", where=option, allowed="above 0")
    if effect is not None or sd is not None:
        scale = 1.0 if sd is None else sd
        size = DEFAULT_EFFECT * scale if effect is None else effect
        return (Sought(effect=size, sd=scale, is_said=effect is not None),)
    known = [r.name for r in study.responses if study.wishes.sd.get(r.name, 0.0) > 0]
    found = []
    for name in known:
        scale = study.wishes.sd[name]
        said = study.wishes.effect.get(name)
        size = DEFAULT_EFFECT * scale if said is None else abs(said)
        if size > 0:
            found.append(Sought(response=name, effect=size, sd=scale, is_said=said is not None))
    return tuple(found) or (Sought(),)
