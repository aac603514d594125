"""The part of `dose` that plans a ladder and writes its file and its sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from doe.errors import StudyError
from doe.recipe.dose_ladder import USUAL, LadderPlan, LadderPot, ladder_doses, plan_ladder, widened
from doe.recipe.dose_window import DoseWindow
from doe.recipe.ladder_settings import ladder_settings
from doe.recipe.package import dosed_choice
from doe.sheets.ladder_cards import ladder_cards
from doe.sheets.ladder_form import GRAMS, LadderForm, shared_words
from doe.sheets.ladder_sheet import ladder_workbook
from doe.steps.session import DEFAULT_SEED
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.ladder import Ladder, Pot
from doe.study.ladder_file import LADDER_FILE, encode_ladder
from doe.study.level_ranges import own_ranges
from doe.study.names import match_name
from doe.study.numerals import number_text

LADDER_BOOK, LADDER_CARDS = "sheets/ladder.xlsx", "sheets/ladder.pdf"
# Grams in `ladder.csv` to a milligram: no balance of a mill laboratory shows more.
GRAM_PLACES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class LadderOptions:
    """How a ladder is planned.

    Attributes:
        steps: Number of doses.
        low: Lowest dose; None takes that of the level's own range in the brief, else half of the
            lowest one suggested.
        high: Highest dose; None takes that of the level's own range, else one and a half of the
            highest one suggested.
        shares: Share by additive, as typed.
        at: Value by factor, as typed.
        ascending_because: Why the pots are made in rising order; empty for a random one.
        seed: Of the random order; None takes the brief's.
        replace: Whether files that stand may be replaced.
    """

    steps: int = USUAL
    low: float | None = None
    high: float | None = None
    shares: tuple[tuple[str, str], ...] = ()
    at: tuple[tuple[str, str], ...] = ()
    ascending_because: str = ""
    seed: int | None = None
    replace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedLadder:
    """A ladder as planned now.

    Attributes:
        ladder: Its pots; with readings where the same ladder stood already.
        shared: Settings that all pots share, as phrases.
        order_words: How the order was chosen.
        files: What is to be written.
        findings: What the formulator ought to know.
    """

    ladder: Ladder
    shared: tuple[str, ...]
    order_words: str
    files: Mapping[str, bytes]
    findings: tuple[Finding, ...]


def plan_ladder_files(
    study: Study, window: DoseWindow, stands: Ladder | None, options: LadderOptions
) -> PlannedLadder:
    """Plan a ladder and make its files.

    Args:
        study: The brief.
        window: The estimates, for the ends that are not given.
        stands: The ladder there is; None without one.
        options: What is asked.

    Raises:
        PlanError: The ladder cannot be planned.
        StudyError: The ladder there is has readings and is another one.
    """
    plan = _plan(study, window, options)
    ladder = Ladder(pots=tuple(_pot(pot, plan) for pot in plan.pots))
    if stands is not None and stands.pots == ladder.pots:
        ladder = stands
    elif stands is not None and stands.has_readings and not options.replace:
        raise StudyError(
            "the ladder that stands has readings, and the new one is another; nothing was changed",
            where=LADDER_FILE,
            do="With --replace the old file is kept beside the new one.",
        )
    shared = _shared(study, plan)
    form = LadderForm(study=study, ladder=ladder, shared=shared, order_words=plan.order_words)
    return PlannedLadder(
        ladder=ladder, shared=shared, order_words=plan.order_words, findings=plan.findings,
        files={
            LADDER_FILE: encode_ladder(ladder),
            LADDER_BOOK: ladder_workbook(form),
            LADDER_CARDS: ladder_cards(form),
        },
    )  # fmt: skip


def dosed_level(study: Study, at: Sequence[tuple[str, str]]) -> str | None:
    """Find the dispersant that a ladder is made of, where it is a level of a named choice.

    Args:
        study: The brief.
        at: Value by factor, as typed.

    Returns:
        The level as the brief spells it; None where none is given.
    """
    choice = dosed_choice(study)
    if choice is None:
        return None
    said = next((text for name, text in at if match_name(name, [choice])), None)
    levels = next((map(str, one.levels) for one in study.factors if one.name == choice), ())
    return None if said is None else match_name(said, levels)


def own_range(study: Study, at: Sequence[tuple[str, str]]) -> tuple[float, float] | None:
    """Give the range that the brief states of the dose at the level given; None without one."""
    level = dosed_level(study, at)
    if study.dose is None or level is None:
        return None
    return own_ranges(study, study.dose).get(level)


def _plan(study: Study, window: DoseWindow, options: LadderOptions) -> LadderPlan:
    low, high = options.low, options.high
    own = own_range(study, options.at)
    if own is not None:
        low, high = own[0] if low is None else low, own[1] if high is None else high
    if low is None or high is None:
        assert window.low is not None
        assert window.high is not None
        wide = widened(window.low, window.high)
        low, high = wide[0] if low is None else low, wide[1] if high is None else high
    step = study.dose.step if study.dose else None
    doses = ladder_doses(low, high, options.steps, step)
    row = ladder_settings(study, options.shares, options.at)
    seed = options.seed if options.seed is not None else study.about.seed
    return plan_ladder(
        study, doses, row, seed=DEFAULT_SEED if seed is None else seed,
        ascending_because=options.ascending_because,
    )  # fmt: skip


def _pot(pot: LadderPot, plan: LadderPlan) -> Pot:
    made = {name: _text(value) for name, value in plan.row.items() if value is not None}
    if pot.recipe is not None:
        made |= {
            f"{line.name}{GRAMS}": number_text(round(line.as_supplied_g, GRAM_PLACES))
            for line in pot.recipe.lines
        }
    return Pot(
        number=pot.number, order=pot.order, kind="control" if pot.is_control else "pot",
        dose=pot.dose, made=made,
    )  # fmt: skip


def _shared(study: Study, plan: LadderPlan) -> tuple[str, ...]:
    recipe = next((pot.recipe for pot in plan.pots if pot.recipe is not None), None)
    titrated = {} if recipe is None else {one.factor: one for one in recipe.titrations}
    plain = {name: value for name, value in plan.row.items() if name not in titrated}
    return (
        *shared_words(study, plain),
        *(
            f"{one.factor} {number_text(one.target)}, titrated with {one.titrant} in place of water"
            for one in titrated.values()
        ),
    )


def _text(value: float | str) -> str:
    return value if isinstance(value, str) else number_text(value)
