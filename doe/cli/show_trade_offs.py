"""How the trade-offs of `choose` look in the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from analysis.choice.frontier import Frontier
from analysis.choice.least_dose import LeastDose
from analysis.choice.limit_prices import LimitPrices
from analysis.choice.regret import LeastRegret
from analysis.choice.trade_offs import TradeOffs
from analysis.choice.weights import Pull
from analysis.report.rounding import plain
from doe.cli.screen import text_table
from doe.study.brief import Study


def trade_offs_text(found: TradeOffs, study: Study) -> str:
    """Show every trade-off, one line each and a table."""
    return "\n\n".join(_parts(found, study))


def _parts(found: TradeOffs, study: Study) -> Iterator[str]:
    if found.frontier is not None:
        yield _frontier(found.frontier)
    pulls = (*found.weights, *found.views)
    if pulls:
        yield _pulls(pulls, study)
    if found.least_regret is not None:
        yield _regret(found.least_regret)
    if found.limit_prices.prices:
        yield _prices(found.limit_prices, study)
    if found.least_dose is not None:
        yield _dose(found.least_dose, study)


def _frontier(found: Frontier) -> str:
    heads = [
        f"{name} {unit}".rstrip()
        for name, unit in zip(found.responses, found.units, strict=True)
    ]  # fmt: skip
    names = list(dict.fromkeys(name for one in found.recipes for name in one.settings))
    rows = [
        [
            "met" if found.accepted[i] else "MISSED",
            f"{one.desirability:.3f}",
            *(plain(float(x)) for x in found.values[i]),
            *_settings(one.settings, names),
        ]
        for i, one in zip(found.shown, found.recipes, strict=True)
    ]
    all_met = all(found.accepted[i] for i in found.shown)
    return (
        f"The frontier: {len(found.settings)} recipes, between the bench's steps, that nothing "
        "beats in one response\nwithout losing in another; "
        f"{len(rows)} of them, well spread"
        f"{' (MISSED: a limit is not met)' if not all_met else ''}:\n"
        + text_table(["limits", "desirability", *heads, *names], rows)
    )


def _pulls(pulls: Sequence[Pull], study: Study) -> str:
    names = list(pulls[0].changes)
    rows = [
        [
            one.words,
            f"{one.gained:.3f}",
            f"{100 * one.moved:.0f} %",
            one.setting or "–",
            *(signed(one.changes[name]) for name in names),
        ]
        for one in pulls
    ]
    heads = ["if", "gains", "moves by", "most", *_with_units(names, study)]
    return (
        "How the compromise moves with the weights (largest move as a part of a range, and what "
        "each response\nchanges):\n" + text_table(heads, rows)
    )


def _regret(found: LeastRegret) -> str:
    rows = [
        [one.view, f"{one.best:.3f}", f"{one.compromise:.3f}", f"{one.least_regret:.3f}"]
        for one in found.views
    ]
    heads = ["view", "its best", "regret at the compromise", "at the least-regret recipe"]
    return (
        "Regret: what a view gives up of its own best overall desirability. At the least-regret "
        f"recipe\nthe view worst off gives up {found.worst:.3f} (at the compromise "
        f"{found.worst_of_compromise:.3f}); it lies at\n{_line(found.recipe.settings)}:\n"
        + text_table(heads, rows)
    )


def _prices(found: LimitPrices, study: Study) -> str:
    names = list(found.prices[0].changes)
    rows = [
        [
            one.limit,
            f"{one.by:g} {one.unit}".rstrip(),
            f"{one.gain:.4f}" if one.gain else "0",
            *(signed(one.changes[name]) for name in names),
        ]
        for one in found.prices
    ]
    head = (
        "The price of each limit (what the best recipe within all limits gains if one is relaxed)"
        if found.is_met
        else "No recipe meets every limit; what relaxing one alone gives"
    )
    return f"{head}:\n" + text_table(
        ["limit", "relaxed by", "gain", *_with_units(names, study)], rows
    )


def _dose(found: LeastDose, study: Study) -> str:
    unit = f" {found.unit}" if found.unit else ""
    kept = ", every limit met" if found.keeps_limits else ""
    if found.dose >= found.of_compromise:
        return (
            f"No lower {found.factor} than {found.of_compromise:g}{unit} does it within "
            f"{found.given_away:g} of the desirability."
        )
    changes = "; ".join(
        f"{name} {signed(by)} {_unit(study, name)}".rstrip() for name, by in found.changes.items()
    )
    return (
        f"The lowest {found.factor} within {found.given_away:g} of the desirability{kept}: "
        f"{found.dose:g}{unit} instead of {found.of_compromise:g},\n"
        f"desirability {found.recipe.desirability:.3f}, at {_line(found.recipe.settings)}.\n"
        f"It changes: {changes}.\n"
        "Predicted values alone are judged here, not chance in production: see 'millbase risk' "
        "before it\nis taken."
    )


def signed(value: float) -> str:
    """Print a change with its sign; nothing where there is none.

    Example:
        >>> signed(0.1234), signed(-3.0), signed(0.0)
        ('+0.1234', '−3', '0')
    """
    text = plain(value)
    return f"+{text}" if value > 0.0 and text != "0" else text


def _with_units(names: Sequence[str], study: Study) -> list[str]:
    return [f"{name} {_unit(study, name)}".rstrip() for name in names]


def _unit(study: Study, name: str) -> str:
    return study.response(name).unit


def _line(settings: Mapping[str, float | str]) -> str:
    return ", ".join(f"{name} {_word(value)}" for name, value in settings.items())


def _settings(settings: Mapping[str, float | str], names: Sequence[str]) -> list[str]:
    return [_word(settings[name]) if name in settings else "–" for name in names]


def _word(value: float | str) -> str:
    return value if isinstance(value, str) else plain(value)
