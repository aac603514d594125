"""Fonts of the printed sheets: letters for any script that free fonts at hand can print."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD = "Bench", "Bench-Bold"
NO_BREAK = "\N{NO-BREAK SPACE}"

# Chinese, Japanese and Korean: fonts that every PDF reader brings along.
_CHINESE, _JAPANESE, _KOREAN = "STSong-Light", "HeiseiMin-W3", "HYSMyeongJo-Medium"
_HAN = (
    r"\u2e80-\u2fdf\u3000-\u303f\u31c0-\u31ef\u3400-\u4dbf\u4e00-\u9fff\uf900-\ufaff\uff00-\uffef"
)
_KANA = r"\u3040-\u30ff\u31f0-\u31ff"
_HANGUL = r"\u1100-\u11ff\u3130-\u318f\uac00-\ud7af"
_WIDE = re.compile(f"[{_HAN}{_KANA}{_HANGUL}]+")


def register_fonts() -> None:
    """Make the fonts known to the PDF library; again and again does no harm.

    The letters are DejaVu Sans, which Matplotlib ships; it is looked for, never imported here.
    """
    if PLAIN in pdfmetrics.getRegisteredFontNames():
        return
    folder = _font_folder()
    pdfmetrics.registerFont(TTFont(PLAIN, str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "DejaVuSans-Bold.ttf")))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    for name in (_CHINESE, _JAPANESE, _KOREAN):
        pdfmetrics.registerFont(UnicodeCIDFont(name))


def marked_up(text: str) -> str:
    """Escape a text for a paragraph, and give wide letters the font of their script.

    Example:
        >>> marked_up("pH < 9"), marked_up("颜料")
        ('pH &lt; 9', '<font name="STSong-Light">颜料</font>')
    """
    return "".join(
        escape(run) if font == PLAIN else f'<font name="{font}">{escape(run)}</font>'
        for font, run in faced(text)
    )


def faced(text: str) -> Iterator[tuple[str, str]]:
    """Cut a text into runs and give each the font that shows it; control signs become spaces."""
    plain = "".join(sign if sign.isprintable() or sign == NO_BREAK else " " for sign in text)
    shown = spelled(plain)
    wide_font, end = _wide_font(shown), 0
    for run in _WIDE.finditer(shown):
        if run.start() > end:
            yield PLAIN, shown[end : run.start()]
        yield wide_font, run[0]
        end = run.end()
    if end < len(shown):
        yield PLAIN, shown[end:]


def spelled(text: str) -> str:
    """Write signs that no font here can show by their numbers, so that none is lost.

    Example:
        >>> spelled("dose ×²"), spelled("สี 2")
        ('dose ×²', '[U+0E2A U+0E35] 2')
    """
    pieces: list[str] = []
    lacking: list[str] = []
    for sign in text:
        if _is_shown(sign):
            pieces += [*_numbered(lacking), sign]
            lacking = []
        else:
            lacking.append(sign)
    return "".join([*pieces, *_numbered(lacking)])


def not_shown(text: str) -> tuple[str, ...]:
    """Give the signs of a text that no font here can show, each once."""
    return tuple(sorted(sign for sign in set(text) if sign.isprintable() and not _is_shown(sign)))


def _numbered(signs: Sequence[str]) -> list[str]:
    return [f"[{' '.join(f'U+{ord(sign):04X}' for sign in signs)}]"] if signs else []


def _is_shown(sign: str) -> bool:
    return is_wide(sign) or ord(sign) in _glyphs()


@cache
def _glyphs() -> frozenset[int]:
    """Give the letters that both faces have."""
    register_fonts()
    fonts = (pdfmetrics.getFont(name) for name in (PLAIN, BOLD))
    return frozenset.intersection(
        *(frozenset(font.face.charToGlyph) for font in fonts if isinstance(font, TTFont))
    )


def is_wide(sign: str) -> bool:
    """Tell whether a letter is printed in a Chinese, Japanese or Korean font."""
    return _WIDE.match(sign) is not None


def _wide_font(text: str) -> str:
    if re.search(f"[{_KANA}]", text):
        return _JAPANESE
    return _KOREAN if re.search(f"[{_HANGUL}]", text) else _CHINESE


def _font_folder() -> Path:
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("matplotlib, whose fonts the printed sheets use, is missing")
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
