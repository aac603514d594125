"""Test methods of the family: water, and what it does to films."""

from __future__ import annotations

from doe.methods.film_ratings import METHODS as FILM_RATINGS
from doe.methods.method import Method, RawColumn, RawTable
from doe.methods.permeability import METHODS as PERMEABILITY
from doe.methods.wet_scrub import METHODS as WET_SCRUB

BEFORE, WET, REDRIED = "mass before", "mass wet", "mass re-dried"
FIRST_BLISTER, OBSERVED = "days to first blister", "days observed"
SPOT_BEFORE, SPOT_AFTER = (("L* before", "a* before", "b* before"), ("L*", "a*", "b*"))

UPTAKE = RawTable(
    name="water uptake",
    columns=(
        RawColumn(name=BEFORE, unit="g", low=0, hint="free film, dry to constant mass"),
        RawColumn(name=WET, unit="g", low=0, hint="out of the water, blotted alike each time"),
        RawColumn(
            name=REDRIED, unit="g", low=0, is_needed=False, hint="same film re-dried as before"
        ),
    ),
)
SPOT = RawTable(
    name="water spot",
    columns=tuple(
        RawColumn(
            name=name,
            low=0 if name.startswith("L") else -128,
            high=100 if name.startswith("L") else 128,
            hint="film beside the spot" if name in SPOT_BEFORE else "spot, at the agreed recovery",
        )
        for name in (*SPOT_BEFORE, *SPOT_AFTER)
    ),
)
EXPOSURE = RawTable(
    name="blister watch",
    columns=(
        RawColumn(
            name=FIRST_BLISTER, unit="d", low=0, is_needed=False, hint="blank while it is sound"
        ),
        RawColumn(name=OBSERVED, unit="d", low=0, hint="days under test so far"),
    ),
)

_WASHED_OUT = (
    "What washes out lowers the uptake on initial mass: a hydrophilic additive hides itself there. "
    "Read the uptake on re-dried mass and the leached part beside it."
)
_FILM_AGE = "The film age of 7 d is common practice, no source; young films read higher."
_COMPONENTS = (
    "A distance has no sign: average ΔL*, Δa* and Δb*, never signed changes through ΔE.",
    "Fix drop, cover, time and recovery; all of them change the number.",
)


def _spot(name: str, component: str, meaning: str) -> Method:
    return Method(
        name=name,
        gives=f"{component} of a dried water spot, spot less film: {meaning}",
        unit="",
        direction="target",
        scale_type="difference",
        standard="ISO/CIE 11664-4",
        film_age_d=7,
        per="panel",
        table=SPOT,
        formula=f"{{{component[1:]}}}-{{{component[1:]} before}}",
        notes=(*_COMPONENTS, _FILM_AGE),
    )


METHODS: tuple[Method, ...] = (
    Method(
        name="water uptake",
        gives="water taken up by a free film, on its mass before immersion",
        unit="% m/m",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="gravimetric, no standard",
        typical=(3, 30),
        film_age_d=7,
        per="panel",
        table=UPTAKE,
        formula="100*({mass wet}-{mass before})/{mass before}",
        notes=(_WASHED_OUT, _FILM_AGE),
    ),
    Method(
        name="water uptake on re-dried mass",
        gives="water taken up by a free film, on its mass re-dried after immersion",
        unit="% m/m",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="gravimetric, no standard",
        typical=(3, 30),
        film_age_d=7,
        per="panel",
        table=UPTAKE,
        formula="100*({mass wet}-{mass re-dried})/{mass re-dried}",
        notes=("Free of what the water washed out.", _FILM_AGE),
    ),
    Method(
        name="leached part",
        gives="what the water washed out of a free film, on its mass before immersion",
        unit="% m/m",
        direction="low",
        scale_type="bounded",
        bounds=(0, 100),
        standard="gravimetric, no standard",
        film_age_d=7,
        per="panel",
        table=UPTAKE,
        formula="100*({mass before}-{mass re-dried})/{mass before}",
        notes=(
            "Small beside the weighing error: scatter may bring it below zero, so it is fitted "
            "as it is. Coalescent lost on re-drying counts as leached.",
            _FILM_AGE,
        ),
    ),
    *PERMEABILITY,
    *WET_SCRUB,
    *FILM_RATINGS,
    Method(
        name="water-spot colour difference",
        gives="ΔE*ab between a dried water spot and the film",
        unit="",
        direction="low",
        scale_type="distance",
        scale="square root",
        standard="ISO/CIE 11664-4",
        film_age_d=7,
        per="panel",
        table=SPOT,
        formula="SQRT(({L*}-{L* before})^2+({a*}-{a* before})^2+({b*}-{b* before})^2)",
        notes=(*_COMPONENTS, _FILM_AGE),
    ),
    _spot("water-spot lightness change", "ΔL*", "above zero whitens"),
    _spot("water-spot redness change", "Δa*", "above zero redder"),
    _spot("water-spot yellowness change", "Δb*", "above zero yellower"),
    Method(
        name="days to first blister",
        gives="days under water until the first blister",
        unit="d",
        direction="high",
        scale_type="time to event",
        scale="log",
        standard="ISO 2812-2; ASTM D870 (both from memory)",
        film_age_d=7,
        per="panel",
        table=EXPOSURE,
        notes=(
            "Films still sound count as above the days observed; the longest day is no blister.",
            "The blister came after the look before: look at even steps, the same for all panels.",
            _FILM_AGE,
        ),
    ),
)
