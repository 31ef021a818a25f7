"""What is in the folder of a session, and can it be read?

`read_session` gives a `Session`, or raises one `SessionError` that holds every problem found;
`look` gives what there is while it is being typed in. Input files are only ever read.
"""

from __future__ import annotations

from pathlib import Path

from anthroqa.files import sha256
from anthroqa.intake.described.settings import Settings, read_settings
from anthroqa.intake.entries import known_loads, second_entry, true_values
from anthroqa.intake.entries import readings as checks
from anthroqa.intake.entries.corrections import COLUMNS as CORRECTION_COLUMNS
from anthroqa.intake.session import Look, Session, build, no_reading, progress_of
from anthroqa.intake.tables.files import has_sheet, read_file
from anthroqa.intake.tables.problems import Problem, SessionError, whole_file
from anthroqa.intake.tables.table import Table
from anthroqa.notes.intake.beside import TrueValues
from anthroqa.notes.intake.session import CannotBeRead, Folder, NoFile, OldName

_OLD = {"kit.csv": known_loads.FILE, "settings.csv": true_values.FILE}  # names not read any more


def read_session(path: str | Path) -> Session:
    """The session in a folder.

    Parameters
    ----------
    path : str or pathlib.Path
        A folder with `session.toml` and `readings.csv` or `readings.xlsx`, and perhaps
        `corrections.csv` and `known_loads.csv`; a drill has `true_values.csv` too.

    Returns
    -------
    Session

    Raises
    ------
    SessionError
        If anything in the files needs attention; all of it at once.
    """
    found = look(path)
    if found.problems or found.session is None:
        raise SessionError(found.problems or [no_reading(found.file)])
    return found.session


def look(path: str | Path) -> Look:
    """What there is of the session in a folder, while it is being typed in.

    Takes what `read_session` takes and raises nothing for it. A session without a reading yet
    is no problem here.
    """
    try:
        return _look(Path(path))
    except SessionError as error:
        return Look(problems=tuple(error), session=None, progress=progress_of([], set()))


def _look(folder: Path) -> Look:
    problems: list[Problem] = []
    if not folder.is_dir():
        code = Folder.A_FILE if folder.exists() else Folder.NOT_THERE
        raise SessionError([whole_file(folder.name, code)])
    files: dict[str, str] = {}
    settings = Settings()
    data = _bytes(folder / "session.toml", files)
    if data is None:
        problems.append(whole_file("session.toml", NoFile.SETTINGS))
    else:
        try:
            settings, found = read_settings(data.decode("utf-8-sig"), "session.toml")
        except UnicodeDecodeError:
            found = [whole_file("session.toml", Folder.SETTINGS_NOT_UTF8)]
        problems += found
    old = {name: new for name, new in _OLD.items() if (folder / name).exists()}
    problems += [whole_file(name, OldName(new=new)) for name, new in old.items()]
    table, second = _readings(folder, files, problems)
    others = {
        "corrections.csv": _optional(folder, "corrections.csv", files, CORRECTION_COLUMNS, []),
        true_values.FILE: _true_values(folder, settings.exercise, files),
        known_loads.FILE: _optional(
            folder, known_loads.FILE, files, known_loads.COLUMNS, known_loads.OPTIONAL
        ),
    }
    tables = {name: found for name, found in others.items() if found is not None}
    if settings.exercise == "drill" and true_values.FILE not in {*tables, *old.values()}:
        problems.append(true_values.missing_file())
    if table is None:
        raise SessionError([*problems, *(p for t in tables.values() for p in t.problems)])
    return build(folder.resolve().name, settings, table, tables, problems, files, second)


def _bytes(path: Path, files: dict[str, str]) -> bytes | None:
    if not path.is_file():
        return None
    try:
        data = path.read_bytes()
    except OSError as error:
        code = CannotBeRead(error=str(error.strerror))
        raise SessionError([whole_file(path.name, code)]) from None
    files[path.name] = sha256(data)
    return data


def _readings(
    folder: Path, files: dict[str, str], problems: list[Problem]
) -> tuple[Table | None, Table | None]:
    """The rows of the readings, and of a second entry where the workbook has one."""
    names = [n for n in ("readings.csv", "readings.xlsx") if (folder / n).is_file()]
    if len(names) == 2:
        problems.append(whole_file("readings.xlsx", Folder.READINGS_TWICE))
        return None, None
    if not names:
        problems.append(whole_file("readings.csv", NoFile.READINGS))
        return None, None
    data = _bytes(folder / names[0], files)
    assert data is not None
    table = read_file(data, names[0], required=checks.REQUIRED, optional=checks.OPTIONAL)
    if not has_sheet(data, names[0], second_entry.SHEET):
        return table, None
    return table, read_file(
        data, names[0], required=second_entry.REQUIRED, optional=second_entry.OPTIONAL,
        sheet=second_entry.SHEET,
    )  # fmt: skip


def _optional(
    folder: Path, file: str, files: dict[str, str], required: list[str], optional: list[str]
) -> Table | None:
    data = _bytes(folder / file, files)
    return None if data is None else read_file(data, file, required=required, optional=optional)


def _true_values(folder: Path, exercise: str, files: dict[str, str]) -> Table | None:
    """What was set in a drill; in a session the file is only noticed."""
    if exercise == "drill":
        return _optional(folder, true_values.FILE, files, true_values.COLUMNS, [])
    if not (folder / true_values.FILE).is_file():
        return None
    return Table(file=true_values.FILE, notices=[(true_values.FILE, TrueValues.NOT_USED)])
