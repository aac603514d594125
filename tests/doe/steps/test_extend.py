"""The settings that could still be the best, and the step from Python."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.fits.fit import Fit
from doe.model.coding import code
from doe.model.region import region_of
from doe.steps.analysis_of import analyse
from doe.steps.contenders import Contenders, contenders
from doe.steps.extend import ExtendOptions, extend_study
from doe.steps.model_choice import FitOptions
from doe.steps.session import open_study
from doe.study.brief import Study
from doe.study.settings import FloatArray
from tests.journeys.briefs import factors, study_of
from tests.journeys.whole_way import done, runs_of

AIM = '[[response]]\nname = "y"\nper = "batch"\naim = "high"\nbest = 12\nworst = 0\n'


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a study with a hill at z1 = 0.5, z2 = −0.5, read with some scatter."""
    folder = study_of(tmp_path_factory.mktemp("hill") / "s", factors(2), AIM)
    done("plan", folder, "--layout", "central composite")
    lines = ["run,y"]
    for run, row in runs_of(folder).items():
        z1, z2 = float(row["z1"]), float(row["z2"])
        y = 10 - 2 * (z1 - 0.5) ** 2 - 2 * (z2 + 0.5) ** 2 + 0.3 * ((run * 7 % 11) / 5 - 1)
        lines.append(f"{run},{y:.4f}")
    (folder / "y.csv").write_text("\n".join(lines))
    done("enter", folder, folder / "y.csv")
    return folder


def found(study: Path, shrink: float = 1.0, seed: int = 1) -> tuple[Contenders, Study]:
    """Find the contenders with the covariance of the fit scaled."""
    session = open_study(study)
    fits = analyse(session, FitOptions()).fits
    fit: Fit = fits["y"]
    scaled = {"y": replace(fit, covariance=np.asarray(fit.covariance) * shrink)}
    start: FloatArray = np.array([0.5, -0.5])
    rng = np.random.default_rng(seed)
    return contenders(session.study, region_of(session.study), scaled, start, rng), session.study


def test_a_model_that_is_sure_leaves_one_place(study: Path) -> None:
    """Without uncertainty the summit alone is left, and it is where the hill is."""
    sure, brief = found(study, shrink=1e-12)
    centre = np.median(code(sure.area, region_of(brief).coding), axis=0)

    assert sure.different == 1
    np.testing.assert_allclose(centre, [0.5, -0.5], atol=0.2)


def test_the_less_sure_the_model_the_more_settings_could_be_the_best(study: Path) -> None:
    """The area grows with the covariance of the coefficients."""
    spans = [found(study, shrink=scale)[0].spread for scale in (1e-4, 1.0, 100.0)]

    assert spans[0] < spans[1] < spans[2]


def test_the_area_lies_inside_the_region(study: Path) -> None:
    """Surroundings are cut at its edge; the same seed gives the same area."""
    area, brief = found(study, shrink=10.0)
    again, _ = found(study, shrink=10.0)

    assert region_of(brief).contains(area.area).all()
    np.testing.assert_array_equal(area.area, again.area)


def test_runs_near_the_compromise_lie_nearer_to_it_than_runs_for_the_region(study: Path) -> None:
    """From Python as from the command line; the plan on disk is the one that is returned."""
    outcome = extend_study(study, ExtendOptions(purpose="compromise", runs=6))
    assert outcome.added is not None
    new = [i for i, kind in enumerate(outcome.added.kind) if kind == "compromise"]
    values = outcome.added.settings.values[new]

    assert len(new) == 4
    # Off the summit, on both sides of it, not all over the region.
    assert np.linalg.norm(values - [0.5, -0.5], axis=1).mean() < 1.0
    on_disk = open_study(study).plan
    assert on_disk is not None
    assert on_disk.run[-len(outcome.added) :] == outcome.added.run
    assert outcome.round.details["for"] == "compromise"
    assert "could still be the best" in outcome.round.reasons[0]
