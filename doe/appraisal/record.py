"""An appraisal as the output contract has it (DESIGN.md, section 4, `appraise`)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from doe.appraisal.appraise import Appraisal
from doe.appraisal.losses import Loss, most_painful
from doe.appraisal.sizes import SizePoint
from doe.appraisal.told import Told

# Shares of the region whose variances are on record; the figure draws all of them.
_EVERY = 5


def plan_record(
    appraisal: Appraisal, name: str, sizes: Sequence[SizePoint], summary: Sequence[str]
) -> dict[str, Any]:
    """Give one entry of `"plans"`.

    Standard errors and variances are in residual standard deviations and variances.
    """
    profile, freedom = appraisal.profile, appraisal.freedom
    return {
        "plan": name,
        "summary": list(summary),
        "runs": appraisal.n_runs,
        "batches": appraisal.runs.n_batches,
        "controls": len(appraisal.runs) - appraisal.n_runs,
        "model": appraisal.model.name,
        "parameters": appraisal.parameters,
        "estimable": appraisal.is_estimable,
        "not_told_apart": list(appraisal.untold),
        "d_efficiency": appraisal.d_efficiency,
        "a_efficiency": appraisal.a_efficiency,
        "g_efficiency": appraisal.g_efficiency,
        "average_prediction_variance": None if profile is None else profile.average,
        "max_prediction_variance": None if profile is None else profile.largest,
        "max_prediction_variance_at": None if profile is None else _worst(appraisal),
        "share_of_region": None if profile is None else _curve(appraisal),
        "interval_half_widths": [asdict(one) for one in appraisal.half_widths],
        "residual_df": dict(freedom.residual),
        "pure_error_df": dict(freedom.pure_error),
        "lack_of_fit_df": freedom.lack_of_fit,
        "strata": [
            {
                "stratum": one.name,
                "units": one.size,
                "effect": "fixed" if one.is_fixed else "random",
            }
            for one in appraisal.runs.strata.above
        ],
        "variance_ratio": appraisal.asked.ratio,
        "sought": [asdict(one) for one in appraisal.asked.sought],
        "alpha": appraisal.asked.alpha,
        "terms": [_told(one, "term") for one in appraisal.terms],
        "settings": [_told(one, "setting") for one in appraisal.settings],
        "aliases": [alias.sentence() for alias in appraisal.aliases],
        "alias_parts": [
            {"term": alias.term, "others": dict(alias.others)} for alias in appraisal.aliases
        ],
        "resolution": appraisal.resolution,
        "defining_relation": list(appraisal.defining_relation),
        "condition": appraisal.condition,
        "vif": dict(appraisal.vif),
        "correlations": {"of": list(appraisal.labels), "matrix": appraisal.correlations}
        if appraisal.is_estimable
        else None,
        "leverage": [{"run": run, "leverage": h} for run, h in appraisal.leverage.items()],
        "losses": {
            unit: [_loss(loss) for loss in losses] for unit, losses in appraisal.losses.items()
        },
        "most_painful": {
            unit: [loss.number for loss in most_painful(losses)]
            for unit, losses in appraisal.losses.items()
        },
        "at_variance_ratios": [
            {
                **asdict(one),
                "std_errors": dict(zip(appraisal.labels, one.std_errors, strict=True)),
            }
            for one in appraisal.at_ratios
        ],
        "runs_outside_region": list(appraisal.outside),
        "sizes": [asdict(point) for point in sizes],
    }


def _told(told: Told, key: str) -> dict[str, Any]:
    entry: dict[str, Any] = {
        key: told.name, "std_error": told.std_error, "power": told.power,
        "stratum": told.stratum, "df": told.df,
    }  # fmt: skip
    if any(told.power_by_response):
        entry["power_by_response"] = dict(told.power_by_response)
    return entry


def _loss(loss: Loss) -> dict[str, Any]:
    return {
        loss.unit: loss.number,
        "runs": list(loss.runs),
        "average_variance_rise": loss.average_rise,
        "max_variance_rise": loss.largest_rise,
        "no_longer_told": list(loss.untold),
        "estimable_in_effect": not (loss.untold or loss.is_gone_in_effect),
    }


def _curve(appraisal: Appraisal) -> dict[str, Any]:
    assert appraisal.profile is not None
    return {
        "share": appraisal.profile.shares[::_EVERY],
        "variance": appraisal.profile.variances[::_EVERY],
    }


def _worst(appraisal: Appraisal) -> list[float]:
    assert appraisal.profile is not None
    return list(appraisal.profile.worst.tolist())
