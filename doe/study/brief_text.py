"""The text of a brief: from bytes of whatever encoding to characters."""

from __future__ import annotations

import codecs

from doe.study.brief_flaws import Flaw

_WIDE_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_SAVE = "Save the file again with the encoding UTF-8 (in the editor's dialogue “Save as”)."
# First bytes of what people hand in for a text file.
_NOT_TEXT = {
    b"PK\x03\x04": "an office document or archive",
    b"%PDF": "a PDF",
    b"\xd0\xcf\x11\xe0": "an old office document",
}


def read_text(data: bytes) -> tuple[str, list[Flaw]]:
    """Turn the bytes of a text file into characters, whatever program wrote them.

    A byte order mark before UTF-8 does no harm and is passed over. Other encodings are a fault,
    but the text is read on as what it seems to be, so that its other faults can be told as well.

    Returns:
        The text with plain line ends, and the flaws of its encoding.
    """
    for mark, kind in _NOT_TEXT.items():
        if data.startswith(mark):
            return "", [_no_text(kind)]
    if data.startswith(_WIDE_MARKS) or _looks_wide(data):
        return _read_wide(data)
    try:
        return _plain_ends(data.decode("utf-8-sig")), []
    except UnicodeDecodeError as error:
        return _read_narrow(data, error.start)


def _no_text(kind: str) -> Flaw:
    return Flaw(
        what=f"this is {kind}, not a text file",
        do="Write the brief with a text editor; `millbase new` makes one to start from.",
    )


def _looks_wide(data: bytes) -> bool:
    # Latin text in UTF-16 has a zero byte beside every letter; UTF-8 text has none.
    return len(data) >= 2 and data[:400].count(0) * 3 >= len(data[:400])


def _read_wide(data: bytes) -> tuple[str, list[Flaw]]:
    if data.startswith(_WIDE_MARKS):
        encoding = "utf-16"
    else:
        encoding = "utf-16-le" if data[1:2] == b"\x00" else "utf-16-be"
    text = data.decode(encoding, errors="replace").replace("\x00", "")
    return _plain_ends(text), [Flaw(line=1, what="the file is in the encoding UTF-16", do=_SAVE)]


def _read_narrow(data: bytes, start: int) -> tuple[str, list[Flaw]]:
    text = data.decode("cp1252", errors="replace")
    line = data.count(b"\n", 0, start) + 1
    sign = data[start : start + 1].decode("cp1252", errors="replace")
    flaw = Flaw(
        line=line,
        what=f"the file is not in the encoding UTF-8; it looks like Latin-1 or Windows-1252, "
        f"where the sign here is “{sign}”",
        do=_SAVE,
    )
    return _plain_ends(text.removeprefix("ï»¿")), [flaw]


def _plain_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")
