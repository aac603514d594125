"""Telling our bench workbook from any other file."""

from __future__ import annotations

import io
import zipfile

from doe.sheets.book_form import MACHINE

_SHEET_LIST = "xl/workbook.xml"


def is_workbook(data: bytes) -> bool:
    """Tell whether a file is a bench workbook of ours, whatever program saved it last."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return f'name="{MACHINE}"'.encode() in archive.read(_SHEET_LIST)
    except (zipfile.BadZipFile, KeyError):
        return False
