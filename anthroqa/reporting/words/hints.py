"""Phrases that several problems end or begin with."""

from __future__ import annotations

from collections.abc import Iterable

from anthroqa.notes import Note


def did_you_mean(near: str | None) -> str:
    """A hint at the known word that is nearest, with a space after it; empty if none is near."""
    return f"Did you mean {near!r}? " if near is not None else ""


def consistent_with(slips: Iterable[Note]) -> str:
    """Which slips would explain a reading, with a space before it; empty if none would."""
    listed = " or ".join(map(str, slips))
    return f" Consistent with {listed}." if listed else ""
