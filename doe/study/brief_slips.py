"""Slips: the usual ways in which a line fails to be TOML, each with its sentence and its mend."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

# Tables of the brief that may stand several times, and those that stand once.
_SEVERAL = frozenset(
    {
        "factor", "factor.range", "limit", "forbid", "block", "control", "control.ingredient",
        "response", "view", "package.additive", "millbase.ingredient", "letdown.ingredient",
    }
)  # fmt: skip
_ONCE = frozenset({"study", "pigment", "millbase", "letdown", "tint", "package", "plan"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """One slip in a line.

    Attributes:
        what: What is wrong with the line; the line itself is quoted after it.
        do: How to write it.
        mended: The line as it was probably meant.
        is_sure: No other meaning is likely.
    """

    what: str
    do: str
    mended: str
    is_sure: bool = True


def find_slip(line: str, said: str) -> Slip | None:
    """Find what is wrong with a line that the parser refused.

    Args:
        line: The line as written.
        said: What the parser said of it.
    """
    for look in _LOOKS:
        slip = look(line)
        if slip and slip.mended != line:
            return slip
    if "Unescaped" in said and '"' in line and "'" not in line:
        return Slip(
            what="a backslash inside double quotes",
            do="Put the text in single quotes.",
            mended=line.replace('"', "'"),
        )
    return None


def find_header_slip(line: str) -> Slip | None:
    """Find a heading with the wrong number of brackets.

    Example:
        >>> find_header_slip("[factor]").mended
        '[[factor]]'
    """
    found = re.fullmatch(r"\s*(\[{1,3})\s*([\w .-]+?)\s*(\]{0,3})\s*(#.*)?", line)
    if not found:
        return None
    opened, name, closed = found.group(1), found.group(2), found.group(3)
    plain = re.sub(r"\s*\.\s*", ".", name.casefold())
    single = plain in _ONCE
    if single or plain in _SEVERAL:
        want = 1 if single else 2
    else:
        want = min(max(len(opened), len(closed)), 2)
    if len(opened) == want == len(closed):
        return None
    heading = "[" * want + name + "]" * want
    return Slip(
        what=f"a heading in the wrong number of brackets, where {want} and {want} are due",
        do=f"Write {heading}.",
        mended=heading,
    )


_STRING = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')


def masked_line(line: str) -> str:
    """Fill strings and remarks with signs that no slip looks for; places stay.

    Example:
        >>> masked_line('unit = "%"  # of mass')
        'unit = "~"           '
    """
    blind = _STRING.sub(lambda found: '"' + "~" * (len(found.group()) - 2) + '"', line)
    cut = blind.find("#")
    return blind if cut < 0 else blind[:cut] + " " * (len(blind) - cut)


_ODD_SIGNS = {
    "\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u200b": "", "\u200e": "", "\ufeff": "",
    "−": "-", "–": "-", "＝": "=", "［": "[", "］": "]", "，": ",", "．": ".", "：": ":",
}  # fmt: skip


def _odd_signs(line: str) -> Slip | None:
    masked = masked_line(line)
    odd = next((sign for sign in masked if sign in _ODD_SIGNS), None)
    if odd is None or _typographic(line):
        return None
    shown = f"“{odd}”" if odd.strip() and odd.isprintable() else f"invisible, U+{ord(odd):04X}"
    mended = "".join(
        _ODD_SIGNS.get(sign, own) if sign in _ODD_SIGNS else own
        for sign, own in zip(masked, line, strict=True)
    )
    plain = _ODD_SIGNS[odd].strip()
    return Slip(
        what=f"a sign that only looks like a plain one ({shown})",
        do=f"Type the plain sign {plain} instead." if plain else "Delete it or type a plain blank.",
        mended=mended,
    )


_TYPOGRAPHIC = re.compile("[“”„‟«»‘’‚‹›＂]")


def _typographic(line: str) -> Slip | None:
    if not _TYPOGRAPHIC.search(masked_line(line)):
        return None
    doubles = re.sub("[“”„‟«»＂]", '"', line)
    mended = doubles if doubles != line else re.sub("[‘’‚‹›]", "'", line)
    return Slip(what="typographic quotes", do='Use the plain quotes "…" instead.', mended=mended)


_COMMA = re.compile(r"(=\s*|[<>]=?\s*)([+-]?\d+),(\d+)(?=\s*(?:[,}\]%]|[^\W\d]|$))")


def _decimal_comma(line: str) -> Slip | None:
    masked = masked_line(line)
    found = _COMMA.search(masked)
    if not found:
        return None
    number = f"{found.group(2)}.{found.group(3)}"
    return Slip(
        what=f"a decimal comma ({found.group(2)},{found.group(3)})",
        do=f"Write {number} with a decimal point.",
        mended=line[: found.start(2)] + number + line[found.end(3) :],
    )


def _wrong_sign(line: str) -> Slip | None:
    found = re.match(r"""^(\s*(?:[\w.-]+|"[^"]*"|'[^']*'))\s*(:=|==|:|=>|->)\s*(?!=)(.+)$""", line)
    if not found or (found.group(2) == ":" and not re.match(r"[\d\"'\[{+.-]", found.group(3))):
        return None
    mended = f"{found.group(1)} = {found.group(3)}"
    return Slip(
        what=f"“{found.group(2)}” where = is due", do=f"Write {mended.strip()}.", mended=mended
    )


