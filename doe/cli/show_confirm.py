"""How `confirm` looks in the terminal: the verdict first, then what it rests on."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.agreement.confirmation import ResponseOutcome
from analysis.agreement.confirmation_size import ConfirmSize
from analysis.agreement.judged_round import JudgedRound
from analysis.agreement.plant import PlantOutcome
from analysis.report.rounding import interval_error, interval_text, percent, plain, with_error
from doe.cli.screen import paragraph, text_table, typed
from doe.cli.show_planning import SAFETY, runs_text
from doe.steps.confirm import ConfirmOutcome
from doe.steps.confirm_taking_in import Moved
from doe.study.confirmation import Confirmation, FrozenResponse

# Moves of coefficients that the screen lists; `--json` has all.
MOST_MOVES = 6


def show_confirm(outcome: ConfirmOutcome) -> str:
    """Show what was planned, what waits, or the verdict and its reasons."""
    if outcome.judged is not None:
        parts = [*_judged(outcome.judged, outcome), *_moved(outcome.moved)]
    else:
        parts = [*_planned(outcome)]
    return "\n\n".join(part for part in parts if part)


def _planned(outcome: ConfirmOutcome) -> Iterator[str]:
    folder = typed(outcome.session.folder.path)
    if outcome.size_words:
        yield paragraph(" ".join(outcome.size_words))
    if outcome.nominal is not None:
        yield _settings(outcome)
    if outcome.sizes:
        yield from _sizes_asked(outcome)
    if outcome.planned is None:
        yield f"Next: millbase confirm {folder} --batches N"
        return
    yield _foretold(outcome.planned)
    yield "\n".join(paragraph(words) for words in outcome.planned.rule.words)
    if outcome.added is not None:
        yield runs_text(outcome.added)
    yield paragraph(SAFETY)
    judge = f"millbase confirm {folder}{_plant_flag(outcome.planned)}"
    yield f"Next: millbase sheet {folder} --replace, then enter, then {judge}"


def _sizes_asked(outcome: ConfirmOutcome) -> Iterator[str]:
    """Show the sizes up to one batch more than planned, and what those that are planned tell."""
    if outcome.added is None:
        yield _sizes(outcome.sizes)
        return
    planned = outcome.added.kind.count("confirm")
    yield _sizes(tuple(one for one in outcome.sizes if one.batches <= planned + 1))
    for one in outcome.sizes:
        if one.batches == planned:
            told = ", ".join(f"{o.response} {percent(o.fails_if_off)}" for o in one.responses)
            noun = "1 batch finds" if planned == 1 else f"{planned} batches find"
            yield paragraph(
                f"Planned: {noun} a formula that is off by as much as said above so often: {told} "
                "of the time."
            )


def _plant_flag(entry: Confirmation) -> str:
    return " --plant" if entry.where == "plant" else ""


def _settings(outcome: ConfirmOutcome) -> str:
    assert outcome.nominal is not None
    units = {factor.name: factor.unit for factor in outcome.session.study.factors}
    rows = [
        [name, value if isinstance(value, str) else plain(value),
         units.get(name, "share of active matter")]
        for name, value in outcome.nominal.settings.items()
    ]  # fmt: skip
    return f"At the {outcome.nominal.of}:\n{text_table(['setting', 'value', 'unit'], rows)}"


def _sizes(sizes: tuple[ConfirmSize, ...]) -> str:
    rows = [
        [str(one.batches), str(one.days), own.response,
         interval_text(*own.interval, interval_error(*own.interval)), own.unit,
         "–" if own.told_from_limit is None else plain(own.told_from_limit, 3),
         percent(one.passes_if_right), percent(own.fails_if_off)]
        for one in sizes
        for own in one.responses
    ]  # fmt: skip
    heads = [
        "batches", "days", "response", "the mean must lie in", "unit", "seen if off a limit by",
        "right one passes", "off one fails",
    ]  # fmt: skip
    words = dict.fromkeys(f"{own.response}: {own.off_words}" for own in sizes[0].responses)
    note = (
        "seen if off a limit by: how far inside its limit the true mean must lie for these batches "
        f"alone to show it, in the response's unit; an off one means {'; '.join(words)}"
    )
    return f"{text_table(heads, rows)}\n{paragraph(f'  ({note})')}"


def _foretold(entry: Confirmation) -> str:
    rows = [_foretold_row(one) for one in entry.responses]
    heads = ["response", "foretold", "unit", "the mean must lie in", "each batch"]
    return f"Frozen in confirmation.json:\n{text_table(heads, rows)}"


def _foretold_row(one: FrozenResponse) -> list[str]:
    error = interval_error(*one.interval) if one.interval else None
    interval = interval_text(*one.interval, error) if one.interval else "–"
    return [one.response, with_error(one.value, error), one.unit, interval, _limits(one)]


def _limits(one: FrozenResponse) -> str:
    low, high = one.limits
    told = [
        *([f"at least {low:g}"] if low is not None else []),
        *([f"at most {high:g}"] if high is not None else []),
    ]
    return " and ".join(told) or "no limit"


def _judged(judged: JudgedRound, outcome: ConfirmOutcome) -> Iterator[str]:
    folder = typed(outcome.session.folder.path)
    if judged.outcome.state != "judged":
        yield paragraph(judged.waiting_words())
        judge = f"millbase confirm {folder}{_plant_flag(judged.entry)}"
        yield f"Next: millbase enter {folder} …, then {judge}"
        return
    yield paragraph(judged.verdict_words())
    yield _verdicts(judged)
    yield _batches(judged)
    if judged.plant:
        yield _plant(judged.plant)
    yield _reasons(judged)
    if judged.next is not None:
        command = judged.next.command.replace("STUDY", folder)
        yield paragraph(f"Best next: millbase {command}: {judged.next.why}.")
    if judged.entry.where == "laboratory" and not judged.taken_in:
        yield paragraph(
            "The models are as they were. To build them on these batches, too, whatever the "
            f"verdict: millbase confirm {folder} --take-in --because …"
        )


def _verdicts(judged: JudgedRound) -> str:
    rows = [_verdict_row(one) for one in judged.outcome.responses]
    must = "laboratory's interval" if judged.entry.where == "plant" else "it must lie in"
    heads = [
        "response", "foretold", "mean", "unit", must, "inside", "off by (in sd)",
        "each batch", "within",
    ]  # fmt: skip
    return text_table(heads, rows)


def _verdict_row(one: ResponseOutcome) -> list[str]:
    error = interval_error(*one.interval) if one.interval else None
    return [
        one.response,
        with_error(one.frozen.value, error),
        with_error(one.mean, error),
        one.frozen.unit,
        interval_text(*one.interval, error) if one.interval else "–",
        _yes(one.inside),
        "–" if one.t is None else f"{one.t:+.1f}".replace("-", "−"),
        _limits(one.frozen),
        _yes(one.within),
    ]


def _yes(answer: bool | None) -> str:
    return "–" if answer is None else "yes" if answer else "NO"


def _batches(judged: JudgedRound) -> str:
    rows = []
    for one in judged.outcome.responses:
        error = interval_error(*one.interval) if one.interval else None
        for own in one.batches:
            told = [own.flag] if own.flag else []
            told += ["apart from the others"] if own.apart else []
            rows.append(
                [one.response, str(own.batch), ", ".join(map(str, own.runs)),
                 with_error(own.value, error), one.frozen.unit, _yes(own.within),
                 ", ".join(told)]
            )  # fmt: skip
    return text_table(["response", "batch", "runs", "tested", "unit", "within", ""], rows)


def _plant(found: tuple[PlantOutcome, ...]) -> str:
    rows = []
    for one in found:
        error = interval_error(*one.offset_interval) if one.offset_interval else None
        own = interval_error(*one.next_batch) if one.next_batch else None
        offset = f"{with_error(one.offset, error)} ({one.offset_is})"
        told = [_ends(one.offset_interval, error), _ends(one.next_batch, own)]
        rows.append(
            [one.response, str(one.batches), with_error(one.mean, own), one.unit, offset, *told,
             _ends(one.tolerance, own), percent(one.next_within)]
        )  # fmt: skip
    heads = [
        "response", "plant batches", "mean", "unit", "plant off the laboratory by", "interval",
        "next batch", "95 % of batches", "next within limits",
    ]  # fmt: skip
    return text_table(heads, rows)


def _ends(ends: tuple[float, float] | None, error: float | None) -> str:
    return "–" if ends is None else interval_text(*ends, error)


def _reasons(judged: JudgedRound) -> str:
    if not judged.reasons:
        return ""
    lines = [
        "Possible reasons for the miss, the likeliest first (in brackets the points for it: two "
        "for\nwhat a test shows, one for what only fits):"
    ]
    for one in judged.reasons:
        lines.append(paragraph(f"{one.title} ({one.points}): {' '.join(one.evidence)}"))
    return "\n".join(lines)


def _moved(moved: Moved | None) -> Iterator[str]:
    if moved is None:
        return
    yield "The models are built on these batches, too."
    if moved.settings:
        rows = [
            [one.setting, _setting(one.before), _setting(one.after), percent(one.part)]
            for one in moved.settings
        ]
        assert moved.desirability is not None
        before, after = moved.desirability
        yield (
            f"The compromise moved (overall desirability {before:.3f} before, {after:.3f} now):\n"
            + text_table(["setting", "before", "now", "moved, of its range"], rows)
        )
    named = moved.named[:MOST_MOVES]
    if not named:
        yield "No coefficient moved by as much as its standard error."
        return
    rows = [
        [one.response, one.term, plain(one.before), plain(one.after), f"{one.in_errors or 0:.1f}"]
        for one in named
    ]
    yield (
        f"{len(moved.named)} of {len(moved.coefficients)} coefficients moved by a standard error "
        "or more:\n" + text_table(["response", "term", "before", "now", "in errors"], rows)
    )


def _setting(value: float | str | None) -> str:
    return value if isinstance(value, str) else plain(value)
