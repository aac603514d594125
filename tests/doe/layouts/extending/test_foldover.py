"""Mirror images break the published words of the fractions they belong to."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from doe.appraisal.two_level import found_words
from doe.errors import PlanError
from doe.layouts.extending.foldover import both_rounds, confusion
from doe.layouts.extending.registry import find_purpose
from doe.layouts.generators import two_level_runs
from doe.model.coding import code
from tests.doe.layouts.briefs import BASE_CHOICE, RANGES, a_study
from tests.doe.layouts.extending.studies import ask_for, plan_of, planned

CATALOGUE = Path(__file__).parents[3] / "reference" / "fractional-factorial-catalogue" / "data.csv"
ROWS = list(csv.DictReader(CATALOGUE.read_text(encoding="utf-8").splitlines()))
# Words longer than eight factors are not looked for in runs.
SMALL = [row for row in ROWS if int(row["k"]) <= 8]


def pattern(words: tuple[int, ...]) -> list[int]:
    """Count words by their length, from 1 to 7."""
    return [sum(word.bit_count() == length for word in words) for length in range(1, 8)]


@pytest.mark.parametrize("row", SMALL, ids=lambda row: row["design"])
def test_the_mirror_image_breaks_the_published_words_of_odd_length(row: dict[str, str]) -> None:
    """Chen, Sun and Wu (1993): word-length patterns; all signs changed, the even words stay.

    Source: tests/reference/fractional-factorial-catalogue. Counts, so no tolerance.
    """
    k, n = int(row["k"]), int(row["runs"])
    published = [int(count) for count in row["wlp"].split("/")]
    signs = two_level_runs(k, n)
    left = found_words(both_rounds(signs, tuple(range(k))))

    assert pattern(found_words(signs)) == published
    assert pattern(left) == [c if (i + 1) % 2 == 0 else 0 for i, c in enumerate(published)]


@pytest.mark.parametrize("row", SMALL, ids=lambda row: row["design"])
def test_one_changed_sign_breaks_every_word_with_that_factor(row: dict[str, str]) -> None:
    """The words that hold the factor go, the others stay."""
    signs = two_level_runs(int(row["k"]), int(row["runs"]))
    before = found_words(signs)

    assert found_words(both_rounds(signs, (0,))) == tuple(w for w in before if not w & 1)


def test_a_fraction_of_resolution_three_is_mirrored_whole() -> None:
    """2^(7-4): the seven published words of three factors go; main effects are clear."""
    study = a_study(RANGES[:7])
    plan = planned(study, "fractional factorial", models=("linear",), resolution=3, centre=0)
    ask = ask_for(study, plan)
    made = find_purpose("foldover").make(ask)
    new = [i for i, kind in enumerate(made.kind) if kind == "foldover"]
    old = code(np.asarray(plan.settings.values), ask.coding)
    mirrored = {tuple(row) for row in (-old).round(6).tolist()}

    assert made.details["signs changed"] == "all factors"
    assert len(made.details["broken words"]) == 8  # seven of three factors, one of seven
    assert {tuple(r) for r in code(made.values[new], ask.coding).round(6).tolist()} == mirrored
    assert made.kind.count("replicate") == 2


def test_a_fraction_of_resolution_four_has_one_sign_changed() -> None:
    """All its words are even: changing all signs would break none of them."""
    study = a_study(RANGES[:4])
    plan = planned(study, "fractional factorial", models=("linear",), resolution=4, centre=0)
    made = find_purpose("foldover").make(ask_for(study, plan))

    assert made.details["broken words"] == ["dose × pH × grind time × mill speed"]
    assert made.details["words left"] == []
    assert "dose × pH and grind time × mill speed" in " ".join(made.reasons)


def test_the_factor_asked_for_is_the_one_whose_signs_change() -> None:
    """A named choice swaps its two levels."""
    study = a_study((*RANGES[:3], BASE_CHOICE))
    plan = planned(study, "fractional factorial", models=("linear",), resolution=4, centre=0)
    ask = ask_for(study, plan, factor="Neutraliser")
    made = find_purpose("foldover").make(ask)
    rows = {tuple(row) for row in np.asarray(plan.settings.values).round(6).tolist()}
    new = made.values[[i for i, kind in enumerate(made.kind) if kind == "foldover"]].copy()
    new[:, 3] = 1 - new[:, 3]

    assert {tuple(row) for row in new.round(6).tolist()} == rows


def test_a_twelve_run_screening_has_main_effects_cleared_of_pairs() -> None:
    """Plackett and Burman (1946): partial aliases, which the mirror image breaks."""
    study = a_study(RANGES[:8])
    plan = planned(study, "Plackett-Burman", models=("linear",), runs=12, centre=0)
    made = find_purpose("foldover").make(ask_for(study, plan))
    ask = ask_for(study, plan)
    signs = np.sign(code(np.asarray(plan.settings.values), ask.coding))

    assert made.details["signs changed"] == "all factors"
    assert confusion(signs)[0] > 0.5
    assert confusion(both_rounds(signs, tuple(range(8))))[0] == 0


def test_shared_batches_are_mirrored_batch_by_batch() -> None:
    """A half fraction of the batch factors, two samples each: new batches hold their settings."""
    study = a_study((*RANGES[:3], {**RANGES[3], "set_per": "sample"}))
    half = [(0.8, 8.0, 45.0), (2.4, 8.0, 15.0), (0.8, 9.5, 15.0), (2.4, 9.5, 45.0)]
    values = np.array([[*row, speed] for row in half for speed in (8.0, 14.0)])
    plan = plan_of(study, values, batch=(1, 1, 2, 2, 3, 3, 4, 4))
    made = find_purpose("foldover").make(ask_for(study, plan, shared=True))
    assert made.batch is not None
    new = np.array([kind == "foldover" for kind in made.kind])
    batches = [made.values[made.batch == b] for b in dict.fromkeys(made.batch[new].tolist())]

    assert len(batches) == 4
    for rows in batches:
        assert len(np.unique(rows[:, :3], axis=0)) == 1
        assert sorted(rows[:, 3].tolist()) == [8.0, 14.0]
    # Two whole batches link the rounds.
    assert made.kind.count("replicate") == 4


def test_a_full_factorial_has_nothing_to_break() -> None:
    """Refused, with what would help."""
    study = a_study(RANGES[:3])
    corners = np.array([[a, b, c] for a in (0.8, 2.4) for b in (8.0, 9.5) for c in (15.0, 45.0)])

    with pytest.raises(PlanError, match=r"told apart already.*larger model"):
        find_purpose("foldover").make(ask_for(study, plan_of(study, corners)))


def test_a_mirror_image_outside_the_limits_is_refused() -> None:
    """What is not allowed cannot be run, whatever it would break."""
    half = np.array([[0.8, 8.0, 45.0], [2.4, 8.0, 15.0], [0.8, 9.5, 15.0], [2.4, 9.5, 45.0]])
    total = {"dose": 1.0, "pH": 1.0, "grind time": 1 / 30}
    wide = a_study(RANGES[:3])
    narrow = a_study(RANGES[:3], limit=[{"sum": total, "at_least": 10.0, "because": "foam"}])
    made = find_purpose("foldover").make(ask_for(wide, plan_of(wide, half)))

    assert made.kind.count("foldover") == 4
    with pytest.raises(PlanError, match=r"leave the region.*foam"):
        find_purpose("foldover").make(ask_for(narrow, plan_of(narrow, half)))
