"""What forms have to say: where one describes better, and where polynomials are biased."""

from __future__ import annotations

from collections.abc import Mapping

from analysis.fits.fitted_response import FittedResponse
from analysis.fits.forms.bendable import DEMAND_CURVE, plain_axis
from analysis.fits.forms.values import (
    AICC_MARGIN,
    POLYNOMIAL,
    FormComparison,
)
from analysis.fits.scales import scale_words
from doe.model.bend import Bend, FormName
from doe.model.coding import Coding
from doe.study.brief import Study
from doe.study.finding import Finding

# From scarce to plenty: a dose that is doubled takes most pigments from one side of the plateau's
# edge to the other; common practice, no source.
WIDE_RANGE = 2.0
_SOURCE = "Burnham and Anderson (2002), Model Selection and Multimodel Inference, section 2.6"

_WORDS: Mapping[FormName, str] = {
    "first order": "A first-order approach to an end value",
    "coverage": "A demand curve that falls as the surface is covered (coverage)",
    "plateau": "A demand curve that falls to a plateau at a critical dose",
    "two lines": "A demand curve that falls to a critical dose and rises from there (two lines)",
    "parabola": "A demand curve that turns at a dose (parabola in its logarithm)",
}


def form_words(form: FormName) -> str:
    """Say what a form is."""
    return _WORDS[form]


def form_findings(name: str, fitted: FittedResponse) -> tuple[Finding, ...]:
    """Say what the comparison of forms says of a response; nothing where all is as it should be."""
    found = fitted.form
    if found is None:
        return ()
    if found.bend is not None:
        return _of_form_in_use(name, found, found.bend)
    better = found.better
    if better is None or better.name == "":
        return ()
    plain = found.compared[0]
    assert better.aicc is not None
    assert plain.aicc is not None
    assert better.left_out_rmse is not None
    assert plain.left_out_rmse is not None
    return (
        Finding(
            level="note",
            what=f"{form_words(better.name)} describes '{name}' over {better.factor} better than "
            f"the {found.polynomial.model.name} model: AICc lower by "
            f"{plain.aicc - better.aicc:.1f}, error of a {found.left_out} left out "
            f"{error_words(better.left_out_rmse, found)} instead of "
            f"{error_words(plain.left_out_rmse, found)}. The {found.polynomial.model.name} model "
            "stays in use.",
            evidence={
                "AICc lower by": round(plain.aicc - better.aicc, 2),
                "error with the form": better.left_out_rmse,
                "error without": plain.left_out_rmse,
            },
            advice=f'Try fit --form "{better.form}" --only "{name}", and --keep it if it also '
            "makes sense for the mill.",
            source=_SOURCE,
        ),
    )


def error_words(error: float, found: FormComparison) -> str:
    """Write an error of units left out with its unit.

    On a transformed scale it is told in that scale, which has no unit.
    """
    fit = found.polynomial
    if fit.scale.name == "identity":
        return f"{error:.3g} {fit.unit}".rstrip()
    return f"{error:.3g} on the fitted scale ({scale_words(fit.scale)})"


def _of_form_in_use(name: str, found: FormComparison, bend: Bend) -> tuple[Finding, ...]:
    said: list[Finding] = []
    for one in found.shape:
        ends = [word for word, end in zip(("lower", "upper"), one.interval, strict=True) if not end]
        if ends:
            said.append(
                Finding(
                    level="caution",
                    what=f"The {one.name} of '{name}' over {bend.factor} "
                    f"({one.value:.3g} {one.unit}".rstrip()
                    + f") has no {' and no '.join(ends)} end that the runs tell: the form is "
                    "hardly told from a straight line or from a jump.",
                    evidence={one.name: one.value},
                    advice=f"Add runs at other settings of {bend.factor}, or fit the polynomial "
                    f"(fit --form {POLYNOMIAL}).",
                )
            )
    used = next((one for one in found.compared if one.form == found.in_use), None)
    plain = found.compared[0] if found.compared else None
    if used and plain and used.aicc is not None and plain.aicc is not None:
        if plain.aicc < used.aicc - AICC_MARGIN:
            said.append(
                Finding(
                    level="caution",
                    what=f"The polynomial describes '{name}' better than the form kept for "
                    f"{bend.factor} ({bend.form}): its AICc is lower by "
                    f"{used.aicc - plain.aicc:.1f}.",
                    evidence={"AICc lower by": round(used.aicc - plain.aicc, 2)},
                    advice=f'Look again: fit --form {POLYNOMIAL} --only "{name}".',
                    source=_SOURCE,
                )
            )
    return tuple(said)


def bias_finding(
    study: Study, coding: Coding, fitted: Mapping[str, FittedResponse]
) -> tuple[Finding, ...]:
    """Say where polynomials of an evenly spaced dose are likely to be biased.

    A response bends sharply where the pigment is just covered, and a polynomial bends evenly: from
    scarce to plenty it misses on both sides. Common practice, no source.
    """
    dose = study.dose
    axis = None if dose is None else plain_axis(dose.name, coding)
    if dose is None or axis is None:
        return ()
    names = [name for name, one in fitted.items() if _is_polynomial(one, dose.name)]
    wide = axis.low > 0.0 and axis.high / axis.low >= WIDE_RANGE
    critical = _critical(fitted, dose.name, axis.low, axis.high)
    if axis.spacing == "log" or not names or not (wide or axis.low <= 0.0 or critical):
        return ()
    unit = f" {axis.unit}" if axis.unit else ""
    reach = f"{axis.low:g} to {axis.high:g}{unit}"
    why = f"{axis.high / axis.low:.2g}-fold" if axis.low > 0.0 else "from none"
    more = f"; its demand curve breaks at {critical:.3g}{unit}, inside" if critical else ""
    listed = ", ".join(f"'{name}'" for name in names)
    # A range from 0 has no logarithm.
    is_positive = axis.low > 0.0
    log_spacing = (
        f'Write spacing = "log" for {dose.name} in the brief, or l' if is_positive else "L"
    )
    return (
        Finding(
            level="note",
            what=f"{dose.name} runs from scarce to plenty ({reach}, {why}{more}) and is spaced "
            f"evenly: bias of the polynomials of {listed} is likely, as a response bends sharply "
            "where the surface is just covered and a polynomial bends evenly everywhere.",
            evidence={"lowest": axis.low, "highest": axis.high},
            advice=log_spacing + f'ook at fit --form "{dose.name}: {DEMAND_CURVE}".',
            source="common practice, no source",
        ),
    )


def _is_polynomial(one: FittedResponse, factor: str) -> bool:
    bend = one.fit.model.bend
    held = any(factor in term.names for term in one.fit.model.terms)
    return held and one.varies and (bend is None or bend.factor != factor)


def _critical(
    fitted: Mapping[str, FittedResponse], factor: str, low: float, high: float
) -> float | None:
    """Give a critical dose inside the range, of a form that is in use or better."""
    for one in fitted.values():
        known = one.form
        if known is None or known.best is None or (known.bend is None and known.better is None):
            continue
        bend = known.best.model.bend
        if bend is None or bend.factor != factor:
            continue
        for name, value in zip(bend.kind.parameters, bend.shape, strict=True):
            if name == "critical dose" and low < value < high:
                return float(value)
    return None
