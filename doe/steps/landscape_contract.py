"""What `fit --json` says of the landscape of one response (keys added to contract 1)."""

from __future__ import annotations

from typing import Any

from analysis.surface.canonical import CanonicalAxis
from analysis.surface.cox import CoxTrace
from analysis.surface.flat_ways import FlatWay
from analysis.surface.ridge_path import SurfacePath
from analysis.surface.survey import SurfaceLandscape, SurfaceShape
from doe.model.coding import settings_table


def landscape_object(landscape: SurfaceLandscape) -> dict[str, Any]:
    """Give everything that is known of the landscape of one response."""
    coding = landscape.fit.coding
    return {
        "from": settings_table(landscape.base[None, :], coding).row(0),
        "scale": landscape.fit.scale.name,
        "shapes": [_shape_object(shape) for shape in landscape.shapes],
        "why_no_shape": landscape.why_no_shape,
        "cox": [_cox_object(trace) for trace in landscape.cox],
        "flat": [_flat_object(way) for way in landscape.flat],
    }


def _shape_object(shape: SurfaceShape) -> dict[str, Any]:
    point, region = shape.stationary, shape.region
    return {
        "levels": dict(shape.form.levels),
        "factors": list(shape.form.names),
        "nature": shape.canonical.nature,
        "stationary": {
            "settings": _named(shape, point.at),
            "coded": point.at_coded,
            "kind": point.kind,
            "inside": point.inside,
            "region": None
            if region is None
            else {
                "level": region.level,
                "limit": region.limit,
                "df": region.df,
                "low": _named(shape, region.low),
                "high": _named(shape, region.high),
                "goes_on": {
                    name: [bool(end) for end in ends]
                    for name, ends in zip(region.names, region.goes_on, strict=True)
                },
                "leaves": region.leaves,
                "part_of_ranges": region.part,
            },
        },
        "nearest_without_slope": shape.canonical.nearest,
        "directions": [_axis_object(shape, axis) for axis in shape.canonical.axes],
        "ridge": {path.towards: _path_object(path) for path in shape.ridges},
        "steepest": {path.towards: _path_object(path) for path in shape.steepest},
        "steepest_beyond": {path.towards: _path_object(path) for path in shape.lines},
    }


def _named(shape: SurfaceShape, values: Any) -> dict[str, Any]:
    return dict(zip(shape.form.names, values.tolist(), strict=True))


def _axis_object(shape: SurfaceShape, axis: CanonicalAxis) -> dict[str, Any]:
    return {
        "curvature": axis.curvature,
        "std_error": axis.std_error,
        "df": axis.df,
        "interval": axis.interval,
        "bend": axis.bend,
        "coded": axis.direction,
        "change": _named(shape, axis.change),
        "slope": axis.slope,
        "slope_std_error": axis.slope_error,
    }


def _path_object(path: SurfacePath) -> list[dict[str, Any]]:
    return [
        {
            "distance": path.distance[i],
            "settings": dict(zip(path.names, path.settings[i].tolist(), strict=True)),
            "value": path.value[i],
            "mean_interval": [path.low[i], path.high[i]],
            "inside": bool(path.inside[i]),
        }
        for i in range(len(path.distance))
    ]


def _cox_object(trace: CoxTrace) -> dict[str, Any]:
    return {
        "additive": trace.additive,
        "reference": trace.reference,
        "low": trace.share[0],
        "high": trace.share[-1],
        "change": trace.change,
        "change_std_error": trace.change_error,
        "change_interval": trace.change_interval,
        "slope": trace.slope,
        "slope_std_error": trace.slope_error,
        "p": trace.p,
        "shares": trace.share,
        "values": trace.value,
        "mean_intervals": [list(pair) for pair in zip(trace.low, trace.high, strict=True)],
    }


def _flat_object(way: FlatWay) -> dict[str, Any]:
    return {
        "setting": way.setting,
        "together": list(way.joint),
        "at": way.at,
        "low": way.low,
        "high": way.high,
        "ends": way.ends,
        "low_settings": way.low_settings,
        "high_settings": way.high_settings,
        "practical": way.practical,
        "sure": way.sure,
        "not_excluded": way.unseen,
        "level": way.level,
    }
