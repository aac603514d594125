"""Confirmation batches on the page and in the figure: a failed round, a plant, long names."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from analysis.agreement.confirmation import judge
from analysis.agreement.judged_round import JudgedRound
from analysis.agreement.plant import judge_plant
from analysis.agreement.reasons import next_round, weigh_reasons
from analysis.agreement.units import even_units
from analysis.figures.confirmation import draw_confirmation
from analysis.figures.drawn import Drawn
from analysis.figures.looks import house_look
from analysis.report.blocks import FiguresBlock, TableBlock, WordsBlock
from analysis.report.confirmation_part import confirmation_blocks
from analysis.report.content import Provenance, ReportContent
from analysis.report.decision import make_decision
from doe.study.brief import Response
from doe.study.confirmation import Confirmation
from tests.analysis.agreement.small_rounds import basis_of, entry_of, invented, seen
from tests.analysis.choice.problems import brief

LONG = "viscosity after four weeks at 50 °C, 粘度 and the Stormer reading"


@pytest.fixture(scope="module")
def entry() -> Confirmation:
    """Three batches, a limit on gloss, viscosity under a long name."""
    data, fitted = invented(np.random.default_rng(3))
    responses = (
        Response(name="viscosity"),
        Response.model_validate({"name": "gloss", "accept": {"at_least": 45.0}}),
    )
    made = entry_of(basis_of(data, fitted), fitted, even_units(3, 1), (), responses)
    first = replace(made.responses[0], response=LONG, unit="mPa·s")
    return replace(made, responses=(first, made.responses[1]))


def _at(entry: Confirmation, where: str) -> Confirmation:
    """Put a round into the plant, where means are not judged."""
    judged = where == "laboratory"
    responses = tuple(replace(one, is_judged=judged) for one in entry.responses)
    return replace(entry, where=where, responses=responses)


def _judged(entry: Confirmation, off: float) -> JudgedRound:
    steps = np.array([-0.02, 0.0, 0.02])
    first, second = entry.responses
    values = {LONG: first.centre + off + steps, "gloss": second.centre - 40 * off + 10 * steps}
    observed = seen(entry, values)
    outcome = judge(entry, observed)
    reasons = weigh_reasons(outcome, {})
    plant = []
    if entry.where == "plant":
        told = [judge_plant(one, observed[one.response], 0.95) for one in entry.responses]
        plant = [one for one in told if one is not None]
    return JudgedRound(
        outcome=outcome, reasons=reasons, next=next_round(outcome, reasons), plant=tuple(plant)
    )


def _content(judged: JudgedRound) -> ReportContent:
    study = brief([{"name": "dose", "low": 1.0, "high": 3.0}], [{"name": "gloss"}])
    return ReportContent(
        study=study, provenance=Provenance(version="0"), confirmations=(judged,),
        figures=(draw_confirmation(judged),),
    )  # fmt: skip


def _words(drawn: Drawn) -> str:
    texts = drawn.figure.findobj(Text)
    return " ".join(" ".join(one.get_text().split()) for one in texts)


@pytest.mark.parametrize("where", ["laboratory", "plant"])
def test_a_figure_of_a_round_reads_alone(entry: Confirmation, where: str) -> None:
    """Every response, the batches, a limit, what is off; nothing beyond the paper."""
    drawn = draw_confirmation(_judged(_at(entry, where), 0.5))
    words = _words(drawn)
    assert "foretold" in words
    assert "batch beyond a limit" in words
    assert "Stormer" in words
    assert ("mean off" in words) == (where == "laboratory")
    assert "confirmed" in drawn.caption
    FigureCanvasAgg(drawn.figure)
    with house_look():
        box = drawn.figure.get_tightbbox(drawn.figure.canvas.get_renderer())
    width, height = drawn.figure.get_size_inches()
    assert 0 <= box.x0 <= box.x1 <= width
    assert 0 <= box.y0 <= box.y1 <= height


def test_a_failed_round_tells_verdict_reasons_and_what_next(entry: Confirmation) -> None:
    """In words, a figure and tables with full numbers; the half page names it, too."""
    content = _content(_judged(entry, 0.5))
    blocks = list(confirmation_blocks(content))
    words = " ".join(one.text for one in blocks if isinstance(one, WordsBlock))
    assert "NOT confirmed" in words
    assert "Best next: millbase extend" in words
    assert any(isinstance(one, FiguresBlock) for one in blocks)
    means, batches = (one.table for one in blocks if isinstance(one, TableBlock))
    assert means.rows[0][5].sign == "unmet"
    assert len(batches.rows) == 6
    decision = make_decision(content)
    assert any("NOT confirmed" in line for line in decision.how_sure)


def test_a_round_in_order_and_a_plant_say_so(entry: Confirmation) -> None:
    """The plant has a table of its own."""
    passed = list(confirmation_blocks(_content(_judged(entry, 0.0))))
    assert any(isinstance(one, WordsBlock) and "confirmed;" in one.text for one in passed)
    plant = list(confirmation_blocks(_content(_judged(_at(entry, "plant"), 0.0))))
    names = [one.table.name for one in plant if isinstance(one, TableBlock)]
    assert any(name.endswith("plant") for name in names)
    assert (
        next(confirmation_blocks(replace(_content(_judged(entry, 0.0)), confirmations=())), None)
        is None
    )
