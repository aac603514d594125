"""The step `agree`: versions of the agreement, what each role says, and the formula card."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from analysis.agreement.agreement import Ground, Proposal, propose_version
from analysis.agreement.formula_card import FormulaCard
from analysis.agreement.matching import Match
from analysis.agreement.standing import RoleStanding, role_standings, why_not_final
from analysis.report.formula_card_pdf import formula_card_pdf
from doe.errors import StudyError
from doe.steps.agree_contract import agree_contract
from doe.steps.agree_rules import batch_finding, batch_of, box_findings, refuse_unnamed_failure
from doe.steps.agreed_card import card_of
from doe.steps.agreed_ground import agreed_risk, confirmations_now, ground_of
from doe.steps.agreement_match import match_now
from doe.steps.analysis_of import analyse
from doe.steps.model_choice import FitOptions
from doe.steps.nominal import named_settings, nominal_row, refuse_outside
from doe.steps.results import json_bytes, write_results
from doe.steps.session import Session, open_study
from doe.study.agreement import AGREEMENT_FILE, Agreement, FinalWord, RoleLine, Says, Version
from doe.study.agreement_file import decode_agreement, with_final, with_line, with_version
from doe.study.finding import Finding
from doe.study.names import match_name, nearest_name

CARD = "formula-card.pdf"
Did = Literal["shown", "proposed", "said", "made final", "refused"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreeOptions:
    """What `agree` may be asked for.

    Attributes:
        propose: Put a new version forward.
        at: Its settings, `NAME=VALUE` once each; empty for those kept, else the compromise.
        compromise: Search the compromise anew, whatever was kept.
        role: Who speaks or proposes.
        says: What that role says of the latest version; empty for nothing.
        final: Make the latest version final.
        without: Roles that have not spoken and are gone on without.
        because: Why.
        batch_kg: Size of the production batch, kg; None for that of the version.
        level: Confidence of the intervals of a new version, 0..1.
        seed: Of all draws; None for the brief's.
    """

    propose: bool = False
    at: tuple[str, ...] = ()
    compromise: bool = False
    role: str = ""
    says: Says | Literal[""] = ""
    final: bool = False
    without: tuple[str, ...] = ()
    because: str = ""
    batch_kg: float | None = None
    level: float = 0.95
    seed: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AgreeOutcome:
    """Where the agreement stands.

    Attributes:
        session: The inputs.
        agreement: Every version.
        did: What was done.
        roles: What each role says of the latest version.
        match: Whether it matches; None without a version.
        card: The formula card; None without a version.
        in_the_way: Why a final version was refused, sentences.
        own_findings: On what was done.
        files: What was written.
    """

    session: Session
    agreement: Agreement
    did: Did
    roles: tuple[RoleStanding, ...] = ()
    match: Match | None = None
    card: FormulaCard | None = None
    in_the_way: tuple[str, ...] = ()
    own_findings: tuple[Finding, ...] = ()
    files: tuple[Path, ...] = ()

    @property
    def version(self) -> Version | None:
        """The version that counts."""
        return self.agreement.latest

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the team should know."""
        if self.match is None or self.version is None:
            return self.own_findings
        return (*self.own_findings, *self.match.findings(self.version.number))

    @property
    def is_no(self) -> bool:
        """Whether a final version was refused, nothing matches any more, or batches refute it."""
        if self.in_the_way or self.match is None:
            return bool(self.in_the_way)
        return not self.match.holds or (self.did == "shown" and bool(self.match.failed))

    def contract(self) -> dict[str, Any]:
        """Give the object that `agree --json` prints."""
        return agree_contract(self)


def agree_study(path: Path, options: AgreeOptions | None = None, *, today: dt.date) -> AgreeOutcome:
    """Show the agreement of a study, propose a version, let a role speak, or make it final.

    Args:
        path: The study folder.
        options: What is asked; nothing to be shown where it stands.
        today: Date of whatever is written.

    Raises:
        DoeError: The study cannot be read, several things are asked at once, a role is not in the
            brief, or there is nothing to speak of yet.
    """
    asked = options or AgreeOptions()
    _refuse_options(asked)
    session = open_study(path)
    agreement = session.folder.read_agreement()
    if asked.propose:
        outcome = _propose(session, agreement, asked, today)
    elif asked.says:
        outcome = _say(session, agreement, asked, today)
    elif asked.final:
        outcome = _finish(session, agreement, asked, today)
    else:
        outcome = AgreeOutcome(session=session, agreement=agreement, did="shown")
    return _with_card(outcome, asked)


