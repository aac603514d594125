"""The page: every number as it was put in, hostile names harmless, the same bytes twice."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from analysis.figures.drawn import Drawn
from analysis.report.content import ReportContent
from analysis.report.page import render_report
from analysis.report.rounding import error_text, plain, with_error
from doe.sheets.wording import grams_text
from doe.study.finding import Finding
from tests.analysis.report.masonry import (
    HARD_NAMES,
    PROVENANCE,
    album_of,
    first_figures,
    full_content,
    masonry,
)


class Outline(HTMLParser):
    """Collects headings, tags and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.texts: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep the tag and its id."""
        self.tags.append(tag)
        self.ids += [value for name, value in attrs if name == "id" and value is not None]

    def handle_data(self, data: str) -> None:
        """Keep the text, white space folded."""
        self.texts.append(" ".join(data.split()))

    @property
    def text(self) -> str:
        """Everything a reader reads."""
        return " ".join(text for text in self.texts if text)


@pytest.fixture(scope="module")
def album() -> tuple[Drawn, ...]:
    """All figures of the invented study."""
    return first_figures((), 12)


@pytest.fixture(scope="module")
def page(album: tuple[Drawn, ...]) -> str:
    """Its page."""
    return render_report(full_content(masonry(), album))


def test_the_recipe_is_printed_with_settings_and_grams(page: str) -> None:
    """The decision maker weighs by this table."""
    study = masonry()
    text = Outline(page).text

    assert f"{study.compromise.best.settings['pH']:.2f}" in text
    recipe = study.batch_recipe()
    weighed = [line.as_supplied_g for line in recipe.lines if line.kind != "balance"]
    assert all(grams_text(grams) in text for grams in (recipe.first_water_g, *weighed))


def test_expected_values_follow_their_error(page: str) -> None:
    """Numbers of the page are the numbers put in, rounded by their interval only."""
    text = Outline(page).text
    for entry in masonry().compromise.best.expected:
        error = (entry.run_interval[1] - entry.run_interval[0]) / 4

        assert with_error(entry.value, error) in text
        assert with_error(entry.run_interval[1], error) in text


def test_every_coefficient_is_in_the_appendix(page: str) -> None:
    """Estimate and standard error, digits by the error."""
    text = Outline(page).text
    for fitted in masonry().fitted.values():
        for row in fitted.assessment.coefficients:
            assert f"{with_error(row.estimate, row.std_error)} {error_text(row.std_error)}" in text


def test_quality_is_in_the_appendix(page: str) -> None:
    """PRESS, AICc and the R² family as the fit gave them."""
    text = Outline(page).text
    for fitted in masonry().fitted.values():
        checks = fitted.assessment

        assert f"PRESS {plain(checks.press)}" in text
        assert f"AICc {plain(checks.aicc)}" in text
        assert f"R², predicted {checks.r2_predicted:.3f}" in text


def test_seed_version_and_hashes_are_in_the_footer(page: str) -> None:
    """Whoever makes it again needs them."""
    footer = page[page.index("<footer>") :]

    assert all(word in footer for word in ("20260114", "0.1.0", "00112233445566aa"))


def test_invented_data_are_announced(page: str) -> None:
    """A reader must never take the demo for knowledge."""
    assert "Invented data." in Outline(page).text
    assert "Invented data." not in render_report(replace(full_content(masonry()), invented=False))


def test_nothing_is_fetched_and_nothing_runs(page: str) -> None:
    """The page opens offline, from a mail or a stick."""
    outline = Outline(page)

    assert "script" not in outline.tags
    assert not re.search(r'(?:src|href)="(?!#|data:)', page)
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)


def test_ids_are_unique(page: str) -> None:
    """Figures that share an id borrow each other's clips and hatches."""
    ids = Outline(page).ids

    assert len(ids) == len(set(ids))


def test_every_reference_inside_the_page_leads_somewhere(page: str) -> None:
    """Contents list and clips alike."""
    ids = set(Outline(page).ids)
    wanted = set(re.findall(r'(?:href="#|url\(#)([^")]+)', page))

    assert wanted <= ids


def test_figures_are_named_for_those_who_cannot_see_them(
    page: str, album: tuple[Drawn, ...]
) -> None:
    """One labelled image a figure."""
    assert page.count('role="img" aria-label="') == len(album)


def test_tables_and_figures_are_numbered_through(page: str, album: tuple[Drawn, ...]) -> None:
    """A number in a letter must mean one figure."""
    numbers = [int(number) for number in re.findall(r"<b>Figure (\d+)\.</b>", page)]

    assert numbers == list(range(1, len(album) + 1))


def test_the_same_content_gives_the_same_page(page: str, album: tuple[Drawn, ...]) -> None:
    """No clock, no random id."""
    assert render_report(full_content(masonry(), album)) == page


def test_hostile_names_are_text() -> None:
    """Names come from people and from pasted tables."""
    page = render_report(full_content(masonry(HARD_NAMES), album_of(HARD_NAMES)))
    outline = Outline(page)

    assert "script" not in outline.tags
    assert '<script>alert("x")</script>' in outline.text
    assert "viscosity & 'flow' <b>" in outline.text
    assert "=$dose_{x}$ {{ 7 * 7 }}" in outline.text


def test_a_limit_that_is_not_met_is_told_in_words_and_sign() -> None:
    """Never by colour alone."""
    study = masonry()
    first = study.compromise.best.expected[0]
    best = replace(
        study.compromise.best,
        expected=(replace(first, accepted=False), *study.compromise.best.expected[1:]),
    )
    broken = replace(study.compromise, best=best, unmet=("viscosity lies above 600 mPa·s",))
    page = render_report(replace(full_content(study), compromise=broken))

    assert re.search(r"✗</span> not met", page)
    assert "viscosity lies above 600 mPa·s" in page


def test_equal_findings_of_several_responses_are_said_once() -> None:
    """The half page has no room for the same sentence three times."""
    study = masonry()
    same = Finding(level="caution", what="The days differ.", advice="Randomise.")
    fitted = {name: replace(one, findings=(same,)) for name, one in study.fitted.items()}
    page = render_report(replace(full_content(study), fitted=fitted))

    assert "Viscosity, colour strength and water uptake: the days differ." in page


def test_a_study_without_readings_has_a_page() -> None:
    """A report must work before all is known."""
    study = masonry()
    page = render_report(ReportContent(study=study.study, provenance=PROVENANCE, plan=study.plan))

    assert "No recipe to recommend yet" in page
    assert "the runs wait for their readings" in page


def test_a_study_with_some_responses_pending_has_a_page() -> None:
    """What waits is said, the rest is shown."""
    study = masonry()
    page = render_report(
        ReportContent(
            study=study.study,
            provenance=PROVENANCE,
            plan=study.plan,
            data=study.data,
            fitted={"viscosity": study.fitted["viscosity"]},
            not_fitted={"colour strength": "its readings wait"},
            no_compromise="No response has an aim.",
        )
    )

    assert "1 of 3 responses" in page
    assert "colour strength is not modelled: its readings wait" in page
    assert "No response has an aim." in page


def test_no_page_prints_nan_or_negative_zero(page: str) -> None:
    """Both would read as numbers."""
    text = Outline(page).text

    assert not re.search(r"\bnan\b|\binf\b|\bNone\b", text)
    assert not re.search(r"[-−]0(?:\.0+)?(?![.\d])", text)
