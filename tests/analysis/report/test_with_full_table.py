"""The compromise of the full models in the report."""

from __future__ import annotations

import numpy as np

from analysis.choice.compromise import Compromise, Recipe
from analysis.choice.with_full import WithFull, compare_with_full
from analysis.report.content import Provenance, ReportContent
from analysis.report.gathered_findings import pressing_findings
from analysis.report.tables import tables_of
from analysis.report.with_full_table import with_full_table
from doe.model.coding import coding_of
from tests.analysis.fits.adopted_table import range_factor, study_of


def _found(dose: float, desirability: float) -> Compromise:
    recipe = Recipe(settings={"dose": dose}, desirability=desirability, expected=())
    return Compromise(
        best=recipe, unrounded=recipe, loss=0.0, unmet=(), binding=(), alternatives=(), view="",
        within_limits=False, findings=(),
    )  # fmt: skip


def _beside(full: Compromise | None) -> WithFull:
    coding = coding_of(study_of(factors=[range_factor("dose", 1, 3)], response={"name": "y"}))
    return compare_with_full(_found(1.5, 0.8), full, ("y",), coding)


def test_both_recipes_stand_side_by_side() -> None:
    """Each setting in both, how far apart, and both desirabilities."""
    table = with_full_table(_beside(_found(2.0, 0.7)))

    assert [[cell.text for cell in row] for row in table.rows] == [
        ["dose", "1.5", "2", "25\N{NO-BREAK SPACE}%"],
        ["overall desirability", "0.8", "0.7", ""],
    ]
    assert np.isclose(table.rows[0][3].value or 0.0, 0.25)


def test_the_report_says_what_choose_says_of_it() -> None:
    """Among what the formulator must heed, and as a table for the statistician."""
    study = study_of(factors=[range_factor("dose", 1, 3)], response={"name": "y"})
    content = ReportContent(
        study=study, provenance=Provenance(version="0"), with_full=_beside(_found(2.0, 0.7))
    )

    assert "would choose other settings" in pressing_findings(content)[0].what
    assert "with-full-models" in [table.name for table in tables_of(content)]


def test_nothing_left_out_makes_no_table() -> None:
    """Nor do full models that find no compromise: the finding says that."""
    assert with_full_table(None).rows == ()
    assert with_full_table(_beside(None)).rows == ()


def test_the_sentence_says_from_where_on_it_tells() -> None:
    """The limits of what counts as another recipe are ours: they are not hidden."""
    assert "(told from 10 % of a range on)" in _beside(_found(2.0, 0.7)).finding.what
    near = _beside(_found(1.6, 0.7)).finding
    assert near.level == "caution"
    assert "more than 10 % of its range" in near.what
    assert "by more than 0.05" in near.what
