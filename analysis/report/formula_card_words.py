"""What the formula card says, in words and tables: the same on paper, in the report, on screen."""

from __future__ import annotations

import math
from collections.abc import Iterator

from analysis.agreement.formula_card import FormulaCard, VersionLine
from analysis.agreement.not_tested import not_tested_now
from analysis.agreement.standing import RoleStanding
from analysis.report.against_words import against_words
from analysis.report.blocks import Block, ListBlock, Part, TableBlock, WordsBlock
from analysis.report.formula_card_weighing import weigh_blocks
from analysis.report.rounding import (
    MISSING,
    NO_ERROR,
    fixed,
    interval_error,
    interval_text,
    percent,
    plain,
    with_error,
)
from analysis.report.table import Cell, Sign, Table
from analysis.report.words import setting_text
from analysis.surface.against_control import AgainstControl
from doe.study.agreement import (
    END_POINTS,
    AgreedEndPoint,
    AgreedGain,
    AgreedReading,
    AgreedSetting,
    EndPointKind,
    Version,
)
from doe.study.brief import Study
from doe.study.names import fold
from doe.study.sentence import listed

SETTINGS, ENDS = "card-settings", "card-end-points"
READINGS, ROLES, VERSIONS = "card-readings", "agreement-roles", "agreement-versions"
NOT_TRANSFERABLE = (
    "For the record of this laboratory only: NOT TRANSFERABLE to another mill. Elsewhere grind to "
    "the end point above, whatever the clock says."
)
_SIGNS: dict[str, Sign] = {"met": "met", "met on average": "met", "not met": "unmet", "": ""}
_KINDS: dict[EndPointKind, str] = {
    "fineness": "Fineness", "strength": "Colour strength", "viscosity": "Viscosity",
    "temperature": "Temperature",
}  # fmt: skip


def state_words(card: FormulaCard) -> str:
    """Say in a sentence or two whether one may work by the card."""
    words = _state(card)
    if card.match is not None and card.match.failed and card.state != "superseded":
        failed = " ".join(one.words for one in card.match.failed)
        words = f"NOT CONFIRMED. Confirmation failed: {failed} {words}"
    if not _has_box(card):
        words += (
            " No tolerance box: none was found at these settings when it was proposed, so that "
            "nothing tells how far all of them may lie off at once."
        )
    if card.match is not None and not card.match.holds and card.state != "superseded":
        words += (
            " NO LONGER MATCHES the study: changed since: " + ", ".join(card.match.changed) + "."
        )
    return words


def _has_box(card: FormulaCard) -> bool:
    """Tell whether the version has a tolerance box, or nothing that one could keep."""
    version = card.version
    return version.probability is None or version.window_probability is not None


def _state(card: FormulaCard) -> str:
    version = card.version
    if card.state == "superseded":
        latest = card.versions[-1].version.number
        if version.final is None:
            return f"REPLACED by version {latest} before it was final: do not work by this card."
        return f"SUPERSEDED by version {latest}: do not work by this card."
    parts = []
    if version.final is not None:
        parts.append(f"FINAL since {version.final.date}.")
        if version.final.without:
            why = f" ({version.final.because})" if version.final.because else ""
            parts.append(f"Made without {listed(version.final.without)}{why}.")
        if not card.missing and not card.objecting:
            parts.append("Every role agrees.")
    else:
        parts.append("DRAFT.")
        if card.missing:
            parts.append(f"Not spoken yet: {listed(card.missing)}.")
    if card.objecting:
        parts.append(f"Objects: {listed(card.objecting)}.")
        if version.final is not None:
            parts.append(
                "The version stays final on record; if the objection is to count, propose a new "
                "version ('millbase agree STUDY --propose')."
            )
    if version.final is None and not card.missing and not card.objecting:
        parts.append(
            "Every role agrees; no final word yet: give it with 'millbase agree STUDY --final'."
        )
    return " ".join(parts)


def card_parts(card: FormulaCard, study: Study) -> tuple[Part, ...]:
    """Gather what the card says, the plant's part first; parts with nothing to say are left out.

    Args:
        card: The card.
        study: The brief, for the digits of settings.
    """
    version = card.version
    rounds = card.match.confirmations if card.match is not None else ()
    refuted = card.match is not None and bool(card.match.failed)
    readings = ("Expected readings", _readings(card))
    if refuted:
        readings = ("Expected readings: NOT CONFIRMED by batches", _readings(card))
    parts = (
        *((readings,) if refuted else ()),
        (
            f"Weigh out for {plain(card.batch_kg)} kg of mill base, in this order",
            weigh_blocks(card),
        ),
        ("Settings", _settings(card, study)),
        ("End point of the grind: good on any mill", _ends(version)),
        ("Laboratory mill: not transferable", _laboratory(version)),
        *(() if refuted else (readings,)),
        ("Against the controls", _gains(version)),
        ("Not tested", _listed_block(not_tested_now(version, rounds))),
        ("Cautions of the models", _listed_block(version.cautions)),
        ("What it rests on", _rests_on(version)),
        ("Versions", _versions(card)),
        ("Who agrees", _roles(card)),
    )
    told = ((title, tuple(blocks)) for title, blocks in parts)
    return tuple(Part(title=title, blocks=blocks) for title, blocks in told if blocks)


