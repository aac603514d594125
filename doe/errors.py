"""Every error raised on purpose: where, what, what is allowed, what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that the user must change.

    Attributes:
        what: What is wrong, with names, values and units.
        where: File and key, row or column; empty if there is no such place.
        allowed: What would be accepted, as a phrase.
        do: What to do next, as a sentence.
    """

    what: str
    where: str = ""
    allowed: str = ""
    do: str = ""

    def sentence(self) -> str:
        """Say the fault in one line.

        Example:
            >>> Fault(what="'dose' is 12", where="study.toml", allowed="0 to 10").sentence()
            "study.toml: 'dose' is 12; allowed: 0 to 10."
        """
        head = f"{self.where}: {self.what}" if self.where else self.what
        body = f"{head}; allowed: {self.allowed}" if self.allowed else head
        end = "" if body.endswith((".", "?", "!")) else "."
        return f"{body}{end} {self.do}".rstrip()


class DoeError(Exception):
    """What the user must change before the command can do its work; ends in exit status 2."""

    def __init__(self, what: str, *, where: str = "", allowed: str = "", do: str = "") -> None:
        self.faults: tuple[Fault, ...] = (Fault(what=what, where=where, allowed=allowed, do=do),)
        super().__init__(self.faults[0].sentence())

    @classmethod
    def from_faults(cls, faults: Iterable[Fault]) -> Self:
        """Gather several faults into one error, so that all are reported together."""
        every = tuple(faults)
        first = every[0]
        error = cls(first.what, where=first.where, allowed=first.allowed, do=first.do)
        error.faults = every
        error.args = ("\n".join(fault.sentence() for fault in every),)
        return error


class StudyError(DoeError):
    """The brief or a file of the study folder cannot be used as it is."""


class PlanError(DoeError):
    """The runs asked for cannot be planned."""


class ResultsError(DoeError):
    """Readings, actuals or a table from the bench cannot be taken in."""


class FitError(DoeError):
    """A response cannot be modelled as asked."""


class OptimumError(DoeError):
    """No compromise can be searched for."""