_BARE = re.compile(r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"))*""")


def _bare_name(line: str) -> Slip | None:
    masked = masked_line(line)
    for found in re.finditer(r"(?:^|[{,])\s*([^=,{}\[\]]+?)\s*=", masked):
        key = line[found.start(1) : found.end(1)]
        if not _BARE.fullmatch(key) and '"' not in key and "'" not in key:
            return Slip(
                what=f"a name with blanks or signs that needs quotes ({key})",
                do=f'Write "{key}" = …',
                mended=f'{line[: found.start(1)]}"{key}"{line[found.end(1) :]}',
            )
    return None


def _no_pair(line: str) -> Slip | None:
    masked = masked_line(line).strip()
    if not masked or "=" in masked or masked[0] in "[{\"']}," or masked[0].isdigit():
        return None
    return Slip(
        what="neither a heading nor key = value",
        do="Put # before it if it is a remark.",
        mended="",
        is_sure=False,
    )


def open_brackets(line: str) -> str:
    """Give the closing brackets that a line or several wait for, innermost first.

    Example:
        >>> open_brackets("levels = [{ a = 1")
        '}]'
    """
    waiting: list[str] = []
    for sign in "".join(map(masked_line, line.split("\n"))):
        if sign in _CLOSING:
            waiting.insert(0, _CLOSING[sign])
        elif waiting and waiting[0] == sign:
            del waiting[0]
    return "".join(waiting)


_CLOSING = {"[": "]", "{": "}"}


def _open_bracket(line: str) -> Slip | None:
    masked = masked_line(line)
    missing = open_brackets(line)
    if "=" not in masked or not missing:
        return None
    code = line[: len(masked.rstrip())].rstrip().rstrip(",")
    return Slip(
        what=f"a {_OPENING[missing[-1]]} that is not closed",
        do=f"Write {missing} at the end of it."
        + (" What stands in { } stands in one line." if "}" in missing else ""),
        mended=code + missing,
    )


_OPENING = {"]": "[", "}": "{"}


def _value_slip(line: str) -> Slip | None:
    """Look at what stands after the equals sign of a line with one key."""
    masked = masked_line(line)
    found = re.match(r"""^\s*(?:[\w.-]+|"~*")(?:\s*\.\s*[\w-]+)*\s*=\s*""", masked)
    if not found:
        return None
    start = line[: found.end()]
    key = start.strip().rstrip("=").strip()
    value = line[found.end() : len(masked.rstrip())].strip() if masked.strip() else ""
    slip = next(_value_slips(key, value), None)
    return replace(slip, mended=start + slip.mended) if slip else None


_NUMBER = r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?"
_TRUTHS = {
    "true": "true", "yes": "true", "on": "true", "false": "false", "no": "false", "off": "false",
}  # fmt: skip


def _value_slips(key: str, value: str) -> Iterator[Slip]:
    if not value:
        yield Slip(
            what="no value",
            do="Give one after the equals sign, or delete the line.",
            mended='""',
            is_sure=False,
        )
    elif value.casefold() in _TRUTHS:
        truth = _TRUTHS[value.casefold()]
        yield Slip(what=f"“{value}” where true or false is due", do=f"Write {key} = {truth}.",
                   mended=truth)  # fmt: skip
    elif value[0].isdigit() or value[0] in "+-.":
        yield from _number_slips(key, value)
    elif value[0] in "\"'":
        yield from _text_slips(key, value)
    elif value[0] == "[":
        yield from _list_slips(key, value)
    elif value[0] not in "{}]":
        yield from _word_slips(key, value)


def _number_slips(key: str, value: str) -> Iterator[Slip]:
    if re.fullmatch(r"[+-]?\d{1,3}([ '_]\d{3})+(\.\d+)?", value):
        number = re.sub("[ '_]", "", value)
        yield Slip(what=f"a number with gaps ({value})", do=f"Write {number}.", mended=number)
        return
    number = re.sub(r"^([+-]?)0+(?=\d)", r"\1", re.sub(r"^([+-]?)\.", r"\g<1>0.", value))
    number = re.sub(r"^([+-]?\d+)\.$", r"\1.0", number)
    if re.fullmatch(_NUMBER, number) and number != value:
        yield Slip(what=f"an incomplete number ({value})", do=f"Write {number}.", mended=number)
        return
    found = re.match(rf"({_NUMBER})\s*(.+)$", number)
    if found and not re.fullmatch(_NUMBER, number):
        yield _after_number(key, value, found.group(1), found.group(2).strip())


