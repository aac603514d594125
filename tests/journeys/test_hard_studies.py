"""Hard studies end in a sentence that a formulator understands, and give what can be given.

That each of them must be fitted as far as it goes is asked for; the sentences are ours.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.fits.gaps import in_gaps
from doe.model.terms import term_label
from doe.steps.analysis_of import analyse
from doe.steps.choose import choose_study
from doe.steps.fit import fit_study
from doe.steps.model_choice import FitOptions
from doe.steps.predict import predict_study
from doe.steps.session import open_study
from doe.steps.settings_text import settings_row
from doe.study.finding import Finding
from tests.journeys.hard_studies import HARD, Hard, make


def said(*findings: Iterable[Finding]) -> str:
    """Join sentences."""
    return " ".join(f"{one.what} {one.advice}" for group in findings for one in group)


@pytest.mark.parametrize("name", HARD)
def test_a_hard_study_says_what_is_wrong_and_fits_the_rest(name: str, tmp_path: Path) -> None:
    """Terms that can be told are fitted; those that cannot are named, and what would tell them."""
    hard = HARD[name]
    analysis = analyse(open_study(make(tmp_path / "study", hard)), FitOptions())
    words = said(analysis.findings, *(one.findings for one in analysis.fitted.values()))
    words += " ".join(analysis.not_fitted.values())

    assert [key for key in hard.fit if key not in words] == []
    assert tuple(analysis.fitted) == hard.sound
    terms = tuple(term_label(term) for term in analysis.fitted["gloss"].fit.model.terms)
    assert not hard.model or terms == hard.model
    if hard.off:
        texts = dict(text.split("=") for text in hard.off)
        row = settings_row(texts, analysis.coding, "--at")[None, :]
        assert not analysis.region.contains(row)[0]


@pytest.mark.parametrize("name", [name for name, hard in HARD.items() if hard.searched])
def test_a_compromise_is_found_where_runs_speak(name: str, tmp_path: Path) -> None:
    """On every sound response, and on none of the gaps."""
    hard = HARD[name]
    chosen = choose_study(make(tmp_path / "study", hard))
    best, analysis = chosen.compromise.best, chosen.analysis

    assert {one.response for one in best.expected} == set(hard.sound)
    assert all(math.isfinite(one.value) for one in best.expected)
    assert {key: best.settings[key] for key in hard.chosen} == hard.chosen
    assert [key for key in hard.choose if key not in said(chosen.findings)] == []
    texts = {key: str(value) for key, value in best.settings.items()}
    row = settings_row(texts, analysis.coding, "--at")[None, :]
    assert not any(in_gaps(row, gaps)[0].any() for gaps in analysis.gaps.values())


@pytest.mark.parametrize("name", HARD)
def test_what_can_be_predicted_is_and_the_rest_is_told(name: str, tmp_path: Path) -> None:
    """Row 1 the runs speak for, row 2 they do not."""
    hard = HARD[name]
    study = make(tmp_path / "study", hard)
    found = predict_study(study, table=table_of(tmp_path, *filter(None, (hard.at, hard.off))))

    assert list(found.predictions) == list(hard.sound)
    assert all(math.isfinite(one.value[0]) for one in found.predictions.values())
    if hard.off:
        assert all(math.isnan(one.value[1]) for one in found.predictions.values())
        assert "cannot be predicted at row 2" in said(found.findings)
        assert hard.why_off in said(found.findings)


def test_a_gap_stays_one_when_the_model_is_kept(tmp_path: Path) -> None:
    """On record the model is one by its terms; the runs still lack the combination."""
    hard = HARD["a combination never run"]
    study = make(tmp_path / "study", hard)
    fit_study(study, FitOptions(keep=True, because="as the runs allow"))
    found = predict_study(study, at=hard.off)

    assert math.isnan(found.predictions["gloss"].value[0])
    assert hard.why_off in said(found.findings)


def table_of(folder: Path, *rows: Iterable[str]) -> Path:
    """Write settings as a table."""
    cells = [dict(text.split("=") for text in row) for row in rows]
    lines = [",".join(cells[0]), *(",".join(row.values()) for row in cells)]
    table = folder / "settings.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return table


def test_what_is_left_tells_as_much_as_a_brief_without_the_idle_level(tmp_path: Path) -> None:
    """A level never run changes no number of the others: the model is that of the smaller brief."""
    whole = HARD["a level never run"]
    smaller = make(tmp_path / "smaller", _without_soda())
    fits = [
        analyse(open_study(path), FitOptions()).fitted["gloss"].fit
        for path in (make(tmp_path / "whole", whole), smaller)
    ]

    assert fits[0].coefficients == pytest.approx(fits[1].coefficients, rel=1e-12)
    assert fits[0].covariance == pytest.approx(fits[1].covariance, rel=1e-9)


def _without_soda() -> Hard:
    whole = HARD["a level never run"]
    return replace(whole, brief=whole.brief.replace(', "soda"', ""))
