"""The words of what is wrong with routine records, where they are held, or their counts."""

from collections.abc import Sequence

from anthroqa.notes import register, said, said_apart
from anthroqa.notes.program import routine_problems as k
from anthroqa.reporting.words.hints import did_you_mean

_AGAIN = "Make the file again with --tally-only."
_RENAMED = "the column clinic is called site now"
_MOST = 20  # names in one line
_FITS = {"reading": "number or a text", "taken_at": "date, a time or a text"}


def _tables(n: k.WhichTable | k.NoTable) -> str:
    """The first tables that there are."""
    more = " ..." if len(n.tables) > _MOST else ""
    return f"{', '.join(n.tables[:_MOST])}{more}" if n.tables else "none"


def _there(names: Sequence[str]) -> str:
    return f"There are {', '.join(names) or 'none'}."


def _unreachable(n: k.Unreachable) -> str:
    own = isinstance(n.why, k.NoAnswer)
    return f"the database cannot be reached {_error(n.why) if own else said_apart(n.why)[0]}"


def _error(n: k.NoAnswer) -> str:
    return f"({n.error}: {n.said})"


def _no_step(n: k.NoStep) -> str:
    what = f"the measure {n.measure!r}" if n.measure else "no measure"
    return f"{n.rows:,} rows have {what}, which has no step; they are not tallied"


def _not_readings(n: k.NotReadings) -> str:
    return (
        f"{n.readings:,} {'reading' if n.readings == 1 else 'readings'} of {n.measure} cannot be "
        "read as a number of marks; they are counted as unreadable"
    )


def _is_it_the_step(n: k.MostlyOff) -> str:
    likely = said(n.likely) if isinstance(n.likely, k.LooksLike) else f"a step of {n.likely}"
    hint = "" if n.likely is None else f"It looks like {likely}. "
    return (
        f"{hint}Is --recorded-to {n.measure} the step of the instrument, or were readings "
        "converted?"
    )


def _off_in_months(n: k.OffInMonths) -> str:
    site = f"site {n.site}, " if n.site else ""
    return (
        f"{site}{n.measure}: in {', '.join(n.months)} {n.off:,} of {n.readings:,} readings are "
        f"off the step {n.step} or out of range, in other months {n.off_else:,} of "
        f"{n.readings_else:,}"
    )


def _like_names(n: k.LikeNames) -> str:
    return f"{n.codes} {'code looks' if n.codes == 1 else 'codes look'} like a person's name"


def _cell(n: k.Cell) -> str:
    parts = [f"site {n.site}" if n.site else "", n.measurer]
    parts += [n.instrument, n.measure, n.period or "no date"]
    return ", ".join(part for part in parts if part)


def _parts_differ(n: k.PartsDiffer) -> str:
    total = "there is no `all`" if n.total is None else f"`all` says {n.total}"
    return f"{n.cell}: the parts add up to {n.parts}, {total}"


