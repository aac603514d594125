"""The usual slips of TOML, each with its sentence."""

from __future__ import annotations

from typing import Any

import pytest

from doe.study.brief_syntax import read_toml

# text → line of the slip, what the sentence says, the value read on with (None: passed over)
SLIPS: list[tuple[str, int, str, str, Any]] = [
    ("low = 0,8", 1, "decimal comma (0,8)", "Write 0.8", {"low": 0.8}),
    ("p = { mean = 35,5, sd = 4 }", 1, "decimal comma (35,5)", "35.5",
     {"p": {"mean": 35.5, "sd": 4}}),
    ("low = 8 %", 1, "unit or text after the number (%)", 'unit = "%"', {"low": 8}),
    ("low = 25 °C  # hot", 1, "(°C)", "Write low = 25;", {"low": 25}),
    ("low = 15min", 1, "(min)", "Write low = 15;", {"low": 15}),
    ("p = { sd = 4 °C }", 1, "(°C)", "Write sd = 4;", {"p": {"sd": 4}}),
    ("name = pH", 1, "a word without quotes", 'Write name = "pH"', {"name": "pH"}),
    ("unit = %", 1, "a word without quotes", 'Write unit = "%"', {"unit": "%"}),
    ("name = диспергатор", 1, "a word without quotes", '"диспергатор"', {"name": "диспергатор"}),
    ("levels = [ammonia, soda]", 1, "words without quotes", '["ammonia", "soda"]',
     {"levels": ["ammonia", "soda"]}),
    ("name = “pH”", 1, "typographic quotes", "plain quotes", {"name": "pH"}),
    ("name = „pH“", 1, "typographic quotes", "plain quotes", {"name": "pH"}),
    ("name = «pH»", 1, "typographic quotes", "plain quotes", {"name": "pH"}),
    ("name = ‘pH’", 1, "typographic quotes", "plain quotes", {"name": "pH"}),
    ('name = "pH', 1, "not closed", 'Write name = "pH"', {"name": "pH"}),
    ('name = "pH   # the grind\nlow = 1', 1, "not closed", '"pH"', {"name": "pH", "low": 1}),
    ('name = pH"', 1, "a quote too few", '"pH"', {"name": "pH"}),
    ('name = "a "b" c"', 1, "quotes inside quotes", "'", {"name": 'a "b" c'}),
    ('unit = "min" each', 1, "after the closing quote", "#", {"unit": "min"}),
    ('path = "C:\\lab"', 1, "backslash", "single quotes", {"path": "C:\\lab"}),
    ("[[factor]\nlow = 1", 1, "heading", "Write [[factor]]", {"factor": [{"low": 1}]}),
    ("[factor]]\nlow = 1", 1, "heading", "Write [[factor]]", {"factor": [{"low": 1}]}),
    ("[factor]\nlow = 1", 1, "heading", "Write [[factor]]", {"factor": [{"low": 1}]}),
    ("[[study]]\nseed = 1", 1, "heading", "Write [study]", {"study": {"seed": 1}}),
    ("[study\nseed = 1", 1, "heading", "Write [study]", {"study": {"seed": 1}}),
    ("[package.additive]\nlow = 1", 1, "heading", "Write [[package.additive]]",
     {"package": {"additive": [{"low": 1}]}}),
    ("levels = [1, 2\nstep = 3", 1, "[ that is not closed", "Write ]",
     {"levels": [1, 2], "step": 3}),
    ("levels = [1, 2\n[[factor]]", 1, "[ that is not closed", "Write ]",
     {"levels": [1, 2], "factor": [{}]}),
    ("p = { sd = 4\nlow = 3", 1, "{ that is not closed", "one line", {"p": {"sd": 4}, "low": 3}),
    ("levels = [1, 2]]", 1, "one bracket too many", "[1, 2]", {"levels": [1, 2]}),
    ("grind time = 3", 1, "needs quotes (grind time)", '"grind time"', {"grind time": 3}),
    ("sum = { grind × time = 3 }", 1, "(grind × time)", '"grind × time"',
     {"sum": {"grind × time": 3}}),
    ("粘度 = 3", 1, "(粘度)", '"粘度"', {"粘度": 3}),
    ("low = 10 × 5", 1, "one number is due", "low and high", {"low": 10}),
    ("low = 8 to 9", 1, "one number is due", "low and high", {"low": 8}),
    ("low = 8-9", 1, "one number is due", "low and high", {"low": 8}),
    ("low = 1/3", 1, "one number is due", "Write one number", {"low": 1}),
    ("low: 8", 1, "“:” where = is due", "Write low = 8", {"low": 8}),
    ("low == 8", 1, "“==” where = is due", "Write low = 8", {"low": 8}),
    ("low =", 1, "no value", "delete the line", {"low": ""}),
    ("noise = True", 1, "true or false", "noise = true", {"noise": True}),
    ("noise = yes", 1, "true or false", "noise = true", {"noise": True}),
    ("low = .8", 1, "incomplete number", "Write 0.8", {"low": 0.8}),
    ("low = 8.", 1, "incomplete number", "Write 8.0", {"low": 8.0}),
    ("low = 08", 1, "incomplete number", "Write 8", {"low": 8}),
    ("low = 1 000", 1, "number with gaps", "Write 1000", {"low": 1000}),
    ("low = 0.8;", 1, "stray sign", "Write low = 0.8", {"low": 0.8}),
    ("low = −5", 1, "only looks like a plain one (“−”)", "plain sign -", {"low": -5}),
    ("\u00a0low = 5", 1, "invisible, U+00A0", "plain blank", {"low": 5}),
    ("s = { pH = > 9.3 }", 1, "condition without quotes", '"> 9.3"', {"s": {"pH": "> 9.3"}}),
    ("a remark\nlow = 1", 1, "neither a heading nor key = value", "#", {"low": 1}),
    ("low = 1\nlow = 2", 2, "stands twice", "Keep one", {"low": 1}),
    ("[study]\nseed = 1\n[study]\ntitle = 'x'\n[plan]", 3, "stands twice", "one heading",
     {"study": {"seed": 1}, "plan": {}}),
    ('text = """abc\nlow = 1', 1, "not closed", "Close it", {"low": 1}),
    ("low = [1,\n2, # \nhigh = 3", 1, "bracket that is not closed", "after: 2,",
     {"low": [1, 2], "high": 3}),
    ("low = [1,,2]", 1, "cannot be read", "key = value", {}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "what", "do", "data"), SLIPS)