_LEFT_OVER = frozenset({",", ";", ".", "}", "]", ")", '"', "'"})


def _after_number(key: str, value: str, number: str, rest: str) -> Slip:
    if rest in _LEFT_OVER:
        return Slip(
            what=f"a stray sign after the number ({rest})",
            do=f"Write {key} = {number}.",
            mended=number,
        )
    if re.match(r"[\d,'.]|(?:-|–|to\b|bis\b|/|×|x|\*|\^|±|\+)\s*[+-]?\d", rest):
        return Slip(
            what=f"{value} where one number is due",
            do="Write one number; a range has the two keys low and high.",
            mended=number,
            is_sure=False,
        )
    return Slip(
        what=f"a unit or text after the number ({rest})",
        do=f'Write {key} = {number}; a unit goes in its own key, unit = "{rest}".',
        mended=number,
    )


def _text_slips(key: str, value: str) -> Iterator[Slip]:
    quote = value[0]
    if value.startswith(quote * 3):
        return
    if value.count(quote) == 1:
        body = value[1:].split("#")[0].strip()
        yield Slip(what="a text that is not closed", do=f"Write {key} = {quote}{body}{quote}.",
                   mended=f"{quote}{body}{quote}")  # fmt: skip
        return
    closed = _STRING.match(value)
    if not closed:
        return
    rest = value[closed.end() :].strip()
    if rest.endswith(quote) and "'" not in value:
        yield Slip(what="quotes inside quotes", do=f"Write {key} = '{value[1:-1]}'.",
                   mended=f"'{value[1:-1]}'")  # fmt: skip
    elif rest:
        yield Slip(what=f"text after the closing quote ({rest})",
                   do="Delete it, or put # before it if it is a remark.",
                   mended=closed.group())  # fmt: skip


def _list_slips(key: str, value: str) -> Iterator[Slip]:
    inner = value.strip("[] ")
    parts = [part.strip() for part in inner.split(",") if part.strip()]
    unquoted = [part for part in parts if part[0] not in "\"'[{" and not part[0].isdigit()
                and part[0] not in "+-."]  # fmt: skip
    if unquoted and not re.search(r"[\"'{]", inner.replace('"', "") if not parts else ""):
        quoted = ", ".join(f'"{part}"' if part in unquoted else part for part in parts)
        yield Slip(what=f"words without quotes ({', '.join(unquoted)})",
                   do=f"Write {key} = [{quoted}].", mended=f"[{quoted}]")  # fmt: skip
    elif value.endswith("]]") and not value.startswith("[["):
        yield Slip(what="one bracket too many", do=f"Write {key} = {value[:-1]}.",
                   mended=value[:-1])  # fmt: skip


def _word_slips(key: str, value: str) -> Iterator[Slip]:
    word = value.strip("\"'").strip()
    if word and '"' not in word:
        yield Slip(what="a word without quotes" if '"' not in value else "a quote too few",
                   do=f'Write {key} = "{word}".', mended=f'"{word}"')  # fmt: skip


_MEMBER = re.compile(r"([{,]\s*(?:[\w-]+|\"~*\")\s*=\s*)([^\s\"'\[{=~][^,}\[\]{]*?)\s*(?=[,}])")


def _member_slip(line: str) -> Slip | None:
    """Look at the values between braces."""
    masked = masked_line(line)
    for found in _MEMBER.finditer(masked):
        value = line[found.start(2) : found.end(2)]
        if value in {"true", "false"} or re.fullmatch(_NUMBER, value):
            continue
        key = line[found.start(1) : found.end(1)].strip("{, ").rstrip("= ")
        slip = _condition_slip(key, value) or next(_value_slips(key, value), None)
        if slip:
            mended = line[: found.start(2)] + slip.mended + line[found.end(2) :]
            return replace(slip, mended=mended)
    return None


def _condition_slip(key: str, value: str) -> Slip | None:
    if value[0] not in "<>=≤≥":
        return None
    return Slip(what="a condition without quotes", do=f'Write {key} = "{value}".',
                mended=f'"{value}"')  # fmt: skip


_LOOKS: tuple[Callable[[str], Slip | None], ...] = (
    find_header_slip, _typographic, _odd_signs, _decimal_comma, _wrong_sign, _no_pair, _bare_name,
    _value_slip, _open_bracket, _member_slip,
)  # fmt: skip
