"""A response of which every reading is off the scale: no model, and yet something can be said."""

from __future__ import annotations

import math

from analysis.lab.response_data import ResponseData


def all_off_scale(data: ResponseData, *, above: bool) -> str:
    """Say that nothing can be modelled, and whether the limit is met all the same.

    Args:
        data: The response, with `ends`.
        above: Whether its readings lie above the scale; else below it.
    """
    runs = [run for run, own in zip(data.run, data.control, strict=True) if own is None]
    known = [_end(data, run, above=above) for run in runs]
    ends = sorted({end for end in known if math.isfinite(end)})
    side, unit = "above" if above else "below", _unit(data)
    where = f"{side} the scale"
    if ends:
        low, high = ends[0], ends[-1]
        shown = f"{low:g}{unit}" if low == high else f"{low:g} to {high:g}{unit}"
        where = f"{side} {shown}"
    count = f"all {len(runs)} runs" if len(runs) > 1 else "the only run"
    limits = _limits(data, known, above=above)
    said = f"; {limits}" if limits else ""
    return f"{where} in {count}: how far beyond nothing tells, so there is nothing to model{said}"


def _end(data: ResponseData, run: int, *, above: bool) -> float:
    """Give the end that a run is known to lie beyond: the surest of its readings."""
    ends = data.ends.get(run, ())
    if above:
        return max((low for low, _ in ends), default=-math.inf)
    return min((high for _, high in ends), default=math.inf)


def _limits(data: ResponseData, known: list[float], *, above: bool) -> str:
    accept = data.response.accept
    if accept is None:
        return ""
    unit, said = _unit(data), []
    for word, limit in (("at most", accept.at_most), ("at least", accept.at_least)):
        if limit is None:
            continue
        # Beyond the end on the side of the limit: missed; on the other side: met; else open.
        told = sum(end >= limit if above else end <= limit for end in known)
        missed = (word == "at most") == above
        verdict = "it is not" if missed else "it is"
        named = f"whether the limit ({word} {limit:g}{unit}) is met"
        if told == len(known):
            said.append(f"{named} can be said: {verdict}")
        elif told:
            said.append(f"{named} can be said in {told} of {len(known)} runs: {verdict}")
        else:
            said.append(f"{named} cannot be said")
    return "; ".join(said)


def _unit(data: ResponseData) -> str:
    return f" {data.response.unit}" if data.response.unit else ""
