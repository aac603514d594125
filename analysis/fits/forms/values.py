"""What is known of forms beside a polynomial, as values that go to tables as they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis.fits.fit import Fit
from doe.model.bend import Bend, FormName

LeftOut = Literal["batch", "day", "sample", "panel", "run"]
POLYNOMIAL = "polynomial"
# Both must hold before a form is called better. AICc: Burnham and Anderson (2002), section 2.6,
# differences of 4 to 7 leave considerably less support. Error: common practice, no source.
AICC_MARGIN = 4.0
ERROR_MARGIN = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class FormShape:
    """One shape parameter of a form.

    Attributes:
        name: What it is.
        value: Estimate.
        unit: Its unit, lab units.
        std_error: Its standard error; None where there is none.
        interval: By the profile of the likelihood; an end is None where nothing closes it.
    """

    name: str
    value: float
    unit: str
    std_error: float | None
    interval: tuple[float | None, float | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedForm:
    """One way in which a factor may enter.

    Attributes:
        form: `polynomial`, or `grind time: first order`.
        factor: The factor; empty for the polynomial.
        name: The form; empty for the polynomial.
        aicc: By the plain likelihood of the readings, shape parameters counted; None if it has no
            value.
        left_out_rmse: Root of the mean squared error of units left out, fitted scale; likewise.
        why_not: Why the form could not be fitted; empty where it could.
    """

    form: str
    factor: str = ""
    name: FormName | Literal[""] = ""
    aicc: float | None = None
    left_out_rmse: float | None = None
    why_not: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FormComparison:
    """A response's forms beside its polynomial.

    Attributes:
        polynomial: The model without a form.
        bend: The form in use; None where the polynomial is.
        shape: Of the form in use; else of the best form that could be fitted.
        best: The model with the form of the lowest AICc, which may be the one in use; None where
            none could be fitted, or none was looked for.
        compared: The polynomial first, then the forms tried.
        left_out: What was left out in turn; None where nothing was compared.
    """

    polynomial: Fit
    bend: Bend | None = None
    shape: tuple[FormShape, ...] = ()
    best: Fit | None = None
    compared: tuple[ComparedForm, ...] = ()
    left_out: LeftOut | None = None

    @property
    def in_use(self) -> str:
        """The form in use as it is typed; `polynomial` without one."""
        return POLYNOMIAL if self.bend is None else typed_form(self.bend)

    @property
    def better(self) -> ComparedForm | None:
        """The form that both measures call better than the polynomial; None where none is."""
        plain, *forms = self.compared or (ComparedForm(form=POLYNOMIAL),)
        good = [one for one in forms if is_better(one, plain)]
        return min(good, key=lambda one: one.aicc or 0.0, default=None)


def is_better(one: ComparedForm, plain: ComparedForm) -> bool:
    """Tell whether AICc and the error of units left out both call one way better, by the margins.

    Example:
        >>> plain = ComparedForm(form="polynomial", aicc=50.0, left_out_rmse=1.9)
        >>> one = ComparedForm(form="grind time: first order", aicc=43.9, left_out_rmse=1.2)
        >>> is_better(one, plain), is_better(plain, one)
        (True, False)
    """
    if one.aicc is None or plain.aicc is None:
        return False
    if one.left_out_rmse is None or plain.left_out_rmse is None:
        return False
    less = one.left_out_rmse <= (1.0 - ERROR_MARGIN) * plain.left_out_rmse
    return one.aicc <= plain.aicc - AICC_MARGIN and less


def typed_form(bend: Bend) -> str:
    """Write a form as `fit --form` takes it."""
    return f"{bend.factor}: {bend.form}"


def unit_words(bend: Bend, unit: str) -> tuple[str, ...]:
    """Give the units of the shape parameters, for a factor of this unit.

    Example:
        >>> unit_words(Bend(factor="t", form="first order", shape=(0.1,), low=5, high=60), "min")
        ('1/min',)
    """
    return tuple(word.format(unit) if unit else "" for word in bend.kind.units)
