"""What a command reads first: everything that people and the bench put into the study folder."""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import dataclass, field, replace
from pathlib import Path

import doe
from doe.errors import PlanError
from doe.layouts.extending.joining import without_runs
from doe.methods.raw_columns import bench_tests
from doe.methods.settling import settle_methods
from doe.model.strata import middle_ratio
from doe.study.brief import LARGEST_RATIO, Study
from doe.study.choices import Choices
from doe.study.computed_merge import contradicted, with_computed
from doe.study.doubt import Doubt
from doe.study.finding import Finding
from doe.study.folder import StudyFolder
from doe.study.hashes import content_hash, goals_hash, region_hash
from doe.study.numbering import runs_with_data
from doe.study.plan import Plan
from doe.study.plan_file import PLAN_FILE
from doe.study.raw_data import RawData
from doe.study.readings import Actual, Reading, Readings

# Used where neither the brief nor --seed says one, so that a study without a seed repeats, too.
DEFAULT_SEED = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Session:
    """The inputs of a study, as they stand now.

    Attributes:
        folder: Where they are.
        study: The brief.
        plan: The runs; None before there are any.
        readings: All readings, corrections included, and what the methods make of the raw ones.
        actuals: What was really done.
        choices: The decisions that change a number.
        raw: What the bench wrote down before anything was computed from it.
        doubts: What the methods doubt of the raw readings.
    """

    folder: StudyFolder
    study: Study
    plan: Plan | None
    readings: Readings
    actuals: tuple[Actual, ...]
    choices: Choices
    raw: RawData = field(default_factory=RawData)
    doubts: tuple[Doubt, ...] = ()

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

    def as_of(self, last_run: int) -> Session:
        """Give the inputs as they would be without the runs after one, and what they told."""
        runs = () if self.plan is None else self.plan.run
        return self.without({run for run in runs if run > last_run})

    def without(self, gone: Set[int]) -> Session:
        """Give the inputs as they would be without some runs, and what they told."""
        if self.plan is None:
            return self
        whole, plan = self.plan, without_runs(self.plan, gone)

        def goes(one: Actual) -> bool:
            """Whether all runs of its unit go."""
            left, before = (runs_with_data(some, Readings(), (one,)) for some in (plan, whole))
            return bool(before) and not left

        return replace(
            self,
            plan=plan,
            readings=Readings(rows=tuple(r for r in self.readings.rows if r.run not in gone)),
            actuals=tuple(one for one in self.actuals if not goes(one)),
        )

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

    def runs_with_data(self, plan: Plan) -> tuple[int, ...]:
        """Give the runs of a plan that have a reading, raw ones included, or an actual."""
        known = {*runs_with_data(plan, self.readings, self.actuals), *self.raw.runs()}
        return tuple(sorted(known & set(plan.run)))


def study_folder(path: Path) -> StudyFolder:
    """Give a study folder whose brief may name test methods."""
    return StudyFolder(path, settle=settle_methods)


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
    folder = folder or study_folder(path)
    study = folder.read_study()
    session = Session(
        folder=folder,
        study=study,
        plan=folder.read_plan(),
        readings=folder.read_readings(),
        actuals=folder.read_actuals(),
        choices=folder.read_choices(),
        raw=folder.read_raw(test.table.name for test in bench_tests(study)),
    )
    return with_methods(session)


def with_methods(session: Session) -> Session:
    """Compute the readings that methods make of the raw ones, as all inputs stand now."""
    plan = session.plan
    has_methods = any(response.method for response in session.study.responses)
    if plan is None or not has_methods or not (session.readings.rows or not session.raw.is_empty):
        return session
    # Only a study with raw readings pays for loading the arithmetic.
    from analysis.lab.deriving import derive_readings

    derived = derive_readings(session.study, plan, session.raw, session.readings, session.actuals)
    torn = contradicted(session.readings, derived.readings)
    return replace(
        session,
        readings=with_computed(session.readings, derived.readings),
        doubts=tuple(_placed(one, plan) for one in (*derived.doubts, *map(_contradicts, torn))),
    )


def _placed(doubt: Doubt, plan: Plan) -> Doubt:
    """Name the batches and days of a doubt's runs, so that a note on one of them settles it."""
    rows = [i for i, run in enumerate(plan.run) if run in doubt.runs]
    batches = dict.fromkeys(b for i in rows if (b := plan.batch[i]) is not None)
    days = dict.fromkeys(d for i in rows if (d := plan.day[i]) is not None)
    return replace(doubt, batches=tuple(batches), days=tuple(days))


def _contradicts(computed: Reading) -> Doubt:
    shown = computed.flag if computed.value is None else f"{computed.value:.6g}"
    finding = Finding(
        level="caution",
        what=f"Run {computed.run}, '{computed.response}': a value was entered as it is, and the "
        f"raw readings give {shown}; the one that was entered is used.",
        advice="Correct the one or the other.",
    )
    return Doubt(finding=finding, responses=(computed.response,), runs=(computed.run,))
