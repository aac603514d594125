"""How `appraise` looks in the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping, Sequence

from analysis.report.rounding import fixed, percent, plain
from doe.appraisal.appraise import Appraisal
from doe.appraisal.comparison import comparison_sentence
from doe.appraisal.losses import GONE_IN_EFFECT, most_painful
from doe.appraisal.sizes import SizePoint
from doe.appraisal.summary import scatter_of_one_run
from doe.cli.screen import WIDTH, paragraph, shortened, text_table
from doe.steps.appraise import Appraised, AppraiseOutcome

_NAME = 34
_ALIASES = 6
_SIZES = 9
_OTHERS = 3


def show_appraise(outcome: AppraiseOutcome) -> str:
    """Show the summary, then the numbers behind it."""
    first = outcome.plans[0].appraisal
    parts = [*_summaries(outcome), _overall(outcome.plans)]
    if any(one.appraisal.is_estimable for one in outcome.plans):
        parts += [_settings(outcome.plans), _terms(outcome.plans)]
    for one in outcome.plans:
        parts += [_mixed(one, outcome), _losses(one, outcome), _ratios(one, outcome)]
        parts += [_sizes(one, outcome)]
    parts.append(_unit(first))
    figures = [file for file in outcome.files if file.suffix == ".svg"]
    if figures:
        parts.append(f"{len(figures)} figures: {figures[0].parent}")
    return "\n\n".join(part for part in parts if part)


def _summaries(outcome: AppraiseOutcome) -> list[str]:
    texts = []
    for one in outcome.plans:
        text = paragraph(" ".join(one.summary))
        texts.append(text if len(outcome.plans) == 1 else f"{one.name}\n{text}")
    if outcome.comparison is not None:
        names = (outcome.plans[0].name, outcome.plans[1].name)
        texts.append(paragraph(comparison_sentence(names, outcome.comparison)))
    return texts


def _overall(plans: Sequence[Appraised]) -> str:
    rows: list[tuple[str, Callable[[Appraisal], str]]] = [
        ("runs, controls left out", lambda a: str(a.n_runs)),
        ("mill batches", lambda a: str(a.runs.n_batches)),
        ("coefficients", lambda a: str(a.parameters)),
        ("residual degrees of freedom", lambda a: _by_stratum(a.freedom.residual)),
        ("  of them pure error", lambda a: _by_stratum(a.freedom.pure_error)),
        ("  of them lack of fit", lambda a: _by_stratum(a.freedom.lack_of_fit)),
        ("prediction variance, average", lambda a: _variance(a, "average")),
        ("prediction variance, half of region below", lambda a: _share(a, 0.5)),
        ("prediction variance, 90 % of region below", lambda a: _share(a, 0.9)),
        ("prediction variance, largest", lambda a: _variance(a, "largest")),
        ("coefficients, all together (D, 1 at best)", lambda a: plain(a.d_efficiency, 3)),
        ("coefficients, on average (A)", lambda a: plain(a.a_efficiency, 3)),
        ("prediction at its worst (G)", lambda a: plain(a.g_efficiency, 3)),
        ("largest variance inflation", _inflation),
        ("condition", lambda a: plain(a.condition, 3)),
    ]  # fmt: skip
    body = [[name, *(tell(one.appraisal) for one in plans)] for name, tell in rows]
    heads = [f"model: {plans[0].appraisal.model.name}", *(_headed(plans))]
    return text_table(heads, body)


def _headed(plans: Sequence[Appraised]) -> list[str]:
    return [shortened(one.name, 24) for one in plans]


def _by_stratum(df: Mapping[str, int]) -> str:
    if len(df) == 1:
        return str(next(iter(df.values())))
    return ", ".join(f"{name} {n}" for name, n in df.items())


def _variance(appraisal: Appraisal, which: str) -> str:
    profile = appraisal.profile
    return plain(None if profile is None else getattr(profile, which), 3)


def _share(appraisal: Appraisal, share: float) -> str:
    return plain(None if appraisal.profile is None else appraisal.profile.at_share(share), 3)


def _inflation(appraisal: Appraisal) -> str:
    known = {name: value for name, value in appraisal.vif.items() if value is not None}
    if not known:
        return plain(None)
    worst = max(known, key=lambda name: known[name])
    return f"{plain(known[worst], 3)} ({shortened(worst, 24)})"


def _settings(plans: Sequence[Appraised]) -> str:
    heads = ["effect over the range"]
    for one in plans:
        heads += ["std. error", "df", "power"] if len(plans) == 1 else [
            f"std. error, {shortened(one.name, 12)}", "df", "power"]  # fmt: skip
    rows = []
    for i, told in enumerate(plans[0].appraisal.settings):
        row = [shortened(told.name, _NAME)]
        for one in plans:
            own = one.appraisal.settings[i]
            row += [plain(own.std_error, 2), str(own.df), _power(own.power)]
        rows.append(row)
    return text_table(heads, rows) if rows else ""


def _terms(plans: Sequence[Appraised]) -> str:
    heads = ["coefficient of the term"]
    for one in plans:
        heads += ["std. error", "power"] if len(plans) == 1 else [
            f"std. error, {shortened(one.name, 12)}", "power"]  # fmt: skip
    if len(plans) == 1:
        heads += ["stratum"] if len(plans[0].appraisal.freedom.residual) > 1 else []
    rows = []
    for i, told in enumerate(plans[0].appraisal.terms):
        row = [shortened(told.name, _NAME)]
        for one in plans:
            own = one.appraisal.terms[i]
            row += [plain(own.std_error, 2), _power(own.power)]
        if heads[-1] == "stratum":
            row.append(told.stratum)
        rows.append(row)
    return text_table(heads, rows)


def _power(power: float | None) -> str:
    return plain(None) if power is None else fixed(power, 2)


def _whose(one: Appraised, outcome: AppraiseOutcome, title: str) -> str:
    return title if len(outcome.plans) == 1 else f"{one.name}: {title[:1].lower()}{title[1:]}"


def _mixed(one: Appraised, outcome: AppraiseOutcome) -> str:
    appraisal = one.appraisal
    if not appraisal.aliases:
        return ""
    lines = []
    worst = sorted(appraisal.aliases, key=lambda one: -max(abs(part) for _, part in one.others))
    for alias in worst[:_ALIASES]:
        largest = sorted(alias.others, key=lambda other: -abs(other[1]))
        named = ", ".join(f"{_signed(part)} times {name}" for name, part in largest[:_OTHERS])
        more = f" and {len(largest) - _OTHERS} more" if len(largest) > _OTHERS else ""
        lines.append(_folded(f"  {alias.term} by {named}{more}"))
    left = len(appraisal.aliases) - _ALIASES
    if left > 0:
        lines.append(f"  and {left} more (--json lists all)")
    title = _whose(
        one, outcome, "Were there effects that the model leaves out, these would be off:"
    )
    return "\n".join([title, *lines])


def _folded(text: str) -> str:
    """Fold a line of a list, its rest set in."""
    return textwrap.fill(text, WIDTH, subsequent_indent="    ", break_on_hyphens=False)


def _signed(part: float) -> str:
    return f"{part:+.2f}".replace("-", "\N{MINUS SIGN}")


def _losses(one: Appraised, outcome: AppraiseOutcome) -> str:
    rows = [
        [unit if n == 0 else "", str(loss.number), _rise(loss.average_rise),
         _rise(loss.largest_rise), shortened(", ".join(loss.untold), 40)]
        for unit, losses in one.appraisal.losses.items()
        for n, loss in enumerate(most_painful(losses))
    ]  # fmt: skip
    if not rows:
        return ""
    heads = ["if this fails", "", "average variance", "largest variance", "no longer told"]
    return "\n".join([_whose(one, outcome, "The losses that hurt most:"), text_table(heads, rows)])


def _rise(rise: float) -> str:
    if rise == float("inf"):
        return "not estimable"
    return "in effect not estimable" if rise > GONE_IN_EFFECT else f"+{percent(rise)}"


def _ratios(one: Appraised, outcome: AppraiseOutcome) -> str:
    if not one.appraisal.at_ratios:
        return ""
    rows = [
        [plain(at.ratio), plain(at.average, 3), plain(at.average_of_run, 3),
         plain(at.d_efficiency, 3)]
        for at in one.appraisal.at_ratios
    ]  # fmt: skip
    heads = ["variance ratio", "average variance", "in variances of a run", "D"]
    title = _whose(one, outcome, "If batches differ less or more than assumed:")
    return "\n".join([title, text_table(heads, rows)])


def _sizes(one: Appraised, outcome: AppraiseOutcome) -> str:
    if not one.sizes:
        return ""
    points = sorted(
        [*_thinned([p for p in one.sizes if p.how != "anew"]),
         *(p for p in one.sizes if p.how == "anew")],
        key=lambda p: (p.runs, p.how == "anew"),
    )  # fmt: skip
    has_days = any(point.days for point in points)
    rows = [
        [str(p.runs), str(p.batches), *([str(p.days or "")] if has_days else []),
         plain(p.average, 3), plain(p.std_error, 2), _least_df(p), _power(p.weakest_power),
         _HOW[p.how]]
        for p in points
    ]  # fmt: skip
    heads = ["runs", "batches", *(["days"] if has_days else []), "average variance",
             "std. error of an effect", "least df", "least power", ""]  # fmt: skip
    return "\n".join(
        [_whose(one, outcome, "What fewer or more runs tell:"), text_table(heads, rows)]
    )


_HOW = {
    "fewer": "the best of this plan",
    "this plan": "this plan",
    "more": "this plan and more",
    "anew": "planned anew",
}


def _least_df(point: SizePoint) -> str:
    return str(min(point.residual_df.values()))


def _thinned(points: Sequence[SizePoint]) -> list[SizePoint]:
    """Keep a handful of sizes, the plan itself among them."""
    here = next((i for i, point in enumerate(points) if point.how == "this plan"), 0)
    step = max(1, -(-len(points) // _SIZES))
    return [point for i, point in enumerate(points) if (i - here) % step == 0]


def _unit(appraisal: Appraisal) -> str:
    return paragraph(
        f"Standard errors are in standard deviations ({scatter_of_one_run(appraisal)}), variances "
        "in its square; coefficients are those of coded units."
    )