def _refuse_options(asked: AgreeOptions) -> None:
    acts = (asked.propose, bool(asked.says), asked.final)
    if sum(acts) > 1:
        raise StudyError(
            "that asks for several things at once", where="millbase agree",
            allowed="one of --propose, --role ROLE with --agrees or --objects, --final",
        )  # fmt: skip
    if (asked.at or asked.compromise) and not asked.propose:
        raise StudyError(
            "settings go with a new version", where="--at" if asked.at else "--compromise",
            do="Add --propose, or leave the settings out.",
        )  # fmt: skip
    if asked.without and not asked.final:
        raise StudyError("it goes with --final", where="--without")
    if asked.says and not asked.role:
        raise StudyError(f"nobody is named who {asked.says}", where="--role")
    if asked.role and not (asked.says or asked.propose):
        raise StudyError(
            f"'{asked.role}' says nothing", where="--role", allowed="with --agrees or --objects"
        )
    needs_reason = asked.propose or asked.says == "objects" or asked.without
    if needs_reason and not asked.because.strip():
        raise StudyError(
            "no reason is given", where="--because",
            do="Say why, in a few words; it stays on record.",
        )  # fmt: skip
    if asked.batch_kg is not None and not (0.0 < asked.batch_kg < math.inf):
        raise StudyError(f"{asked.batch_kg:g} kg is no batch", where="--batch-kg",
                         allowed="above 0 kg")  # fmt: skip


def _role(session: Session, name: str, where: str) -> str:
    """Give a role as the brief spells it.

    Raises:
        StudyError: The brief has no such role.
    """
    roles = session.study.about.roles
    found = match_name(name, roles)
    if found is not None:
        return found
    near = nearest_name(name, roles)
    raise StudyError(
        f"the brief has no role '{name}'",
        where=where,
        allowed=", ".join(f"'{role}'" for role in roles) or "none yet",
        do=f"Did you mean '{near}'?" if near else "Add it to roles under [study] in study.toml.",
    )


def _latest(agreement: Agreement) -> Version:
    if agreement.latest is None:
        raise StudyError(
            "no version was proposed yet", where=AGREEMENT_FILE,
            do='Propose one with \'millbase agree STUDY --propose --because "…"\'.',
        )  # fmt: skip
    return agreement.latest


# --- what can be done --------------------------------------------------------------------------


def _propose(
    session: Session, agreement: Agreement, asked: AgreeOptions, today: dt.date
) -> AgreeOutcome:
    role = _role(session, asked.role, "--role") if asked.role else ""
    analysis = analyse(session, FitOptions(level=asked.level))
    seed = session.seed(asked.seed)
    ground = ground_of(analysis, asked.level)
    row, of = nominal_row(analysis, asked.at, seed, afresh=asked.compromise, level=asked.level)
    if asked.at:
        refuse_outside(analysis, row)
    settings = named_settings(row, analysis.coding, ground.production)
    confirmations = confirmations_now(session, settings)
    refuse_unnamed_failure(confirmations, asked.because)
    risk = agreed_risk(analysis, row, settings, seed, asked.level)
    proposal = Proposal(
        number=len(agreement.versions) + 1, date=today, because=asked.because, role=role,
        settings=settings, settings_are=of, inputs=session.inputs(), seed=seed,
        batch_kg=batch_of(agreement, asked.batch_kg),
        risk=risk, confirmations=confirmations,
    )  # fmt: skip
    version = propose_version(ground, proposal)
    _refuse_the_same(agreement.latest, version)
    data = with_version(session.folder.read_file(AGREEMENT_FILE), version)
    found = (
        *box_findings(agreement, version, risk.why_no_box if risk else ""),
        *_proposed_findings(ground, version),
        *(() if asked.batch_kg or not version.formula
          else (batch_finding(agreement, version.batch_kg),)),
    )  # fmt: skip
    return _written(session, data, "proposed", found)


