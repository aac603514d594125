"""What `confirm` refuses, given the rounds that there are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.agreement.judged_round import JudgedRound
from doe.errors import PlanError, StudyError

if TYPE_CHECKING:
    from doe.steps.confirm import ConfirmOptions


def refuse_beside(rounds: Sequence[JudgedRound], asked: ConfirmOptions) -> None:
    """Refuse another round while one waits, unless it is asked for outright.

    Raises:
        PlanError: A round waits: one of the same kind without --again, or one of the other kind
            without --batches.
    """
    where = "plant" if asked.plant else "laboratory"
    for one in rounds:
        is_own = one.entry.where == where
        if one.outcome.state == "judged" or asked.again or not (is_own or asked.batches is None):
            continue
        beside = "--again" if is_own else "--batches"
        raise PlanError(
            f"{one.entry.words} still waits for readings", where="confirmation.json",
            do=f"Enter them, or plan another round beside it with {beside}.",
        )  # fmt: skip


def refuse_plant(rounds: Sequence[JudgedRound], asked: ConfirmOptions) -> None:
    """Refuse to take batches of the plant into the models: asked for, or all that are judged."""
    plant = [one for one in rounds if one.entry.where == "plant"]
    judged = {one.entry.where for one in rounds if one.outcome.state == "judged"}
    is_all = bool(plant) and "laboratory" not in judged
    if not asked.plant and not is_all:
        return
    which = f"{plant[-1].entry.words}: " if plant else ""
    raise StudyError(
        f"{which}batches of the plant have a scatter of their own and never enter the models, "
        "which are the laboratory's",
        where="--take-in",
        do="Leave out --plant to take in batches of the laboratory." if asked.plant
        else "Batches of the laboratory can be taken in once they are judged: plan them with "
        "'millbase confirm STUDY --batches N', or enter the readings that wait.",
    )  # fmt: skip
