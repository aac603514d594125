"""What stays together on the paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """Flowables that follow one another.

    Attributes:
        flowables: In order.
        is_whole: Whether they stay on one page; else they may break.
        room: Where less than this is left of a page, in points, they begin on the next.
    """

    flowables: Sequence[Flowable]
    is_whole: bool = True
    room: float = 0.0

    def flow(self, heading: Flowable | None = None, *, room: float = 0.0) -> Iterator[Flowable]:
        """Give what is set, with a heading that is never left alone."""
        yield CondPageBreak(max(room, self.room))
        flowables = [*([heading] if heading else []), *self.flowables]
        if self.is_whole:
            yield KeepTogether(flowables)
        else:
            yield from flowables