def _refuse_the_same(before: Version | None, new: Version) -> None:
    """Refuse a version that says what the last one says: it would only take the words away."""
    if before is None:
        return
    bare = [
        replace(one, number=0, date=new.date, because="", role="", batch_kg=1.0, lines=(),
                final=None, inputs=_without_version(one.inputs))
        for one in (before, new)
    ]  # fmt: skip
    if bare[0] == bare[1]:
        raise StudyError(
            f"version {before.number} says the same already", where="--propose",
            do="Let the roles speak of that one.",
        )  # fmt: skip


def _without_version(inputs: Mapping[str, str]) -> dict[str, str]:
    return {name: mark for name, mark in inputs.items() if name != "version"}


def _proposed_findings(ground: Ground, version: Version) -> tuple[Finding, ...]:
    found = []
    if any(one.verdict == "not met" for one in version.readings):
        named = ", ".join(one.response for one in version.readings if one.verdict == "not met")
        found.append(Finding(level="caution", what=f"Limits that are not met on average: {named}."))
    if not ground.study.about.roles:
        found.append(
            Finding(
                level="caution",
                what="The brief names no roles, so that nobody can agree.",
                advice='Add roles = ["formulator", …] under [study] in study.toml.',
            )
        )
    return tuple(found)


def _say(
    session: Session, agreement: Agreement, asked: AgreeOptions, today: dt.date
) -> AgreeOutcome:
    _latest(agreement)
    role = _role(session, asked.role, "--role")
    says: Says = "agrees" if asked.says == "agrees" else "objects"
    line = RoleLine(role=role, says=says, date=today, because=asked.because)
    return _written(session, with_line(_record(session), line), "said", ())


def _finish(
    session: Session, agreement: Agreement, asked: AgreeOptions, today: dt.date
) -> AgreeOutcome:
    version = _latest(agreement)
    without = tuple(_role(session, name, "--without") for name in asked.without)
    in_the_way = _in_the_way(session, version, without)
    if in_the_way:
        return AgreeOutcome(
            session=session, agreement=agreement, did="refused", in_the_way=in_the_way
        )
    word = FinalWord(date=today, without=without, because=asked.because)
    return _written(session, with_final(_record(session), word), "made final", ())


def _in_the_way(session: Session, version: Version, without: Sequence[str]) -> tuple[str, ...]:
    """Say why a version cannot be final: roles, a study that moved on, a final word before."""
    if version.final is not None:
        return (f"Version {version.number} is final since {version.final.date}.",)
    roles = session.study.about.roles
    found = list(why_not_final(role_standings(version, roles), without))
    if not roles:
        found.append("The brief names no roles, so that nobody can agree.")
    match = match_now(session, version)
    if not match.holds:
        found.append(
            f"Version {version.number} no longer matches the study (changed since: "
            f"{', '.join(match.changed)})."
        )
    return tuple(found)


def _record(session: Session) -> bytes:
    return session.folder.read_file(AGREEMENT_FILE) or b""


def _written(
    session: Session, data: bytes, did: Did, findings: tuple[Finding, ...]
) -> AgreeOutcome:
    """Write the grown record; it must read back first."""
    agreement = decode_agreement(data)
    files = session.folder.write({AGREEMENT_FILE: data}, command="agree")
    return AgreeOutcome(
        session=session, agreement=agreement, did=did, own_findings=findings, files=files
    )


# --- the card ----------------------------------------------------------------------------------


def _with_card(outcome: AgreeOutcome, asked: AgreeOptions) -> AgreeOutcome:
    """Hold the latest version against the study, and write its card and the answer on record."""
    version, session = outcome.version, outcome.session
    if version is None:
        return outcome
    match = match_now(session, version)
    card = card_of(session, outcome.agreement, match, asked.batch_kg)
    if card is None:
        return outcome
    outcome = replace(outcome, match=match, roles=card.roles, card=card)
    body = {**agree_contract(outcome), "card": f"results/{CARD}"}
    files = {CARD: formula_card_pdf(card, session.study), "agree.json": json_bytes(body)}
    written = write_results(session, files, command="agree")
    return replace(outcome, files=(*outcome.files, *written))
