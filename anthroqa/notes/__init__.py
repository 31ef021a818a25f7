"""What is to be known beside a figure: codes with typed parts, and where their words come from.

A note is a member of an `Enum` that inherits `Note` where it has no parts, else a class that
inherits it: that is a frozen dataclass by itself, its parts given by name. Only
`anthroqa.reporting.words` turns one into a sentence; everything below asks for its kind. A module
of words fills the registry with `register`; another language is another such package.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from importlib import import_module
from inspect import get_annotations
from typing import Any, TypeVar, dataclass_transform

SEPARATOR = "; "  # between the words of several notes

_words: dict[Any, Words] = {}
_SPEAKER = "anthroqa.reporting.words"  # loaded when the first note is said


@dataclass_transform(frozen_default=True, kw_only_default=True)
class Note:
    """One fact; its text is its words."""

    def __init_subclass__(cls, **more: Any) -> None:
        super().__init_subclass__(**more)
        if not issubclass(cls, Enum) and get_annotations(cls):
            dataclass(frozen=True, kw_only=True)(cls)

    def __str__(self) -> str:
        return said(self)


Words = str | Callable[[Any], str] | tuple[Any, ...]
Kind = type[Note] | Note  # a class of notes, or one without parts
_N = TypeVar("_N", bound=Note)


class Quoted(Note):
    """Words that came from outside, such as a table that was read back; nobody asks for them."""

    text: str


@dataclass(frozen=True, slots=True)
class Notes:
    """Notes beside one figure, the reason for what is blank first. Empty ones are false.

    No sequence on purpose: an array or a column holds each as one cell.
    """

    of: tuple[Note, ...] = ()

    def __iter__(self) -> Iterator[Note]:
        return iter(self.of)

    def __bool__(self) -> bool:
        return bool(self.of)

    def __add__(self, other: Notes) -> Notes:
        if not other.of:
            return self
        return Notes(self.of + other.of) if self.of else other

    def __contains__(self, kind: object) -> bool:
        """Whether a note of this kind is among them."""
        return any(_is(note, kind) for note in self.of)

    def first(self, kind: type[_N]) -> _N | None:
        """The first note of this class."""
        return next((note for note in self.of if isinstance(note, kind)), None)

    def without(self, *kinds: Kind) -> Notes:
        """Those of no such kind."""
        return Notes(tuple(n for n in self.of if not any(_is(n, kind) for kind in kinds)))

    @property
    def reason(self) -> Notes:
        """The first of them alone."""
        return Notes(self.of[:1])

    def __str__(self) -> str:
        return SEPARATOR.join(map(said, self.of))


NONE = Notes()


def notes_of(*parts: Note | Notes | None) -> Notes:
    """One or more notes put together; None and empty ones say nothing."""
    out: list[Note] = []
    for part in parts:
        out.extend(part.of if isinstance(part, Notes) else [part] if part is not None else [])
    return Notes(tuple(out)) if out else NONE


def kind_of(note: Note) -> Kind:
    """What a note is one of: its class, or the note itself where it has no parts."""
    return note if isinstance(note, Enum) else type(note)


def _is(note: Note, kind: object) -> bool:
    return isinstance(note, kind) if isinstance(kind, type) else note is kind


def register(words: Mapping[Any, Words]) -> None:
    """Give kinds their words: a text with fields such as `{n.subjects}`, or a function.

    A problem has two of them: what is wrong, and what to do.
    """
    _words.update(words)


def said(note: Note) -> str:
    """The words of a note; of a problem all of them."""
    return ". ".join(words for words in said_apart(note) if words)


def said_apart(note: Note) -> tuple[str, ...]:
    """The words of a note part by part: of a problem what is wrong, and what to do."""
    if isinstance(note, Quoted):
        return (note.text,)
    words = registered()[kind_of(note)]
    parts = words if isinstance(words, tuple) else (words,)
    return tuple(w.format(n=note) if isinstance(w, str) else w(note) for w in parts)


def registered() -> Mapping[Any, Words]:
    """All kinds that have words."""
    if not _words:
        import_module(_SPEAKER)
    return _words
