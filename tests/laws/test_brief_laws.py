"""Laws of the brief: names fold once, mutilated briefs fail in words, goals move no run."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from doe.errors import Fault, StudyError
from doe.study.brief_file import parse_brief
from doe.study.brief_lines import find_lines
from doe.study.brief_syntax import read_toml
from doe.study.hashes import goals_hash, region_hash
from doe.study.names import fold, match_name
from doe.study.templates import LIKES, brief_text

LINES = [brief_text(like).splitlines() for like in LIKES]
# Junk that people, spreadsheets and editors put where a value should stand.
JUNK = st.sampled_from(
    [
        "", "0,8", "1.000,5", "8 %", "25 °C", "true", "[]", "{}", "[1, 2", "{ a = 1", '"', "'",
        "“x”", "nan", "-inf", "1e999", "9" * 400, "2026-01-14", "[[1]]", '["a", 1]', "× ²", "= =",
        "# gone", '"""', "\\", "\x00", "é", "[factor]", "[[study]]", "[a.b.c]", "{ x = { y = 1 } }",
        '{ "" = 0 }', '""', "-1", "0", "1", "1000000", "[0.1, 0.1]", '"> 9"', '{ dose = "< 0" }',
    ]
)  # fmt: skip


def _faults(data: bytes) -> tuple[Fault, ...]:
    try:
        parse_brief(data)
    except StudyError as error:
        return error.faults
    return ()


@given(st.text())
def test_folding_twice_is_folding_once(name: str) -> None:
    """Else a name might match in one order and not in the other."""
    assert fold(fold(name)) == fold(name)


@given(st.text(min_size=1), st.sampled_from(["{}", " {} ", "\t{}\u00a0"]))
def test_a_name_matches_itself_in_any_frame(name: str, frame: str) -> None:
    """White space around a name is no part of it."""
    assert match_name(frame.format(name), [name]) == name


@st.composite
def mutilated(draw: st.DrawFn) -> str:
    """A starting brief after an accident: lines gone, doubled, swapped, or filled with junk."""
    lines = list(draw(st.sampled_from(LINES)))
    for _ in range(draw(st.integers(1, 6))):
        i = draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(["delete", "double", "value", "key", "line", "cut", "swap"]))
        if what == "delete":
            del lines[i]
        elif what == "double":
            lines.insert(draw(st.integers(0, len(lines))), lines[i])
        elif what == "value" and "=" in lines[i]:
            lines[i] = f"{lines[i].split('=')[0].removeprefix('# ')}= {draw(JUNK)}"
        elif what == "key" and "=" in lines[i]:
            lines[i] = f"{draw(JUNK)} = {lines[i].split('=', 1)[1]}"
        elif what == "line":
            lines[i] = draw(JUNK | st.text(max_size=20))
        elif what == "cut":
            lines[i] = lines[i][: draw(st.integers(0, len(lines[i])))]
        else:
            j = draw(st.integers(0, len(lines) - 1))
            lines[i], lines[j] = lines[j], lines[i]
    return "\n".join(lines)


@given(mutilated())
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_mutilated_brief_is_read_or_refused_in_words(text: str) -> None:
    """Wrong input never ends in a traceback; every fault has a place and a sentence."""
    faults = _faults(text.encode("utf-8", errors="surrogatepass"))

    assert all(fault.where.startswith("study.toml") and fault.what for fault in faults)


@given(st.binary(max_size=200))
@settings(deadline=None)
def test_any_bytes_are_read_or_refused_in_words(data: bytes) -> None:
    """Whatever is handed in for a brief."""
    assert _faults(data)  # so few bytes hold no whole brief


@given(st.text(alphabet="[]{}=\"'#,.\\ \nab1-", max_size=60))
@settings(deadline=None)
def test_the_locator_and_the_reader_bear_any_text(text: str) -> None:
    """They see text before it is known to be TOML."""
    lines = find_lines(text)
    read = read_toml(text)

    assert all(1 <= line <= text.count("\n") + 1 for line in lines.values())
    assert read.flaws or all((key,) in read.lines for key in read.data)


GOALS = """
[[response]]
name = "extra"
aim = "{aim}"
best = {best}
worst = {worst}
shape = {shape}
importance = {importance}
accept = {{ at_least = {accept} }}
"""
POSITIVE = st.floats(0.01, 1e6)


@given(
    like=st.sampled_from(sorted(LIKES)),
    ends=st.tuples(POSITIVE, POSITIVE).filter(lambda ends: ends[0] != ends[1]),
    numbers=st.tuples(POSITIVE, POSITIVE, POSITIVE),
)
@settings(deadline=None, max_examples=50)
def test_a_changed_goal_never_moves_the_region(
    like: str, ends: tuple[float, float], numbers: tuple[float, float, float]
) -> None:
    """A changed goal never invalidates a run."""
    plain = parse_brief(brief_text(like).encode())
    best, worst = ends
    goal = GOALS.format(
        aim="low" if best < worst else "high", best=best, worst=worst,
        shape=numbers[0], importance=numbers[1], accept=numbers[2],
    )  # fmt: skip
    changed = parse_brief((brief_text(like) + goal).encode())

    assert region_hash(changed) == region_hash(plain)
    assert goals_hash(changed) != goals_hash(plain)


@given(low=st.floats(6, 8.9), high=st.floats(9, 14))
@settings(deadline=None, max_examples=50)
def test_a_changed_range_always_moves_the_region(low: float, high: float) -> None:
    """Ranges fix the coding, and the hash must tell."""
    brief = "[study]\ntitle='t'\n[[factor]]\nname='pH'\nlow={}\nhigh={}\n[[response]]\nname='y'\n"
    one = parse_brief(brief.format(low, high).encode())
    other = parse_brief(brief.format(low - 0.5, high).encode())

    assert region_hash(one) != region_hash(other)