register({
    k.Held.NO_FILES: ("this folder holds no Parquet or CSV file", "Name the file itself."),
    k.Held.NO_FORMAT: (
        "this is no Parquet or CSV file, going by its name",
        "Give it the ending .parquet or .csv, or export it again as one of them.",
    ),
    k.Held.NO_FIT: ("no file fits this pattern", "Look at the folder and the ending."),
    k.Held.BOTH_FORMATS: (
        "there are CSV and Parquet files here",
        "Read one kind at a time, with a pattern such as '*.parquet'.",
    ),
    k.Held.HEADER: (
        "the first row does not name each column once",
        "Give every column a name of its own, in the first row.",
    ),
    k.Held.DELIMITERS: (
        "the files part their columns in different ways",
        "Export them alike, all with commas or all with semicolons.",
    ),
    k.Held.NO_ROWS: ("there are no rows", "Look at the export."),
    k.Held.NOT_DUCKDB: (
        "DuckDB cannot open this file",
        "Is it a DuckDB file, made by a version that is not newer, and closed elsewhere?",
    ),
    k.Held.NOT_UTF8: ("the file is not UTF-8 text", "Save it again as 'CSV UTF-8'."),
    k.Held.NOT_APART: (
        "a row cannot be taken apart into columns",
        "Look there for a stray quotation mark, or a comma inside a cell.",
    ),
    k.Held.MEMORY: (
        "the tally needs more memory than there is",
        "Tally the files one by one and add the counts files.",
    ),
    k.Held.NOT_PARQUET: ("the file is no Parquet file, or is cut off", "Export it again."),
    k.ClinicIsSite.IN_COUNTS: (
        _RENAMED, "Write site in its place, or make the file again with --tally-only.",
    ),
    k.ClinicIsSite.IN_SOURCE: (_RENAMED, "Say that it is meant with --column site=clinic."),
    k.ClinicIsSite.IN_OPTION: (_RENAMED, "Write --column site=NAME."),
    k.Held.NO_FILE: ("there is no such file", "Look at the path."),
    k.NoSuchFile: (
        "there is no such file or folder",
        lambda n: f"{did_you_mean(n.near)}Look at the path.",
    ),
    k.NoAnswer: (
        lambda n: f"the engine could not answer {_error(n)}",
        "Look at the connection and the table, and run it again; nothing was written.",
    ),
    k.Unreachable: (
        _unreachable,
        "Is it running, is this machine allowed to ask it, and are host, user and password right?",
    ),
    k.WhichTable: (
        "which table holds the records is not said",
        lambda n: f"Write --table NAME; there are {_tables(n)}.",
    ),
    k.NoTable: (
        "there is no table {n.table!r}",
        lambda n: f"{did_you_mean(n.near)}There are {_tables(n)}.",
    ),
    k.NoColumn: (
        "this column is missing",
        lambda n: f"{did_you_mean(n.near)}{_there(n.there)} Say which one it is with --column "
        f"{n.ours}=NAME.",
    ),
    k.NoSuchName: (
        lambda n: f"{n.ours!r} is no column of records",
        lambda n: f"{did_you_mean(n.near)}Write --column OURS=THEIRS, where OURS is one of "
        f"{', '.join(n.known)}",
    ),
    k.ColumnKind: (
        lambda n: f"this column is no {_FITS[n.ours]}",
        "Say which one it is with --column {n.ours}=NAME, or make a view.",
    ),
    k.NoStep: (
        _no_step,
        lambda n: f"{did_you_mean(n.near)}Give its step with --recorded-to "
        f"{n.measure or 'MEASURE'}=STEP if it is wanted.",
    ),
    k.MeasureAbsent: (
        "no row has the measure {n.measure!r}",
        lambda n: f"{did_you_mean(n.near)}{_there(n.there[:_MOST])}",
    ),
    k.TooManyForms: (
        "{n.measure} has {n.forms:,} different readings, more than a display has",
        "Is this the column that holds the readings? Say so with --column reading=",
    ),
    k.NotReadings: (
        _not_readings,
        "A reading is written as on a display of {n.step}, such as 7.35, 24 3/8 or 11 lb 10 oz; "
        "where nothing was read the cell is empty.",
    ),
    k.NoMeasurer: (
        "{n.rows:,} of {n.of:,} rows have no code of a measurer",
        "They count for their site only: is it the right column?",
    ),
    k.Undated: (
        "{n.rows:,} of {n.of:,} rows have no date, or none in ISO form",
        "They are in no month: write dates as 2026-03-14, or name the right column.",
    ),
    k.LooksLike.EIGHTHS_IN_TWO_DECIMALS:
        "eighths that were kept with two decimals (restore them, as round(reading * 8) / 8)",
    k.MostlyOff: (
        "{n.off:,} of {n.readings:,} readings of {n.measure} are off the step {n.step}",
        _is_it_the_step,
    ),
    k.OffInMonths: (
        _off_in_months,
        "Was another unit or instrument used then? Give those readings a measure of their own, "
        "with its step.",
    ),
    k.LikeNames: (
        _like_names, "Give staff codes, and keep the list of names with the program.",
    ),
    k.InCounts.NOT_CSV: ("this cannot be read as a CSV file (UTF-8)", _AGAIN),
    k.InCounts.NO_COUNTS: ("there are no counts", _AGAIN),
    k.InCounts.COLUMN_TWICE: ("this column is there twice", "Keep one of the two."),
    k.InCounts.OF_A_CHILD: (
        "this column may tell of a child; a counts file holds codes and counts only",
        "Make the file again with --tally-only, which leaves such columns behind.",
    ),
    k.InCounts.LIKE_A_NAME: (
        "this looks like a person's name",
        "Give staff codes before the counts are made, and keep the list of names apart.",
    ),
    k.InCounts.NO_MEASURE: ("the measure is missing", _AGAIN),
    k.InCounts.NO_STEP: ("this is not a step", "Write an amount and its unit, as in 1/8 in."),
    k.InCounts.NO_PERIOD: (
        "this is not a period",
        "Write a month as 2026-03, several as 2026-01..2026-03, and none as an empty cell.",
    ),
    k.InCounts.NO_COUNT: ("this is not a count: a whole number", _AGAIN),
    k.StrayColumn: (
        "this column does not belong in a counts file",
        lambda n: did_you_mean(n.near) + _AGAIN,
    ),
    k.LacksColumn: ("this column is missing", lambda n: did_you_mean(n.near) + _AGAIN),
    k.SeveralSteps: (
        "the measure {n.measure!r} has several steps",
        "Another step is another measure: give each a name of its own, as in "
        "{n.measure}_{n.steps}.",
    ),
    k.UnknownKind: ("this kind is not known", lambda n: f"Kinds are {', '.join(n.kinds)}."),
    k.NoPosition: (
        lambda n: f"{n.position or 'a blank'} is not a position of {n.step}: 0 to {n.last}",
        f"Positions are counted in steps from the last whole mark. {_AGAIN}",
    ),
    k.PositionOf: ("{n.kind!r} has no position", "Leave the cell empty."),
    k.MoreThan: ("this is more than {n.column}, which is {n.n}", _AGAIN),
    k.NoSuchSquares: (
        "no {n.n} readings on {n.days} days have this sum of squared daily counts", _AGAIN,
    ),
    k.Cell: _cell,
    k.CellTwice: ("this cell is there twice: {n.cell}", "Keep one of the two."),
    k.PartsDiffer: (_parts_differ, f"Was a row lost or changed? {_AGAIN}"),
    k.MoreRows: (
        "{n.rows:,} more rows have the same problem", lambda n: said_apart(n.problem)[1],
    ),
    k.CountedInSteps: (
        "{n.measure} was counted in steps of {n.counted}, not of {n.asked}",
        "Leave its --recorded-to out, or tally the records again.",
    ),
    k.AsRecorded: ("{n.problem}", "{n.remedy}"),
})  # fmt: skip
