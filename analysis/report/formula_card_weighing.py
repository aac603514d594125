"""The weigh-out on the formula card: every step in turn, with what it may be off."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from analysis.agreement.formula_card import (
    GRAMS_IN_KG,
    CardLine,
    CardTitration,
    FormulaCard,
)
from analysis.report.blocks import Block, TableBlock, WordsBlock
from analysis.report.rounding import MISSING, fixed, percent, plain
from analysis.report.table import Cell, Table
from doe.sheets.wording import (
    READ_REACHED,
    fill_up_how,
    made_up_name,
    step_how,
    task_text,
    titrant_how,
    titrant_name,
)
from doe.study.agreement import AgreedTitration, Version
from doe.study.sentence import listed

WEIGH = "card-weigh-out"
# A scale that shows more decimals of a kilogram carries less than one, and shows grams.
MOST_KG_DECIMALS = 3


def weigh_blocks(card: FormulaCard) -> Iterator[Block]:
    """Say what is weighed, in order of addition, and what is titrated.

    Args:
        card: The card.

    Returns:
        A table, with the words that belong to it.
    """
    if not card.lines:
        yield WordsBlock(
            text="The brief has no [millbase], so nothing can be weighed out: the formula stands "
            "in its settings."
        )
        return
    stated = any(line.tolerance_kg is not None for line in card.lines)
    has_box = any(line.window_kg is not None for line in card.lines)
    yield TableBlock(
        table=Table(
            name=WEIGH,
            title="What is weighed, as supplied.",
            head=("step", "material", "weigh", "±", *(("box",) if has_box else ())),
            file_head=("step", "material", "kg", "± kg", *(("box",) if has_box else ())),
            words=2,
            rows=tuple(
                (Cell(text=str(step)), *cells)
                for step, cells in enumerate(_steps(card, has_box), start=1)
            ),
            note=" ".join(
                [
                    *([_tolerance_note(card.lines)] if stated else []),
                    *([_box_note(card.version)] if has_box else []),
                    *([_narrow_note(card)] if card.too_narrow else []),
                ]
            ),
        )
    )
    if not stated:
        yield WordsBlock(
            text="The brief states no weighing error (weighing_percent) and no scatter of the "
            "dose: how far a load may be off is for the plant to say."
        )
    yield from (WordsBlock(text=_titration_words(one, card)) for one in card.titrations)


def _steps(card: FormulaCard, has_box: bool) -> Iterator[tuple[Cell, ...]]:
    """Give what is done in turn, as on the bench cards: without what is held back, base first."""
    empty = (Cell(text=MISSING),) if has_box else ()
    for line in card.lines:
        yield _weigh_cells(line, has_box)
        if line.kind == "balance":
            yield from (_titrant_cells(one) + empty for one in card.titrations)
    for one in card.titrations:
        # A pH among kilograms would be read as one: it stands in words.
        target = (
            f"{READ_REACHED}: {_reading_text(one.titration)} {_off_text(one.titration)}".rstrip()
        )
        what = task_text(one.titration.factor, target)
        yield (Cell(text=what), Cell(text=""), Cell(text=MISSING), *empty)
    held = max(card.titrations, key=lambda one: one.held_back_kg, default=None)
    if held is not None and held.held_back_kg > 0:
        titrants = [one.titration.titrant for one in card.titrations]
        how = fill_up_how(_load_text([held.held_back_kg], held.decimals), titrants)
        text = task_text(made_up_name(held.balance), how)
        yield (Cell(text=text), Cell(text=""), Cell(text=MISSING), *empty)


def _titrant_cells(one: CardTitration) -> tuple[Cell, ...]:
    asked = one.titration
    mass = "grams" if _is_in_grams(one.decimals) else "kg"
    how = titrant_how(asked.factor, _reading_text(asked), mass)
    text = task_text(titrant_name(asked.titrant, asked.factor), how)
    return (Cell(text=text), Cell(text=""), Cell(text=MISSING))


def _reading_text(one: AgreedTitration) -> str:
    return f"{plain(one.target)} {one.unit}".rstrip()


def _off_text(one: AgreedTitration) -> str:
    return "" if one.tolerance is None else f"± {plain(one.tolerance)} {one.unit}".rstrip()


def _weigh_cells(line: CardLine, has_box: bool) -> tuple[Cell, ...]:
    name = task_text(line.name, step_how(line.kind))
    if line.part != "mill base":
        name = f"{line.name} (at the let-down)"
    if line.tolerance_kg is None:
        tolerance = MISSING
    elif line.is_finer_than_scale:
        tolerance = "finer scale"
    else:
        tolerance = _load_text([line.tolerance_kg], line.decimals)
    cells = (
        Cell(text=name),
        Cell(text=_load_text([line.shown_kg], line.decimals), value=line.kg),
        Cell(text=tolerance, value=line.tolerance_kg),
    )
    return (*cells, Cell(text=_ends_text(line))) if has_box else cells


def _ends_text(line: CardLine) -> str:
    """Print the ends of an additive."""
    return MISSING if line.window_kg is None else _load_text(line.window_kg, line.decimals)


def _load_text(kg: Sequence[float], decimals: int) -> str:
    """Print a load, or from where to where it may lie, as a scale of so many decimals shows it."""
    if _is_in_grams(decimals):
        texts, unit = [fixed(one * GRAMS_IN_KG, decimals - MOST_KG_DECIMALS) for one in kg], "g"
    else:
        texts, unit = [fixed(one, decimals) for one in kg], "kg"
    return f"{' to '.join(texts)} {unit}"


def _is_in_grams(decimals: int) -> bool:
    return decimals > MOST_KG_DECIMALS


def _tolerance_note(lines: Iterable[CardLine]) -> str:
    by: dict[str, list[str]] = {}
    for line in lines:
        if line.tolerance_from:
            by.setdefault(line.tolerance_from, []).append(line.name)
    told = "; ".join(f"{why} of the brief: {listed(names)}" for why, names in by.items())
    return f"± is two standard deviations, rounded to what a scale for that load shows ({told})."


def _titration_words(one: CardTitration, card: FormulaCard) -> str:
    return (
        f"Add {one.titration.titrant} below the surface. With what is made up at the end the batch "
        f"is {plain(card.batch_kg)} kg."
    )


def _box_note(version: Version) -> str:
    chance = version.window_probability
    if chance is None:
        return ""
    return (
        "Box: weigh every additive anywhere within its ends, all at once, and shares and dose stay "
        "in the box under Settings. With the other settings anywhere in theirs as well, "
        f"{percent(chance)} of production batches or more still meet every limit; the scatter that "
        "the brief states (±) is in that already."
    )


def _narrow_note(card: FormulaCard) -> str:
    return (
        f"The box leaves {listed(card.too_narrow)} less room than a scale shows, so it is given in "
        "shares and dose only, under Settings: weigh to the mark."
    )
