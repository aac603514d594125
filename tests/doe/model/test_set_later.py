"""Settings that come after a reading, taken out of a model."""

from __future__ import annotations

from typing import Any

from doe.model.coding import coding_of
from doe.model.set_later import set_later, without_settings
from doe.model.terms import make_model, term_label
from doe.study.brief import Study
from tests.analysis.fits.adopted_table import range_factor, study_of


def _study(**package: Any) -> Study:
    shares = [
        {"name": name, "low": low, "high": high, "active_percent": 50}
        for name, low, high in (("wetting agent", 0.1, 0.5), ("dispersant", 0.5, 0.9))
    ]
    factors = [
        range_factor("pH", 8, 9),
        range_factor("time", 15, 45, set_per="sample"),
        range_factor("age", 1, 7, set_per="panel"),
    ]
    study = study_of(factors=factors, shares=shares)
    if not package or study.package is None:
        return study
    return study.model_copy(update={"package": study.package.model_copy(update=package)})


def _left(study: Study, per: Any, model: str) -> list[str]:
    coding = coding_of(study)
    smaller = without_settings(make_model(model, coding), set_later(study, per), coding)
    return [term_label(term) for term in smaller.terms]


def test_each_stage_knows_what_comes_after_it() -> None:
    """A panel is the last."""
    study = _study()

    assert set_later(study, "batch") == ("time", "age")
    assert set_later(study, "sample") == ("age",)
    assert set_later(study, "panel") == ()


def test_every_product_goes_with_its_setting() -> None:
    """Shares × time as a set, too: nothing takes its place."""
    assert _left(_study(), "batch", "interactions") == [
        "wetting agent",
        "dispersant",
        "wetting agent × pH",
        "dispersant × pH",
    ]


def test_a_package_let_down_later_leaves_an_intercept_and_the_factors() -> None:
    """Without shares the model of the factors stands: shares × pH held pH itself."""
    study = _study(set_per="sample")

    assert _left(study, "batch", "quadratic") == ["intercept", "pH", "pH²"]
