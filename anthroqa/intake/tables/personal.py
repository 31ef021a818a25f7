"""Does a column hold what must not be here: a name, a birth date, an address?

Judged by the column's name alone; its values are never looked at. A code of a person is.
"""

from __future__ import annotations

import re

_PERSONAL_WORDS = {
    "name", "names", "first", "last", "nom", "prenom", "nombre", "apellido", "apellidos", "nome",
    "vorname", "initials", "phone", "mobile", "email", "address", "street", "passport", "ssn",
    "mrn", "mother", "father", "mom", "dad", "parent", "guardian", "caregiver",
}  # fmt: skip
_PERSONAL_PARTS = re.compile(
    "birth|born|bday|nacim|geburt|naissance|nascim|surname|firstname|lastname|fullname|forename"
    "|nickname|childname|telephone|email|^dob|dob$"
)
_A_THING = {
    "instrument", "scale", "measure", "site", "clinic", "board", "file", "sheet", "form",
    "weight", "length", "height", "order",
}  # fmt: skip


_NAME = re.compile(r"[^\W\d_][^\W\d_.'-]+(?: [^\W\d_][^\W\d_.'-]+)+")


def looks_like_a_name(code: str) -> bool:
    """Whether a code looks like a first and a last name."""
    return _NAME.fullmatch(code) is not None


def looks_personal(column: str) -> bool:
    """Whether a column's name looks like a person's name, birth date or address."""
    words = re.findall(r"[a-z]+", re.sub(r"([a-z])([A-Z])", r"\1 \2", column).lower())
    if not _A_THING.isdisjoint(words):
        return False
    whole = not _PERSONAL_WORDS.isdisjoint(words) or "dob" in words
    return whole or bool(_PERSONAL_PARTS.search("".join(words)))