# --- what the plant needs first ----------------------------------------------------------------


def _settings(card: FormulaCard, study: Study) -> Iterator[Block]:
    of_mill = {one.name for one in card.version.laboratory}
    rows = [one for one in card.version.settings if one.name not in of_mill]
    if not rows:
        return
    has_box = any(one.window_low is not None for one in rows)
    head = ("setting", "set to", "±", *(("box",) if has_box else ()))
    yield TableBlock(
        table=Table(
            name=SETTINGS,
            title="What is set.",
            head=head,
            rows=tuple(_setting_row(study, one, has_box) for one in rows),
        )
    )


def _setting_row(study: Study, one: AgreedSetting, has_box: bool) -> tuple[Cell, ...]:
    unit = one.unit
    if any(additive.name == one.name for additive in study.additives):
        unit = "share of active matter"
    held = ", held" if one.held else ""
    off = plain(one.tolerance) if one.tolerance is not None else MISSING
    cells = [
        Cell(text=(f"{one.name} ({unit})" if unit else one.name) + held),
        Cell(text=setting_text(study, one.name, one.value), value=one.value),
        Cell(text=off, value=one.tolerance),
    ]
    if has_box:
        ends = (one.window_low, one.window_high)
        text = " to ".join(setting_text(study, one.name, end) for end in ends)
        cells.append(Cell(text=MISSING if None in ends else text))
    return tuple(cells)


def _ends(version: Version) -> Iterator[Block]:
    told = {one.kind for one in version.end_points}
    rows = []
    for kind in END_POINTS:
        rows += [_end_row(one) for one in version.end_points if one.kind == kind]
        if kind not in told:
            text = "no limit in this study: the plant's own"
            rows.append((Cell(text=_KINDS[kind]), Cell(text=MISSING), Cell(text=text)))
    yield TableBlock(
        table=Table(
            name=ENDS,
            title="When the grind is done, and where it must stop.",
            head=("end point", "grind until it reads", "limit"),
            words=3,
            rows=tuple(rows),
            note="Grind until each reads as the models and the laboratory's batches foretell (in "
            "brackets: where one new run lies), not until its limit is just met: all other "
            "expected readings were told for that state. The limit decides on release.",
        )
    )


def _end_row(one: AgreedEndPoint) -> tuple[Cell, ...]:
    unit = f" {one.unit}" if one.unit else ""
    limits = []
    if one.at_least is not None:
        limits.append(f"at least {plain(one.at_least)}")
    if one.at_most is not None:
        limits.append(f"at most {plain(one.at_most)}")
    text = f"{' and '.join(limits)}{unit}" if limits else "no limit: aim at what is expected"
    if one.limit_from:
        text += f" ({one.limit_from})"
    name = _KINDS[one.kind]
    said = name if fold(one.name) == fold(name) else f"{name}: {one.name}"
    return Cell(text=said), Cell(text=_expected_text(one)), Cell(text=text)


def _expected_text(one: AgreedEndPoint) -> str:
    if one.value is None:
        return MISSING
    return f"{_value_and_run(one.value, one.low, one.high)} {one.unit}".rstrip()


