"""Checks on what the bench weighs and runs beside the plan: recipes, controls and blocks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from doe.study.brief import Control, Material, Millbase, Study
from doe.study.brief_flaws import NAMES, Flaw
from doe.study.brief_lines import Path
from doe.study.names import fold, match_name

# Percent and shares come with a few decimals; sums are off by rounding only.
_ROUNDING = 1e-6


def check_bench(study: Study) -> Iterator[Flaw]:
    """Find recipes that cannot be weighed, and controls and blocks that cannot be run."""
    if study.millbase:
        yield from _check_millbase(study, study.millbase)
    yield from _check_letdown(study)
    for i, control in enumerate(study.controls):
        yield from _check_control(study, control, ("control", i))
    for i, block in enumerate(study.blocks):
        if block.size == 1:
            yield Flaw(
                path=("block", i, "size"),
                what=f'a "{block.name}" holds one run, which leaves nothing to compare in it',
                allowed="2 or more",
            )


def _check_millbase(study: Study, millbase: Millbase) -> Iterator[Flaw]:
    rows: Path = ("millbase", "ingredient")
    total = millbase.pigment_percent + sum(one.percent for one in millbase.ingredients)
    if total > 100 + _ROUNDING:
        yield Flaw(
            path=("millbase", "pigment_percent"),
            what=f"pigment and ingredients add to {total:g} % of the millbase",
            allowed="at most 100 %, as the balance makes up the rest",
            do="Lower one of them.",
            rests_on=(("millbase", "pigment_percent"), rows),
        )
    if millbase.sample_g is not None and millbase.sample_g > millbase.batch_g:
        yield Flaw(
            path=("millbase", "sample_g"),
            what=f"a sample of {millbase.sample_g:g} g is more than the batch of "
            f"{millbase.batch_g:g} g",
            do="Make the batch larger or the sample smaller.",
            rests_on=(("millbase", "sample_g"), ("millbase", "batch_g")),
        )
    if not fold(millbase.balance):
        yield Flaw(
            path=("millbase", "balance"),
            what="the balance has no name",
            do='Write balance = "water", or whatever makes the millbase up to 100 %.',
        )
    yield from _check_materials(millbase.ingredients, rows)
    additives = [one.name for one in study.additives]
    for i, one in enumerate(millbase.ingredients):
        if fold(one.name) == fold(millbase.balance):
            yield Flaw(
                path=(*rows, i, "name"),
                what=f'"{one.name}" is the balance and an ingredient with a percent of its own',
                do="Delete the ingredient, or name another balance.",
            )
        if match_name(one.name, additives):
            yield Flaw(
                path=(*rows, i, "name"),
                what=f'"{one.name}" is an additive of the package and an ingredient besides',
                do="Delete the ingredient; the dose and the share say how much is weighed.",
            )


def _check_materials(materials: Iterable[Material], path: Path) -> Iterator[Flaw]:
    seen: set[str] = set()
    for i, one in enumerate(materials):
        if not fold(one.name):
            yield Flaw(path=(*path, i, "name"), what="this ingredient has no name", do="Name it.")
        elif fold(one.name) in seen:
            yield Flaw(
                path=(*path, i, "name"),
                what=f'"{one.name}" is weighed twice',
                do="Put both amounts into one, or tell the names apart.",
            )
        seen.add(fold(one.name))


def _check_letdown(study: Study) -> Iterator[Flaw]:
    letdown, millbase = study.letdown, study.millbase
    if letdown:
        yield from _check_materials(letdown.ingredients, ("letdown", "ingredient"))
    if letdown and millbase and millbase.sample_g and letdown.millbase_g > millbase.sample_g:
        yield Flaw(
            path=("letdown", "millbase_g"),
            what=f"the let-down takes {letdown.millbase_g:g} g of a sample of "
            f"{millbase.sample_g:g} g",
            do="Draw a larger sample or let less of it down.",
            rests_on=(("letdown", "millbase_g"), ("millbase", "sample_g")),
        )
    if letdown and study.tint:
        total = letdown.millbase_g + sum(one.grams for one in letdown.ingredients)
        if study.tint.letdown_g > total:
            yield Flaw(
                path=("tint", "letdown_g"),
                what=f"the white reduction takes {study.tint.letdown_g:g} g of a let-down of "
                f"{total:g} g",
                do="Take less, or let more down.",
                rests_on=(("letdown",), ("tint", "letdown_g")),
            )


# --- controls ----------------------------------------------------------------------------------


def _check_control(study: Study, control: Control, path: Path) -> Iterator[Flaw]:
    blocks = ("day", "round", *(block.name for block in study.blocks))
    if control.every is not None and match_name(control.every, blocks) is None:
        yield Flaw(
            path=(*path, "every"),
            what=f'"{control.every}" is no block of this brief',
            allowed=", ".join(f'"{name}"' for name in dict.fromkeys(blocks)),
            do="Add a [[block]] of that name, or take one of these.",
            rests_on=((*path, "every"), ("block",), NAMES),
        )
    own = "ingredients" in control.model_fields_set
    named = "settings" in control.model_fields_set
    if own == named:
        yield Flaw(
            path=path,
            what=f'"{control.name}" has {"settings as well as" if own else "neither settings nor"} '
            "ingredients of its own",
            do="Keep one of them." if own else "Add settings = { … }; unnamed shares are 0.",
            rests_on=((*path, "settings"), (*path, "ingredient")),
        )
    yield from _check_materials(control.ingredients, (*path, "ingredient"))
    for name, said in control.settings.items():
        yield from _check_control_value(study, name, said, (*path, "settings", name))
    yield from _check_control_shares(study, control, (*path, "settings"))


def _check_control_value(study: Study, name: str, said: float | str, path: Path) -> Iterator[Flaw]:
    factor = next((one for one in study.factors if one.name == name), None)
    is_word = factor is not None and (factor.kind == "choice" or isinstance(factor.value, str))
    if isinstance(said, str) and not is_word:
        yield Flaw(
            path=path,
            what=f'"{name}" is set in numbers, and "{said}" is none',
            do=f"Write the number without quotes, {said.replace(',', '.')}."
            if said.replace(",", "").replace(".", "").isdigit()
            else "Write a number.",
        )
    elif is_word and not isinstance(said, str):
        yield Flaw(path=path, what=f'"{name}" is set in words, and {said:g} is none',
                   do="Write one of its levels in quotes.")  # fmt: skip
    elif isinstance(said, float) and factor is not None and factor.role == "dose" and said < 0:
        yield Flaw(path=path, what=f'the dose "{name}" is {said:g}', allowed="0 or more")


def _check_control_shares(study: Study, control: Control, path: Path) -> Iterator[Flaw]:
    names = [additive.name for additive in study.additives]
    shares = {name: float(said) for name, said in control.settings.items()
              if name in names and not isinstance(said, str)}  # fmt: skip
    for name, share in shares.items():
        if not 0 <= share <= 1:
            yield Flaw(path=(*path, name), what=f'the share of "{name}" is {share:g}',
                       allowed="0 to 1")  # fmt: skip
    total = sum(shares.values())
    if shares and abs(total - 1) > _ROUNDING:
        yield Flaw(
            path=path,
            what=f'the shares of "{control.name}" add to {total:g}',
            allowed="1; unnamed shares are 0",
            do="Give the shares of the package as proportions of active matter.",
            rests_on=(path, NAMES),
        )
    dose = study.dose
    amount = control.settings.get(dose.name) if dose else None
    if names and not shares and isinstance(amount, float) and amount > 0:
        yield Flaw(
            path=path,
            what=f'"{control.name}" has a dose of {amount:g} but no shares',
            do="Name the shares that it consists of, or write a dose of 0.",
            rests_on=(path, NAMES),
        )
