"""Where an agreement stands: who has spoken, what is in the way of a final version."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from doe.study.agreement import RoleLine, Version
from doe.study.names import fold, match_name


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleStanding:
    """What a role says of a version, its last word.

    Attributes:
        role: As the brief names it.
        says: Its last word; empty where it has not spoken.
        date: Of that word.
        because: Why.
        earlier: How many words of its own that one takes back.
        in_brief: Whether the brief still names it; only such roles count.
    """

    role: str
    says: Literal["agrees", "objects", ""] = ""
    date: dt.date | None = None
    because: str = ""
    earlier: int = 0
    in_brief: bool = True


def role_standings(version: Version, roles: Sequence[str]) -> tuple[RoleStanding, ...]:
    """Give the last word of every role of the brief, then of roles that left it.

    Args:
        version: The version.
        roles: Who must agree, as the brief names them.
    """
    left = [line.role for line in version.lines if match_name(line.role, roles) is None]
    gone = {fold(role): role for role in left}
    return (
        *(_standing(role, version.lines, True) for role in roles),
        *(_standing(role, version.lines, False) for role in gone.values()),
    )


def _standing(role: str, lines: Sequence[RoleLine], in_brief: bool) -> RoleStanding:
    own = [line for line in lines if fold(line.role) == fold(role)]
    if not own:
        return RoleStanding(role=role, in_brief=in_brief)
    last = own[-1]
    return RoleStanding(
        role=role, says=last.says, date=last.date, because=last.because, earlier=len(own) - 1,
        in_brief=in_brief,
    )  # fmt: skip


def missing_roles(standings: Sequence[RoleStanding]) -> tuple[str, ...]:
    """Name the roles of the brief that have not spoken."""
    return tuple(one.role for one in standings if one.in_brief and not one.says)


def objecting_roles(standings: Sequence[RoleStanding]) -> tuple[str, ...]:
    """Name the roles of the brief that object."""
    return tuple(one.role for one in standings if one.in_brief and one.says == "objects")


def why_not_final(standings: Sequence[RoleStanding], without: Sequence[str]) -> tuple[str, ...]:
    """Say what is in the way of a final version.

    Args:
        standings: Of every role.
        without: Roles that the team goes on without; only those that have not spoken.

    Returns:
        Sentences; none where every role agrees or is named as missing.
    """
    return tuple(_obstacles(standings, {fold(role) for role in without}))


def _obstacles(standings: Sequence[RoleStanding], without: set[str]) -> Iterator[str]:
    for one in standings:
        if not one.in_brief:
            continue
        if one.says == "objects":
            because = f" ({one.because})" if one.because else ""
            yield f"{one.role} objects since {one.date}{because}."
        elif not one.says and fold(one.role) not in without:
            yield f"{one.role} has not spoken."
        elif one.says and fold(one.role) in without:
            yield f"{one.role} has spoken, so that the version cannot be made without it."
