"""Rules of the trade for a starting dose, as data: each with where it comes from and its mark.

Marks: "read" in a source; "common practice, no source"; "from memory, uncertain". None is a rule of
nature: every figure may be set aside by an option of `dose`, and a ladder beats them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Family = Literal["polyacrylate", "polymeric"]
FAMILIES: tuple[Family, ...] = ("polyacrylate", "polymeric")
Ends = tuple[float, float]

PRACTICE = "common practice, uncertain"


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageRule:
    """How much dispersant a pigment's surface takes, mg/m²."""

    family: Family
    coverage: Ends
    source: str
    mark: str


COVERAGES = (
    CoverageRule(
        family="polymeric",
        coverage=(2.0, 2.5),
        source="A published dispersant note: 2 to 2.5 mg of polymeric dispersant a square metre.",
        mark="read",
    ),
    CoverageRule(
        family="polyacrylate",
        coverage=(0.2, 1.0),
        source="Plateaus of small polyacrylates on oxides, order of magnitude.",
        mark="from memory, uncertain",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OilRule:
    """Dose as a part of the oil absorption number: % on pigment a g/100 g."""

    kinds: tuple[str, ...]
    factor: float
    source: str
    mark: str


OIL_RULES = (
    OilRule(
        kinds=("inorganic",),
        factor=0.10,
        source="Rule of thumb of the additive literature: a tenth of the oil absorption number.",
        mark="from memory, uncertain",
    ),
    OilRule(
        kinds=("carbon black",),
        factor=0.20,
        source="Rule of thumb: a fifth of the dibutyl absorption number.",
        mark="from memory, uncertain",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PigmentClass:
    """A class of pigments and the doses usual for it, % active on pigment.

    Attributes:
        name: As `--class` takes it.
        kinds: Kinds of the brief that it belongs to.
        words: Sets of words, one of which the pigment's name must hold whole; empty for a class
            that a kind alone means.
        surface: Usual specific surface, m²/g.
        oil: Usual oil absorption, g/100 g; None where it has no meaning.
        doses: Window by family; a family that is missing has none.
        mark: Where the windows come from.
        note: What to know beside.
        is_milled: Whether the class may be milled at all.
    """

    name: str
    kinds: tuple[str, ...]
    words: tuple[tuple[str, ...], ...] = ()
    surface: Ends
    oil: Ends | None
    doses: dict[Family, Ends]
    mark: str = PRACTICE
    note: str = ""
    is_milled: bool = True


CLASSES = (
    PigmentClass(
        name="transparent iron oxide", kinds=("inorganic",),
        words=(("transparent", "iron"), ("transparent", "oxide")),
        surface=(80, 130), oil=(35, 60), doses={"polymeric": (10, 35)},
    ),
    PigmentClass(
        name="titanium dioxide", kinds=("inorganic",),
        words=(("titanium",), ("tio2",), ("rutile",), ("anatase",)),
        surface=(8, 25), oil=(16, 35),
        doses={"polyacrylate": (0.2, 1.0), "polymeric": (0.8, 3)},
    ),
    PigmentClass(
        name="red iron oxide", kinds=("inorganic",),
        words=(("red", "oxide"), ("red", "iron"), ("haematite",), ("hematite",)),
        surface=(4, 15), oil=(15, 35),
        doses={"polyacrylate": (0.3, 1.5), "polymeric": (1, 5)},
    ),
    PigmentClass(
        name="yellow iron oxide", kinds=("inorganic",),
        words=(("yellow", "oxide"), ("yellow", "iron"), ("goethite",), ("ochre",)),
        surface=(10, 20), oil=(30, 60),
        doses={"polyacrylate": (0.5, 2), "polymeric": (2, 6)},
    ),
    PigmentClass(
        name="inorganic", kinds=("inorganic",), surface=(4, 25), oil=(15, 60),
        doses={"polyacrylate": (0.5, 5), "polymeric": (0.5, 5)},
        mark="read (two trade notes: 1 to 5 % and 0.5 to 5 % of the pigment; whether active or as "
        "supplied is not stated)",
    ),
    PigmentClass(
        name="carbon black", kinds=("carbon black",), surface=(25, 500), oil=(50, 300),
        doses={"polymeric": (8, 100)},
    ),
    PigmentClass(
        name="organic", kinds=("organic",), surface=(10, 130), oil=(35, 80),
        doses={"polymeric": (5, 35)},
        note="Small polyacrylates anchor poorly on organic pigments.",
    ),
    PigmentClass(
        name="effect", kinds=("effect",), surface=(1, 10), oil=None,
        doses={"polymeric": (1, 5)}, mark="common practice, no source",
        note="Low shear only.", is_milled=False,
    ),
    PigmentClass(
        name="filler", kinds=("filler",), surface=(1, 15), oil=(12, 60),
        doses={"polyacrylate": (0.1, 1), "polymeric": (0.3, 2)},
    ),
)  # fmt: skip
