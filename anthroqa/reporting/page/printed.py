"""How does a page become a PDF, where the extra `pdf` is installed?"""

from __future__ import annotations

from typing import Any


def laid_out(text: str) -> Any:
    """A page laid out on paper; None without the extra `pdf` or the libraries it needs."""
    try:
        from weasyprint import HTML
    except (ImportError, OSError):  # not installed; installed without Pango
        return None
    return HTML(string=text).render()


def pdf_of(laid: Any) -> bytes:
    """A page that is laid out as the bytes of a PDF; the same for the same page."""
    return laid.write_pdf(pdf_identifier=b"anthroqa")