def test_a_slip_is_named_and_read_past(text: str, line: int, what: str, do: str, data: Any) -> None:
    """The sentence quotes the line and says how to write it; the rest is still read."""
    read = read_toml(text)

    assert len(read.flaws) == 1
    assert read.flaws[0].line == line
    assert what in read.flaws[0].what
    assert text.split("\n")[line - 1].strip() in read.flaws[0].what
    assert do in read.flaws[0].do
    if data or not read.doubtful:
        assert read.data == data


def test_many_slips_are_told_at_once() -> None:
    """A beginner mends the file once, not ten times."""
    text = "\n".join(row[0] for row in SLIPS if row[0].startswith("low = ") and "\n" not in row[0])
    numbered = "\n".join(
        f"k{i} = {line.split('=', 1)[1].strip()}" for i, line in enumerate(text.split("\n"))
    )

    assert len(read_toml(numbered).flaws) == len(numbered.split("\n"))


def test_two_slips_in_one_line_are_two() -> None:
    """Mending one uncovers the other."""
    read = read_toml("p = { mean = 35,5, sd = 4,1 }")

    assert [flaw.what.split(")")[0] for flaw in read.flaws] == [
        "a decimal comma (35,5",
        "a decimal comma (4,1",
    ]


@pytest.mark.parametrize(
    "text",
    ['name = "0,8 “pH” = [x"', "# low = 0,8", "a = '''\n[factor]\n'''", 'b = """\n[[study]]\n"""'],
)
def test_texts_and_remarks_may_hold_anything(text: str) -> None:
    """Slips are looked for outside of quotes only."""
    assert read_toml(text).flaws == ()


@pytest.mark.parametrize(
    "text", ["[" * 3000, "a = " + "[" * 3000, "a = " + "9" * 5000, "a." * 2000 + "a = 1"]
)
def test_monsters_are_refused_in_a_sentence(text: str) -> None:
    """Nesting without end and digits without end are faults of the file, not of ours."""
    read = read_toml(text)

    assert read.flaws
    assert all(len(flaw.what) < 200 for flaw in read.flaws)
