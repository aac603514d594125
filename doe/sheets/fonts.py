"""Fonts of the printed sheets: letters for any script that free fonts at hand can print."""

from __future__ import annotations

import re
from importlib.util import find_spec
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD = "Bench", "Bench-Bold"

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
    plain = "".join(sign if sign.isprintable() or sign == " " else " " for sign in text)
    wide_font = _wide_font(plain)
    return _WIDE.sub(lambda m: f'<font name="{wide_font}">{m[0]}</font>', escape(plain))


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
