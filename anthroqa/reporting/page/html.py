"""Tables, images and paragraphs as HTML, with everything that people typed shown as text."""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Iterable, Sequence, Sized
from typing import TYPE_CHECKING

from anthroqa.reporting.page.wording import CONTROLS

if TYPE_CHECKING:
    from matplotlib.axes import Axes


SOME = 40  # rows of a list before it is cut


def escape(text: str) -> str:
    """Text as it can stand in a page; what would turn the line around is shown by its number."""
    return html.escape(text.translate(CONTROLS))


class Html:
    """A piece of a page; a notebook shows it as it is."""

    def __init__(self, *parts: str) -> None:
        self.text = "\n".join(parts)

    def _repr_html_(self) -> str:
        return self.text


def paragraph(text: str, *, lead: str = "") -> str:
    """A paragraph, with bold words to lead in."""
    bold = f"<strong>{escape(lead)}</strong> " if lead else ""
    return f"<p>{bold}{escape(text)}</p>"


def heading(text: str, level: int) -> str:
    """A heading of a level."""
    return f"<h{level}>{escape(text)}</h{level}>"


def bullets(items: Iterable[str], *, signed: bool = False) -> str:
    """A list, `signed` if its items bring a sign of their own; nothing for no items."""
    lines = "".join(f"<li>{escape(item)}</li>" for item in items)
    start = '<ul class="signed">' if signed else "<ul>"
    return f"{start}{lines}</ul>" if lines else ""


def table(header: Sequence[str], rows: Iterable[Sequence[object]], *, caption: str) -> str:
    """A table whose first column names its rows."""
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in header)
    body = "".join(
        f'<tr><th scope="row">{escape(str(first))}</th>'
        + "".join(f"<td>{escape(str(cell))}</td>" for cell in rest)
        + "</tr>"
        for first, *rest in rows
    )
    return (
        f'<div class="table"><table><caption>{escape(caption)}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def cut(items: Sized, what: str) -> list[str]:
    """How many of the items a list of the first `SOME` leaves out, if any."""
    return [paragraph(f"And {len(items) - SOME} more {what}.")] if len(items) > SOME else []


def image(ax: Axes, *, alt: str) -> str:
    """A figure as an image inside the page; the same bytes for the same figure."""
    import matplotlib as mpl

    figure = ax.figure
    stream = io.BytesIO()
    # fixed salt and no date: the file must not depend on the run; one font, then any without serifs
    style = {
        "svg.fonttype": "none", "svg.hashsalt": "anthroqa", "font.sans-serif": ["DejaVu Sans"],
    }  # fmt: skip
    with mpl.rc_context(style):
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    data = base64.b64encode(stream.getvalue()).decode("ascii")
    width, height = (round(96 * inches) for inches in figure.get_size_inches())
    return (
        f'<figure><img src="data:image/svg+xml;base64,{data}" width="{width}" height="{height}" '
        f'alt="{escape(alt)}"></figure>'
    )
