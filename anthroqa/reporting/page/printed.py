"""How does a page become a PDF, where the extra `pdf` is installed?"""

from __future__ import annotations

import os
from typing import Any

_CLOCK = "SOURCE_DATE_EPOCH"  # what libraries that put a time into fonts take in place of now


def laid_out(text: str) -> Any:
    """A page laid out on paper; None without the extra `pdf` or the libraries it needs."""
    try:
        from weasyprint import HTML
    except (ImportError, OSError):  # not installed; installed without Pango
        return None
    return HTML(string=text).render()


def pdf_of(laid: Any) -> bytes:
    """A page that is laid out as the bytes of a PDF; the same for the same page."""
    given = os.environ.get(_CLOCK)
    os.environ[_CLOCK] = given or "0"
    try:
        return laid.write_pdf(pdf_identifier=b"anthroqa")
    finally:
        if given is None:
            del os.environ[_CLOCK]
