"""What the interactive page is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.choice.compromise import Compromise
from analysis.report.content import Provenance
from analysis.surface.exact import Surface
from doe.model.region import Region
from doe.study.brief import Study


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DecisionBasis:
    """Models, region and brief behind the page; at least one response can be told.

    Attributes:
        study: The brief.
        region: All settings that it allows.
        surfaces: Whatever tells a response at settings, in the brief's order.
        provenance: Version, seed and hashes.
        compromise: The recommended recipe; None if there is none.
        not_fitted: For each response without a model: why, a phrase.
        level: Confidence of intervals, 0..1.
        invented: Whether the readings are invented.
        seed: Decides the scattered recipes from which the page searches.
        agreed: Which version is agreed, a phrase; empty while none is final.
    """

    study: Study
    region: Region
    surfaces: Mapping[str, Surface]
    provenance: Provenance
    compromise: Compromise | None = None
    not_fitted: Mapping[str, str] = field(default_factory=dict)
    level: float = 0.95
    invented: bool = False
    seed: int = 0
    agreed: str = ""
