"""The pieces that the parts of a page are built from, before they are numbered."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from markupsafe import Markup

from analysis.figures.drawn import Drawn
from analysis.report.table import Table
from doe.study.finding import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class WordsBlock:
    """A paragraph."""

    text: str
    kind: Literal["words"] = "words"


@dataclass(frozen=True, slots=True, kw_only=True)
class ListBlock:
    """A list of sentences."""

    lines: tuple[str, ...]
    kind: Literal["list"] = "list"


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingsBlock:
    """Findings with their evidence, advice and source."""

    findings: tuple[Finding, ...]
    kind: Literal["findings"] = "findings"


@dataclass(frozen=True, slots=True, kw_only=True)
class TableBlock:
    """A table; `number` is given when the page is put together."""

    table: Table
    number: int = 0
    kind: Literal["table"] = "table"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A numbered figure as markup."""

    number: int
    svg: Markup
    caption: str
    wide: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FiguresBlock:
    """Figures that stand together; `pictures` are made when the page is put together."""

    drawn: tuple[Drawn, ...]
    pictures: tuple[Picture, ...] = ()
    kind: Literal["figures"] = "figures"


Block = WordsBlock | ListBlock | FindingsBlock | TableBlock | FiguresBlock


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A part of a section; `number` such as `2.3` is given when the page is put together."""

    title: str
    blocks: tuple[Block, ...]
    number: str = ""

    @property
    def anchor(self) -> str:
        """Where the contents list leads."""
        return f"part-{self.number.replace('.', '-')}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Section:
    """A section of the page."""

    title: str
    lead: str
    parts: tuple[Part, ...] = field(default=())
    number: str = ""

    @property
    def anchor(self) -> str:
        """Where the contents list leads."""
        return f"section-{self.number}"
