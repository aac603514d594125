"""Test methods of the family: fineness, from several grind times of one batch."""

from __future__ import annotations

from doe.methods.method import Method, Option

# As `analysis.lab.grind_kinetics` holds them.
APPROACHES = ("first order", "first order from zero", "hyperbolic")

_OF = Option(
    name="of", is_needed=True, meaning="the response whose values over grind time are taken"
)
_APPROACH = Option(
    name="approach",
    default="first order",
    words=APPROACHES,
    meaning="how the limit is approached: x∞ + (x0 − x∞) exp(−k t), the same with x0 = 0, or "
    "x∞ t / (t + t½)",
    mark="from memory",
)
_STILL_TO_COME = Option(
    name="still to come",
    default=10.0,
    low=0.1,
    high=50.0,
    unit="% of the gain",
    meaning="part of the gain that may come after the last time before the plateau counts as not "
    "reached",
)
_OPTIONS = (_OF, _APPROACH, _STILL_TO_COME)
_TIMES = "At least four grind times for three parameters, three for two (from zero)."
_PLATEAU = (
    "Where the last time still changes, the limit is not given: it lies beyond what was read there."
)
_TWO_STAGES = (
    "Values of one batch are no replicates: each batch gives one number here, and that is what the "
    "model is fitted to."
)

METHODS: tuple[Method, ...] = (
    Method(
        name="grind rate",
        gives="rate at which the response approaches its limit: k, or 1 / t½",
        unit="1/min",
        direction="high",
        scale_type="ratio",
        scale="log",
        standard="kinetics, no standard",
        per="batch",
        options=_OPTIONS,
        gathers="times in a batch",
        notes=(_TIMES, _TWO_STAGES),
    ),
    Method(
        name="grind limit",
        gives="value that the response approaches with longer grinding",
        unit="",
        direction="high",
        scale_type="ratio",
        standard="kinetics, no standard",
        per="batch",
        options=_OPTIONS,
        gathers="times in a batch",
        notes=("Its unit and its better end are those of the response.", _TIMES, _PLATEAU),
    ),
    Method(
        name="time to 95 % of the gain",
        gives="grind time at which 95 % of the gain is done",
        unit="min",
        direction="low",
        scale_type="time to event",
        scale="log",
        standard="kinetics, no standard",
        per="batch",
        options=_OPTIONS,
        gathers="times in a batch",
        notes=("Counted from time 0; 2.9957 / k, or 19 t½.", _TIMES, _PLATEAU),
    ),
    Method(
        name="increase between two stages",
        gives="increase from one grind time to another, on the first",
        unit="%",
        direction="low",
        scale_type="difference",
        standard="ISO 8781-1:1990",
        per="batch",
        options=(
            _OF,
            Option(
                name="from time", low=0, unit="min",
                meaning="first stage; without it the first grind time",
            ),
            Option(
                name="to time", low=0, unit="min",
                meaning="second stage; without it the last grind time",
            ),
        ),
        gathers="times in a batch",
        notes=("A small increase says that the pigment is as good as developed (read, abstract).",),
    ),
)  # fmt: skip
