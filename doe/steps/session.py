"""What a command reads first: everything that people and the bench put into the study folder."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import doe
from doe.errors import PlanError
from doe.model.strata import middle_ratio
from doe.study.brief import LARGEST_RATIO, Study
from doe.study.choices import Choices
from doe.study.folder import StudyFolder
from doe.study.hashes import content_hash, goals_hash, region_hash
from doe.study.plan import Plan
from doe.study.plan_file import PLAN_FILE
from doe.study.readings import Actual, Readings

# Used where neither the brief nor --seed says one, so that a study without a seed repeats, too.
DEFAULT_SEED = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Session:
    """The inputs of a study, as they stand now.

    Attributes:
        folder: Where they are.
        study: The brief.
        plan: The runs; None before there are any.
        readings: All readings, corrections included.
        actuals: What was really done.
        choices: The decisions that change a number.
    """

    folder: StudyFolder
    study: Study
    plan: Plan | None
    readings: Readings
    actuals: tuple[Actual, ...]
    choices: Choices

    def inputs(self) -> dict[str, str]:
        """Give the version and the hash of every input, as results name them."""
        folder = self.folder
        # No result depends on when a reading was entered, so its hash must not either.
        timeless = tuple(replace(row, entered="") for row in self.readings.current())
        hashes = {
            "version": doe.__version__,
            "region": region_hash(self.study),
            "goals": goals_hash(self.study),
            "readings": content_hash(*folder.readings_file(Readings(rows=timeless)).values()),
            "actuals": content_hash(*folder.actuals_file(self.actuals).values()),
            "choices": content_hash(*folder.choices_file(self.choices).values()),
        }
        if self.plan is not None:
            hashes["plan"] = content_hash(folder.plan_files(self.plan)[PLAN_FILE])
        return hashes

    def seed(self, asked: int | None) -> int:
        """Decide the seed: the one asked for, else the brief's, else the house's."""
        if asked is not None:
            return asked
        return DEFAULT_SEED if self.study.about.seed is None else self.study.about.seed

    def needed_plan(self) -> Plan:
        """Give the plan, or say that there is none yet.

        Raises:
            PlanError: The study has no runs yet.
        """
        if self.plan is None or len(self.plan) == 0:
            raise PlanError(
                "this study has no runs yet",
                where=str(self.folder.path),
                do="Plan them with 'millbase plan', or take in a table with 'millbase adopt'.",
            )
        return self.plan


def planned_ratio(study: Study, plan: Plan) -> float:
    """Give the variance ratio that the latest round was planned for, else the brief's.

    Of a plan that was made for the average over several it is their geometric mean.
    """
    for entry in reversed(plan.rounds):
        ratios = entry.details.get("variance ratios")
        if ratios:
            return middle_ratio([float(ratio) for ratio in ratios])
    return study.wishes.variance_ratio


def refuse_ratios(ratios: Iterable[float]) -> None:
    """Refuse variance ratios that arithmetic cannot hold.

    Raises:
        PlanError: One is negative or too large.
    """
    for ratio in ratios:
        if not 0 <= ratio <= LARGEST_RATIO:
            raise PlanError(
                f"{ratio:g} is no ratio of variances",
                where="--variance-ratio",
                allowed=f"0 to {LARGEST_RATIO:g}",
            )


def open_study(path: Path, folder: StudyFolder | None = None) -> Session:
    """Read a study folder.

    Args:
        path: The folder.
        folder: The folder as somebody holds it already, so that what is read stays true until
            it is written.

    Raises:
        StudyError: The folder or one of its files cannot be used; all faults of a file together.
    """
    folder = folder or StudyFolder(path)
    study = folder.read_study()
    return Session(
        folder=folder,
        study=study,
        plan=folder.read_plan(),
        readings=folder.read_readings(),
        actuals=folder.read_actuals(),
        choices=folder.read_choices(),
    )
