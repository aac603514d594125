"""The doubts of a study: gathered, settled by notes, and told; shared by enter, check and fit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from doe.steps.reading_doubts import homeless_readings, impossible_readings
from doe.steps.session import Session
from doe.study.doubt import Doubt, open_doubts, tell
from doe.study.finding import Finding

if TYPE_CHECKING:
    from analysis.lab.doubts.bench import Bench


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyDoubts:
    """What is doubted of a study.

    Attributes:
        findings: The doubts that stand open.
        settled: How many others a note has settled.
        of_runs: Runs that each open doubt is about and what it says, cautions alone.
    """

    findings: tuple[Finding, ...] = ()
    settled: int = 0
    of_runs: tuple[tuple[tuple[int, ...], str], ...] = ()


def study_doubts(session: Session) -> StudyDoubts:
    """Look for doubts in all that came from the bench; those that a note is about are counted."""
    if session.plan is None or not (
        session.readings.rows or session.actuals or not session.raw.is_empty
    ):
        return StudyDoubts()
    # Only a study with something from the bench pays for loading the arithmetic.
    from analysis.lab.doubts.bench import Bench
    from analysis.lab.doubts.gathered import doubts_of

    bench = Bench(
        study=session.study, plan=session.plan, readings=session.readings, raw=session.raw,
        actuals=session.actuals, choices=session.choices,
    )  # fmt: skip
    found = doubts_of(bench)
    off_scale = tuple(_off_their_scale(session, bench))
    impossible = {cell for one in found if one.is_impossible for cell in one.sources}
    told = {(name, cell) for one in off_scale for name in one.responses for cell in one.sources}
    # What cannot be is told once: not again for each thing that follows from it.
    from_methods = (
        one for one in session.doubts if not told & {(one.about, cell) for cell in one.sources}
    )
    derived = (*from_methods, *off_scale)
    every = (*(one for one in derived if not impossible & set(one.sources)), *found)
    left = open_doubts(every, session.choices)
    homeless = homeless_readings(session.study, session.readings.current())
    return StudyDoubts(
        findings=(*tell(left), *homeless), settled=len(every) - len(left),
        of_runs=tuple(
            (one.runs, one.finding.what) for one in left if one.finding.level != "note"
        ),
    )  # fmt: skip


def in_short(doubts: StudyDoubts) -> tuple[Finding, ...]:
    """Say in one sentence how many doubts stand open; `enter`, `check` and `fit` tell each."""
    standing = sum(one.level != "note" for one in doubts.findings)
    if not standing:
        return ()
    return (
        Finding(
            level="note",
            what=f"{standing} doubt{'s' if standing > 1 else ''} about what came from the bench "
            f"{'stand' if standing > 1 else 'stands'} open.",
            evidence={"doubts": standing},
            advice="'millbase check' tells each; 'millbase note' settles one.",
        ),
    )


def _off_their_scale(session: Session, bench: Bench) -> Iterator[Doubt]:
    from analysis.lab.doubts.bench import cells_of

    for reading in session.readings.current():
        cells = cells_of(bench, [reading])
        for finding in impossible_readings(session.study, [reading]):
            source = "; ".join(cells) or reading.source
            yield Doubt(
                finding=replace(finding, evidence={**finding.evidence, "source": source}),
                responses=(reading.response,),
                runs=(reading.run,),
                batches=bench.batches_of([reading.run]),
                readings=(reading.id,),
                sources=cells,
            )
