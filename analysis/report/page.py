"""The report: one page that needs nothing beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from itertools import count

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from analysis.figures.files import svg_bytes
from analysis.report.agreement_part import agreement_section
from analysis.report.appendix import appendix_section
from analysis.report.bench_part import bench_section
from analysis.report.blocks import Block, FiguresBlock, Picture, Section, TableBlock
from analysis.report.content import ReportContent
from analysis.report.decision import Decision, make_decision
from analysis.report.svg import inline_svg, is_wide
from analysis.report.words import LEVEL_WORDS, evidence_text
from doe.sheets.wording import cautions_for
from doe.study.hashes import content_hash


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Page:
    """What is printed, on screen and on paper, in reading order.

    Attributes:
        title: Of the study.
        invented: Whether the readings are invented.
        slip: The few facts at the head, as on a bench card.
        decision: The half page for whoever decides.
        sections: All that follows, numbered.
        safety: Cautions of work safety, the general one first.
        version: Of millbase.
        seed: Of every random choice.
        hashes: Of each input, by its name.
    """

    title: str
    invented: bool
    slip: tuple[tuple[str, str], ...]
    decision: Decision
    sections: tuple[Section, ...]
    version: str
    seed: int | None
    hashes: tuple[tuple[str, str], ...]
    safety: tuple[str, ...] = ()

    @property
    def inputs_mark(self) -> str:
        """One hash of all inputs together, short enough for the foot of a page."""
        return content_hash(*(f"{name} {mark}\n".encode() for name, mark in self.hashes))


def render_report(content: ReportContent) -> str:
    """Write the report as one HTML page: no script, no file beside it, no clock.

    Args:
        content: What the report says; a study at any stage will do.

    Returns:
        The page; the same content gives the same text.
    """
    return render_page(make_page(content))


def render_page(page: Page) -> str:
    """Write a page that is put together as HTML."""
    template = _environment().get_template("page.html")
    return template.render(page=page, style=Markup(_read("style.css")))


def make_page(content: ReportContent) -> Page:
    """Put the page together: parts and tables and figures numbered through."""
    return Page(
        title=content.study.about.title,
        invented=content.invented,
        slip=_slip(content),
        decision=make_decision(content),
        sections=tuple(_numbered(make_sections(content), content.pictures)),
        version=content.provenance.version,
        seed=content.provenance.seed,
        hashes=tuple(content.provenance.hashes.items()),
        safety=cautions_for(content.study),
    )


def make_sections(content: ReportContent) -> tuple[Section, ...]:
    """Give the sections after the decision, not yet numbered; empty ones are left out."""
    sections = (agreement_section(content), bench_section(content), appendix_section(content))
    return tuple(section for section in sections if section.parts)


def _numbered(sections: Iterable[Section], pictures: Mapping[str, bytes]) -> Iterable[Section]:
    tables, figures = count(1), count(1)
    for i, section in enumerate(sections, start=1):
        parts = tuple(
            replace(
                part,
                number=f"{i}.{j}",
                blocks=tuple(
                    _number_block(block, tables, figures, pictures) for block in part.blocks
                ),
            )
            for j, part in enumerate(section.parts, start=1)
        )
        yield replace(section, number=str(i), parts=parts)


def _number_block(
    block: Block, tables: count[int], figures: count[int], drawn_already: Mapping[str, bytes]
) -> Block:
    if isinstance(block, TableBlock):
        return replace(block, number=next(tables))
    if isinstance(block, FiguresBlock):
        pictures = []
        for drawn in block.drawn:
            number = next(figures)
            picture = drawn_already.get(f"{drawn.name}.svg") or svg_bytes(drawn.figure)
            svg = inline_svg(drawn, picture, number)
            pictures.append(
                Picture(number=number, svg=svg, caption=drawn.caption, wide=is_wide(drawn))
            )
        return replace(block, pictures=tuple(pictures))
    return block


def _slip(content: ReportContent) -> tuple[tuple[str, str], ...]:
    """Fill the slip at the head of the page, as on a bench card."""
    study, plan = content.study, content.plan
    entries = [("Pigment", study.pigment.name if study.pigment else "")]
    entries.append(("Package", f"{len(study.additives)} additives" if study.additives else ""))
    if plan is not None:
        controls = plan.kind.count("control")
        runs = f"{len(plan) - controls}" + (f" and {controls} of controls" if controls else "")
        entries.append(("Runs", runs))
    n_read = len(study.responses) - len(content.computed)
    fitted = f"{len(content.fitted)} of {n_read} responses"
    entries.append(("Modelled", fitted))
    entries.append(("Computed", ", ".join(content.computed)))
    entries.append(("To agree", ", ".join(study.about.roles)))
    return tuple((name, value) for name, value in entries if value)


@cache
def _read(name: str) -> str:
    return (files("analysis.report") / "templates" / name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FunctionLoader(_read),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    shown: Mapping[str, object] = {"level_words": LEVEL_WORDS, "evidence": evidence_text}
    environment.globals.update(shown)
    return environment
