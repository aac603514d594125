"""Drawn briefs with all data of their raw materials, for what the recipe gives."""

from __future__ import annotations

from typing import Any

import numpy as np

from doe.methods import recipe_values
from doe.study.brief import Study

METHODS = [method.name for method in recipe_values.METHODS]
OPTIONS = {"spreading rate": {"film_thickness_um": 40.0}}
KINDS = ["package", "package per sample", "held dose", "chemistries"]


def material(rng: np.random.Generator, name: str, **more: Any) -> dict[str, Any]:
    """Draw a raw material with all its data."""
    solids = float(rng.uniform(20, 80))
    return {
        "name": name,
        "active_percent": solids,
        "voc_percent": float(rng.uniform(0, 10)),
        "voc_exempt_percent": float(rng.uniform(0, 5)),
        "density_g_per_ml": float(rng.uniform(0.9, 1.2)),
        "solvent_density_g_per_ml": float(rng.uniform(0.8, 1.0)),
        "price_per_kg": float(rng.uniform(1, 9)),
        **more,
    }


def study_of(kind: str, seed: int) -> Study:
    """Draw a brief of a kind, all data of its materials given."""
    rng = np.random.default_rng(seed)
    low = float(rng.uniform(0.3, 1.0))
    dose = {"name": "dose", "role": "dose", "low": low, "high": 3 * low, "spacing": "log"}
    body: dict[str, Any] = {
        "study": {"title": "drawn"},
        "pigment": {
            "name": "red", "density_g_per_ml": float(rng.uniform(3, 5)), "price_per_kg": 2.0,
            "oil_absorption_g_per_100g": float(rng.uniform(15, 40)),
        },
        "millbase": {
            "batch_g": 500.0, "pigment_percent": float(rng.uniform(30, 60)),
            "balance_price_per_kg": 0.01,
            "ingredient": [material(rng, "defoamer", percent=0.4, kind="other")],
        },
        "letdown": {
            "millbase_g": 25.0,
            "ingredient": [
                material(rng, "dispersion", grams=70.0, kind="binder"),
                material(rng, "chalk", grams=5.0, kind="filler", oil_absorption_g_per_100g=20.0),
            ],
        },
        "tint": {"letdown_g": 2.0, "white_g": 40.0, "white": material(rng, "white paste")},
        "factor": [{"name": "pH", "low": 8, "high": 9}, dose],
        "response": [
            {"name": name, "from": name, "with": OPTIONS.get(name, {})} for name in METHODS
        ],
    }  # fmt: skip
    if kind == "chemistries":
        levels = ["old", "new"]
        dose |= {"range": [
            {"when": {"chemistry": level}, "low": low * (i + 1), "high": low * (i + 3)}
            for i, level in enumerate(levels)
        ]}  # fmt: skip
        del dose["low"], dose["high"]
        body["factor"].append({"name": "chemistry", "levels": [*levels, "none"]})
        body["material"] = [
            material(rng, level, hydrophilic_fraction=float(rng.random())) for level in levels
        ]
        return Study.model_validate(body)
    body["package"] = {
        "set_per": "sample" if kind == "package per sample" else "batch",
        "additive": [
            material(rng, name, low=0.1, high=0.7, hydrophilic_fraction=float(rng.random()))
            for name in ("wetting agent", "dispersant", "co-additive")
        ],
    }
    if kind == "held dose":
        del dose["high"], dose["low"]
        dose |= {"value": low, "spacing": "even"}
    return Study.model_validate(body)
