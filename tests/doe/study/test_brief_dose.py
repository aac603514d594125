"""A dose without a range: read by `dose` alone, and written in without touching the rest."""

from __future__ import annotations

import pytest

from doe.errors import StudyError
from doe.study.brief_dose import STAND_IN, has_open_dose, insert_range
from doe.study.brief_file import parse_brief

OPEN = (
    '[study]\ntitle = "t"  # kept\n[[factor]]\nname = "pH"\nlow = 8\nhigh = 9\n'
    '[[factor]]\nname = "dose"\n  role = "dose"   # the amount\n# low = 1\nunit = "%"\n'
    '[[response]]\nname = "y"\n'
)


def test_an_open_dose_is_refused_but_where_it_may_be_open() -> None:
    """Planning needs the range; finding it does not."""
    with pytest.raises(StudyError, match='"dose" has no settings'):
        parse_brief(OPEN.encode())
    study = parse_brief(OPEN.encode(), with_open_dose=True)

    assert study.dose is not None
    assert (study.dose.low, study.dose.high) == STAND_IN


def test_all_other_faults_are_told_still() -> None:
    """On their own lines."""
    wrong = OPEN.replace("low = 8", "low = 18")
    with pytest.raises(StudyError, match="line 6"):
        parse_brief(wrong.encode(), with_open_dose=True)


@pytest.mark.parametrize("said", ["low = 1\nhigh = 2", "value = 1.5", "levels = [1, 2]"])
def test_a_dose_with_settings_is_not_open(said: str) -> None:
    """A range, a held value and levels are all the user's own."""
    assert has_open_dose(OPEN.encode())
    assert not has_open_dose(OPEN.replace('unit = "%"', said).encode())


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_only_two_lines_are_added(end: str, mark: bytes) -> None:
    """Comments, line ends and the byte order mark stay; the lines bear the indent of the role."""
    before = mark + OPEN.replace("\n", end).encode()
    done = insert_range(before, 0.9, 2.6, "from the ladder")
    lines = done.data.decode("utf-8-sig").split(end)

    assert done.lines == ("  low = 0.9  # by millbase dose: from the ladder", "  high = 2.6")
    assert lines[done.after : done.after + 2] == list(done.lines)
    kept = [*lines[: done.after], *lines[done.after + 2 :]]
    assert mark + end.join(kept).encode() == before
    study = parse_brief(done.data)
    assert study.dose is not None
    assert (study.dose.low, study.dose.high) == (0.9, 2.6)


def test_an_inline_factor_is_left_to_the_user() -> None:
    """There is no line to stand behind."""
    inline = 'factor = [{ name = "dose", role = "dose" }]\n[study]\ntitle = "t"\n'
    assert has_open_dose(inline.encode())
    with pytest.raises(StudyError, match="cannot be put"):
        insert_range(inline.encode(), 1, 2, "")
