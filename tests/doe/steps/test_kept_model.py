"""A kept model comes back as it was kept, however its terms were left out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import doe.steps as steps

BRIEF = """
format = 1
[study]
title = "t"
[package]
[[package.additive]]
name = "wetting agent"
low = 0.1
high = 0.5
[[package.additive]]
name = "dispersant"
low = 0.5
high = 0.9
[[factor]]
name = "dose"
low = 1.0
high = 3.0
[[factor]]
name = "neutraliser"
levels = ["ammonia", "AMP", "sodium hydroxide"]
[[factor]]
name = "pH"
low = 8.0
high = 9.5
[[response]]
name = "strength"
"""


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Main effects of dose and neutraliser only: every set of products is left out."""
    rng = np.random.default_rng(11)
    lines = ["wetting agent,dispersant,dose,neutraliser,pH,strength"]
    levels = ["ammonia", "AMP", "sodium hydroxide"]
    for i in range(60):
        w, dose, ph = rng.uniform(0.1, 0.5), rng.uniform(1, 3), rng.uniform(8, 9.5)
        y = 90 + 6 * w + 3 * (dose - 2) + (i % 3 - 1) + rng.normal(0, 0.3)
        lines.append(f"{w:.4f},{1 - round(w, 4):.4f},{dose:.3f},{levels[i % 3]},{ph:.2f},{y:.3f}")
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    (tmp_path / "t.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    steps.adopt_table(tmp_path / "t.csv", folder)
    return folder


@pytest.mark.parametrize("model", ["linear", "interactions", "quadratic"])
def test_a_reduced_model_comes_back_term_by_term(study: Path, model: str) -> None:
    """What `fit --reduce --keep` showed is what every later command reads."""
    options = steps.FitOptions(model=model, reduce=True, keep=True, because="AICc")
    kept = steps.fit_study(study, options).analysis.fitted["strength"].fit
    again = steps.fit_study(study).analysis.fitted["strength"].fit

    assert again.model.terms == kept.model.terms
    np.testing.assert_array_equal(again.coefficients, kept.coefficients)


def test_a_drop_is_tried_out_on_the_kept_model(study: Path) -> None:
    """Without --model, --drop leaves out one more term of what is on record."""
    steps.fit_study(study, steps.FitOptions(model="linear", drop=("pH",), keep=True))
    tried = steps.fit_study(study, steps.FitOptions(drop=("dose",)))
    labels = [row.term for row in tried.analysis.fitted["strength"].assessment.coefficients]

    assert "pH" not in labels
    assert "dose" not in labels