def _value_and_run(value: float, low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return plain(value)
    error = interval_error(low, high)
    span = interval_text(low, high, error)
    return f"{with_error(value, error)} ({span})" if span != NO_ERROR else plain(value)


def _laboratory(version: Version) -> Iterator[Block]:
    if not version.laboratory:
        return
    yield WordsBlock(text=NOT_TRANSFERABLE)
    yield ListBlock(
        lines=tuple(
            f"{one.name}: {one.value if isinstance(one.value, str) else plain(one.value)} "
            f"{one.unit}".rstrip()
            for one in version.laboratory
        )
    )


# --- what to expect ----------------------------------------------------------------------------


def _readings(card: FormulaCard) -> Iterator[Block]:
    version = card.version
    if not version.readings:
        return
    drawn = any(one.probability is not None for one in version.readings)
    head = ("response", "expected", "one new run within", "limit", "met?")
    yield TableBlock(
        table=Table(
            name=READINGS,
            title=f"What was foretold on {version.date}, intervals at {percent(version.level)}.",
            head=(*head, "batches of 100") if drawn else head,
            rows=tuple(_reading_row(one, drawn) for one in version.readings),
            note=_run_note(version),
        )
    )
    if version.probability is not None:
        yield WordsBlock(text=_chance_words(version))
    rounds = (card.match.confirmations if card.match is not None else ()) or version.confirmations
    if rounds:
        yield ListBlock(lines=tuple(one.words for one in rounds))


def _reading_row(one: AgreedReading, drawn: bool) -> tuple[Cell, ...]:
    name = f"{one.response} ({one.unit})" if one.unit else one.response
    low, high = one.run_low, one.run_high
    error = interval_error(low, high) if low is not None and high is not None else None
    limits = [text.removesuffix(f" {one.unit}") for text in one.limits]
    cells = [
        Cell(text=name),
        Cell(text=with_error(one.value, error), value=one.value),
        Cell(text=MISSING if low is None or high is None else interval_text(low, high, error)),
        Cell(text=" and ".join(limits) or MISSING),
        Cell(text=one.verdict or "no limit", sign=_SIGNS[one.verdict]),
    ]
    if drawn:
        chance = one.probability
        text = MISSING if chance is None else fixed(100 * chance, 1)
        cells.append(Cell(text=text, value=chance))
    return tuple(cells)


def _run_note(version: Version) -> str:
    fors = list(dict.fromkeys(one.predict_for for one in version.readings if one.predict_for))
    words = "; ".join(fors)
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def _chance_words(version: Version) -> str:
    tested = fixed(100 * (version.probability or 0.0), 1)
    words = f"Of 100 production batches {tested} meet every limit as tested"
    if version.probability_true is not None:
        words += f", {fixed(100 * version.probability_true, 1)} by their true values"
    return f"{words}. Valid if the form of the models is right."


def _gains(version: Version) -> Iterator[Block]:
    if not version.gains:
        return
    yield ListBlock(lines=tuple(against_words(_against(one)) for one in version.gains))
    yield WordsBlock(text=f"In brackets: where the true gain lies, at {percent(version.level)}.")


def _against(one: AgreedGain) -> AgainstControl:
    low, high = (math.nan if end is None else end for end in (one.low, one.high))
    return AgainstControl(
        response=one.response, unit=one.unit, control=one.control, measure=one.measure,
        value=one.value, interval=(low, high), control_value=math.nan, level=one.level,
        df=math.nan, p=math.nan, candidates=1,
    )  # fmt: skip


# --- what it rests on --------------------------------------------------------------------------


def _listed_block(lines: tuple[str, ...]) -> Iterator[Block]:
    if lines:
        yield ListBlock(lines=lines)


def _rests_on(version: Version) -> Iterator[Block]:
    marks = ", ".join(f"{name} {mark}" for name, mark in version.inputs.items())
    where = f"Settings are {version.settings_are}. " if version.settings_are else ""
    yield WordsBlock(text=f"{where}Inputs: {marks}; seed {version.seed}.")
    if version.choices:
        yield ListBlock(lines=version.choices)


def _versions(card: FormulaCard) -> Iterator[Block]:
    rows = []
    for one in card.versions:
        by = f" ({one.version.role})" if one.version.role else ""
        rows.append(
            (
                Cell(text=str(one.version.number)),
                Cell(text=str(one.version.date)),
                Cell(text=_version_state(one)),
                Cell(text=f"{one.version.because}{by}".strip() or MISSING),
            )
        )
    yield TableBlock(
        table=Table(
            name=VERSIONS, title="Every version.", words=4,
            head=("version", "proposed", "state", "because"), rows=tuple(rows),
        )
    )  # fmt: skip


def _version_state(one: VersionLine) -> str:
    """Tell a version that was final and gave way from one that never was."""
    if one.state == "superseded" and one.version.final is None:
        return "replaced before it was final"
    return one.state


def _roles(card: FormulaCard) -> Iterator[Block]:
    if not card.roles:
        yield WordsBlock(text="The brief names no roles, so that nobody can agree.")
        return
    yield TableBlock(
        table=Table(
            name=ROLES,
            title="The last word of each role.",
            head=("role", "says", "on", "because"),
            words=4,
            rows=tuple(_role_row(one) for one in card.roles),
        )
    )


def _role_row(one: RoleStanding) -> tuple[Cell, ...]:
    says: str = one.says or "has not spoken"
    if one.earlier:
        says += f" (takes back {one.earlier} earlier)"
    sign: Sign = "met" if one.says == "agrees" else "unmet" if one.says == "objects" else ""
    role = one.role if one.in_brief else f"{one.role} (no longer in the brief)"
    return (
        Cell(text=role),
        Cell(text=says, sign=sign),
        Cell(text=str(one.date) if one.date else MISSING),
        Cell(text=one.because or MISSING),
    )
