"""How `risk` looks in the terminal: a sentence first, then the reasons."""

from __future__ import annotations

from analysis.report.rounding import interval_text, percent, plain, with_error
from analysis.risk.draws import Estimate
from analysis.risk.probability import ResponseRisk, Risk
from analysis.risk.robust import told_alike
from analysis.risk.words import of_hundred, source_words
from doe.cli.screen import paragraph, text_table
from doe.cli.show_window import show_box, show_grids, show_robust
from doe.steps.nominal import KEPT
from doe.steps.risk import RiskOutcome

# A source whose removal gives less than this is in the table, but not in the sentence.
WORTH_A_SENTENCE = 0.001


def show_risk(outcome: RiskOutcome) -> str:
    """Show the probability, each response, and what each source costs."""
    risk = outcome.risk
    parts = [
        paragraph(_sentence(outcome)),
        _settings_text(outcome),
        _responses(risk),
        _sources(risk),
        *_robust(outcome),
        _wanted(outcome),
    ]
    return "\n\n".join(part for part in parts if part)


def _sentence(outcome: RiskOutcome) -> str:
    risk = outcome.risk
    tested, true = risk.probability, risk.probability_true
    words = (
        f"Of 100 production batches {_hundred(tested)} meet every limit as tested "
        f"(± {_error(tested)}), and {_hundred(true)} by their true values (± {_error(true)})."
    )
    if len(risk.per_response) > 1:
        words += (
            " If the responses did not go together it would be "
            f"{of_hundred(risk.product, tested.error)}."
        )
    return words


def _settings_text(outcome: RiskOutcome) -> str:
    head = {
        KEPT: "At the settings in choices.toml:",
    }.get(outcome.of, f"At the {outcome.of}:")
    units = {factor.name: factor.unit for factor in outcome.analysis.session.study.factors}
    rows = [
        [
            name,
            value if isinstance(value, str) else plain(value),
            units.get(name, "share of active matter"),
        ]
        for name, value in outcome.settings.items()
    ]
    return f"{head}\n{text_table(['setting', 'value', 'unit'], rows)}"


def _responses(risk: Risk) -> str:
    heads = [
        "response",
        "limit",
        "middle batch",
        "unit",
        f"{percent(risk.level)} of batches within",
        "meet it, of 100",
        "true",
        "room before the limit",
    ]
    return text_table(heads, [_row(one) for one in risk.per_response])


def _row(one: ResponseRisk) -> list[str]:
    # Digits by the scatter of most batches: few draws far out must not coarsen them.
    error = one.production_sd or None
    room = with_error(one.room, error)
    if one.room_in_sd is not None:
        room += f" ({one.room_in_sd:.1f} sd)"
    return [
        one.response,
        " and ".join(limit.removesuffix(f" {one.unit}") for limit in one.limits),
        with_error(one.expected, error),
        one.unit,
        interval_text(*one.production_interval, error),
        _hundred(one.probability),
        _hundred(one.probability_true),
        room,
    ]


def _sources(risk: Risk) -> str:
    if not risk.contributions:
        return "Nothing scatters: no source of error is known."
    names = [one.response for one in risk.per_response]
    rows = [
        [
            source_words(one.source, one.kind),
            f"{100 * one.probability_without:.2f}",
            f"{100 * one.gain.value:+.2f}",
            *(percent(one.shares[name].by_formula) for name in names),
        ]
        for one in risk.contributions
    ]
    first = risk.contributions[0]
    words = "No single source costs a batch in a thousand."
    if first.gain.value >= WORTH_A_SENTENCE:
        words = (
            f"Most would be gained without {source_words(first.source, first.kind)}: "
            f"{100 * first.probability_without:.1f} of 100 would meet every limit."
        )
    heads = ["without", "meet all, of 100", "gained", *(f"part in {name}" for name in names)]
    table = text_table(heads, rows)
    drawn = f"{risk.plan.n} batches drawn, seed {risk.plan.seed}"
    return f"{words}\n{table}\n  (part: of the variance of a tested value, by formula; {drawn})"


def _robust(outcome: RiskOutcome) -> list[str]:
    found = outcome.robust
    if found is None:
        return []
    choice = told_alike(found.choice, outcome.risk)
    side_by_side = show_robust(choice, outcome.analysis.session.study)
    return [side_by_side, show_box(found), show_grids(found)]


def _wanted(outcome: RiskOutcome) -> str:
    if outcome.at_least is None:
        return ""
    wanted = f"{100 * outcome.at_least:g} of 100"
    return f"Asked for: at least {wanted}: {'NOT reached' if outcome.is_no else 'reached'}."


def _hundred(estimate: Estimate) -> str:
    return of_hundred(estimate.value, estimate.error)


def _error(estimate: Estimate) -> str:
    return f"{100 * estimate.error:.1g}"
