"""A workbook as bytes without a clock in them: the same content gives the same file."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import datetime

from openpyxl.workbook import Workbook

# The first date that a ZIP archive can hold.
EPOCH = datetime(1980, 1, 1)


def book_bytes(book: Workbook) -> bytes:
    """Save a workbook, and take out the times that the library and the archive put in."""
    book.properties.created = EPOCH
    saved, fixed = io.BytesIO(), io.BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as old, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(
                    rb"(<dcterms:modified[^>]*>)[^<]*(?=<)",
                    rb"\g<1>" + EPOCH.strftime("%Y-%m-%dT%H:%M:%SZ").encode(),
                    content,
                )
            place = zipfile.ZipInfo(name, EPOCH.timetuple()[:6])
            new.writestr(place, content, zipfile.ZIP_DEFLATED)
    return fixed.getvalue()
