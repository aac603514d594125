"""Test methods of the family: gloss and haze, part of the colour family."""

from __future__ import annotations

from doe.methods.colour_parts import GLOSS
from doe.methods.method import Method

_OWN_RESPONSE = "Gloss at 20°, 60° and 85° are three responses: none follows from another."
_FITTING = "Read 60°; where it is above 70 read 20°, where it is below 10 read 85°."


def _gloss(angle: str) -> Method:
    return Method(
        name=f"gloss at {angle}",
        gives=f"specular gloss at {angle}",
        unit="GU",
        direction="target",
        scale_type="ratio",
        standard="ISO 2813:2014, ASTM D523",
        film_age_d=1.0,
        per="panel",
        table=GLOSS,
        formula=f"{{gloss {angle}}}",
        notes=(_OWN_RESPONSE, _FITTING),
    )


METHODS: tuple[Method, ...] = (
    *(_gloss(angle) for angle in ("20°", "60°", "85°")),
    Method(
        name="haze",
        gives="gloss at 60° less gloss at 20°",
        unit="GU",
        direction="low",
        scale_type="difference",
        standard="ASTM D4039",
        film_age_d=1.0,
        per="panel",
        table=GLOSS,
        formula="{gloss 60°}-{gloss 20°}",
        notes=("Made for glossy films; matt ones show a small difference without being clear.",),
    ),
    Method(
        name="log haze",
        gives="logarithm of the haze that an instrument reads beside 20°",
        unit="",
        direction="low",
        scale_type="interval",
        standard="ISO 13803",
        film_age_d=1.0,
        per="panel",
        table=GLOSS,
        formula="1285*LOG10({linear haze}/20+1)",
        notes=("1285 log10(H / 20 + 1), from memory: check it against the standard.",),
    ),
)
