"""What does the engine that holds the records count, as one text of SQL?

A reading is put on whole steps: floor(reading / step + 1/2), and off the step where it is further
from it than a small part of one, so that halves, on which engines round differently, are never a
mark. No remainder is taken of a negative number (engines differ there too): below zero is out of
range. The text is DuckDB's, of parts that other engines have as well; theirs is made from it by
translation. Codes become one whole number before anything is counted by day, which is what makes
a hundred million readings fit into memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from anthroqa.program.routine.counting.request import Wanted

REQUIRED = ("measurer", "measure", "reading", "taken_at")
OPTIONAL = ("site", "instrument", "visit_key")
CODES = ("site", "measurer", "instrument", "measure")
# what stands in the place of a position where there is none
OFF, MISSING, OUT, UNREADABLE, ALL = -1, -2, -3, -4, -9
# steps that a number may be off its mark: single precision (2 ** -24 of the number) stays within
# it up to 33,000 steps
NEAR = 0.002
_TIE = 1e-11  # of a tooth; a tie is exact, and what is none is further from it than 1e-9
_NOT_A_NUMBER = "1e300"  # NaN and infinity sort above it


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A text that stands for readings of one measure, and what it was understood as."""

    measure: str
    written: str
    mark: int  # position between two whole marks, or one of the numbers above
    steps: int | None
    on_comb: bool


def sql_text(
    relation: str, wanted: Sequence[Wanted], *, columns: Mapping[str, str],
    kinds: Mapping[str, str], clusters: str = "", forms: Sequence[Form] = (), trim: bool = False,
) -> str:  # fmt: skip
    """The query that counts.

    Parameters
    ----------
    relation : str
        What to read from, as SQL names it.
    wanted : sequence of Wanted
    columns : mapping
        The source's name of each of our columns that it has.
    kinds : mapping
        Whether `reading` and `taken_at` are "number", "text" or "time" there.
    clusters : str
        "day" for the number of days and the sum of squared daily counts, "" for neither.
    forms : sequence of Form
        What each text was understood as, where readings are text.
    trim : bool
        Whether codes have outer spaces to take off.

    Returns
    -------
    str
        Its columns are `site, measurer, instrument, measure, month, mark, n, on_comb`, with
        days `days, squares`, with a visit key `followed, same`.
    """
    asked = _Asked(
        relation=relation, columns=columns, text=kinds["reading"] == "text",
        dated=kinds["taken_at"] != "text", days=clusters == "day", trim=trim,
    )  # fmt: skip
    parts = {"measures": _measures(wanted)}
    if asked.days:
        parts["who"] = _who(asked)
    if asked.text:
        parts["forms"] = _forms(forms)
    parts["readings"] = _readings(asked)
    parts["marked"] = _marked(asked)
    if asked.visits:
        parts["visited"] = _visited(asked)
    parts["cells"] = _cells(asked)
    if asked.days:
        parts["days"] = (
            f"SELECT id, day, {asked.sums(of_cells=True)}\n  FROM cells GROUP BY id, day"
        )
    ahead = ",\n".join(f"{name} AS (\n  {part}\n)" for name, part in parts.items())
    if not asked.days:
        kept = {"on_comb": "CASE WHEN mark >= 0 THEN on_comb ELSE 0 END AS on_comb"}
        told = ", ".join(kept.get(name, name) for name in asked.numbers)
        return f"WITH {ahead}\nSELECT {asked.of}, month, mark, {told}\nFROM cells\n"
    codes = ", ".join(f"w.{name}" for name in CODES)
    told = ", ".join(f"c.{name}" for name in asked.numbers)
    return (
        f"WITH {ahead}\nSELECT {codes}, c.month, c.mark, {told}\n"
        f"FROM {_by_month(asked)} AS c JOIN who AS w ON w.id = c.id\n"
    )


def some_months(relation: str, taken_at: str, part: int, parts: int, *, dated: bool) -> str:
    """The rows of one part of the calendar's months, whatever the year; others are in the first.

    Parts share no day, so that their counts add up.
    """
    taken = quoted(taken_at)
    month = f"EXTRACT(MONTH FROM {taken})" if dated else f"SUBSTR({taken}, 6, 2)"
    told = [str(m) if dated else f"'{m:02d}'" for m in range(1, 13)]
    listed = ", ".join(told[part::parts])
    where = f"{month} IN ({listed})"
    if part == 0:
        others = ", ".join(m for i, m in enumerate(told) if i % parts)
        where = f"({taken} IS NULL OR {month} NOT IN ({others}))"
    return f"(SELECT * FROM {relation} WHERE {where}) AS months"


def numbers(columns: Mapping[str, str], clusters: str) -> list[str]:
    """What is counted of a cell, for records with these columns."""
    found = ["n", "on_comb", *(("followed", "same") if "visit_key" in columns else ())]
    return [*found, *(("days", "squares") if clusters == "day" else ())]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What is asked of which records, for the parts of the query."""

    relation: str
    columns: Mapping[str, str]
    text: bool  # readings are text
    dated: bool  # taken_at is a date or a time and not a text
    days: bool
    trim: bool

    @property
    def visits(self) -> bool:
        return "visit_key" in self.columns

    @property
    def numbers(self) -> list[str]:
        return numbers(self.columns, "day" if self.days else "")

    def sums(self, *, of_cells: bool) -> str:
        """What is counted of a cell, summed; a reading is on the comb only if it is on a mark."""
        plain = [name for name in self.numbers if name not in ("days", "squares")]
        what = {name: name for name in plain}
        if of_cells:
            what["on_comb"] = "CASE WHEN mark >= 0 THEN on_comb ELSE 0 END"
        return ", ".join(f"SUM({what[name]}) AS {name}" for name in plain)

    def codes(self) -> str:
        """Site, measurer, instrument and measure as texts, blank where there is none."""
        found = []
        for name in CODES:
            text = f"CAST({quoted(self.columns.get(name, name))} AS VARCHAR)"
            text = f"COALESCE({f'TRIM({text})' if self.trim else text}, '')"
            found.append(f"{text if name in self.columns else repr('')} AS {name}")
        return ", ".join(found)

    def month(self, of: str) -> str:
        if self.dated:
            return f"EXTRACT(YEAR FROM {of}) * 100 + EXTRACT(MONTH FROM {of})"
        return f"SUBSTR({of}, 1, 7)"

    @property
    def of(self) -> str:
        """What says whose a reading is: the codes, or one number in place of them."""
        return "id" if self.days else ", ".join(CODES)

    @property
    def when(self) -> str:
        """The column that cells are counted by: the day, or the month."""
        return "day" if self.days else "month"


def _who(asked: _Asked) -> str:
    """Everybody who measured something, at a site and with an instrument, as a number."""
    return f"""SELECT ROW_NUMBER() OVER (ORDER BY site, measurer, instrument, r.measure) AS id,
         site, measurer, instrument, m.*
  FROM (SELECT DISTINCT {asked.codes()} FROM {asked.relation}) AS r
  JOIN measures AS m ON m.measure = r.measure"""


def _readings(asked: _Asked) -> str:
    """The readings with their step and range, or what their text was understood as."""
    taken = quoted(asked.columns["taken_at"])
    if not asked.dated:
        taken = f"CASE WHEN {taken} LIKE '____-__-__%' THEN {taken} END"
    reading = quoted(asked.columns["reading"])
    visit = ""
    if asked.visits:
        visit = f", CAST({quoted(asked.columns['visit_key'])} AS VARCHAR) AS visit"
    told = "w.id" if asked.days else ", ".join(f"r.{name}" for name in CODES)
    told += ", w.m, taken" + (", visit" if visit else "")
    if asked.text:
        told += ", reading, f.steps AS k, f.mark AS understood, f.teeth"
        forms = "\n  LEFT JOIN forms AS f ON f.measure = r.measure AND f.written = r.reading"
    else:
        told += ", w.cycle, w.low, w.high, w.teeth, w.half, reading * w.scale AS q"
        forms = ""
    match = " AND ".join(f"w.{name} = r.{name}" for name in (CODES if asked.days else CODES[3:]))
    return f"""SELECT {told}
  FROM (
    SELECT {asked.codes()},
           CAST({reading} AS {"VARCHAR" if asked.text else "DOUBLE"}) AS reading,
           {taken} AS taken{visit}
    FROM {asked.relation}) AS r
  JOIN {"who" if asked.days else "measures"} AS w ON {match}{forms}"""


def _marked(asked: _Asked) -> str:
    """The readings on whole steps: which, at which position, and whether on the comb."""
    day = "CAST(taken AS DATE)" if asked.dated else "SUBSTR(taken, 1, 10)"
    told = f"{asked.of}, {day if asked.days else asked.month('taken')} AS {asked.when}"
    told += ", m, taken, visit" if asked.visits else ""
    if asked.text:
        return f"""SELECT {told}, k, teeth = 1 AS comb,
         CASE WHEN reading IS NULL THEN {MISSING}
              ELSE COALESCE(understood, {UNREADABLE}) END AS mark
  FROM readings"""
    # most readings are on a mark: asked first, the other questions are asked of few
    return f"""SELECT {told}, k,
         ABS(k * teeth - FLOOR(k * teeth + 0.5)) <= half AS comb,
         CASE WHEN ABS(q - k) <= {NEAR} AND q >= low AND q <= high
                THEN CAST(CAST(k AS BIGINT) % cycle AS SMALLINT)
              WHEN q IS NULL OR q > {_NOT_A_NUMBER} OR q < -{_NOT_A_NUMBER} THEN {MISSING}
              WHEN q < low OR q > high THEN {OUT}
              ELSE {OFF} END AS mark
  FROM (SELECT *, FLOOR(q + 0.5) AS k FROM readings) AS stepped"""


def _visited(asked: _Asked) -> str:
    """What the reading before was, of the same measure and visit key; both on a mark."""
    usable = "(mark >= 0 AND taken IS NOT NULL AND visit <> '')"
    return f"""SELECT {asked.of}, {asked.when}, mark, comb, k,
         CASE WHEN {usable} THEN LAG(k) OVER (
           PARTITION BY visit, m, {usable} ORDER BY taken, k, {asked.of}) END AS earlier
  FROM marked"""


def _cells(asked: _Asked) -> str:
    """Readings of one person by day or month and mark.

    Counts are doubles: exact below 2 ** 53, and added more quickly than wide integers.
    """
    counted = {"n": "COUNT(*)", "on_comb": "COUNT(CASE WHEN comb THEN 1 END)"}
    if asked.visits:
        counted["followed"] = "COUNT(earlier)"
        counted["same"] = "COUNT(CASE WHEN earlier = k THEN 1 END)"
    told = ", ".join(f"CAST({count} AS DOUBLE) AS {name}" for name, count in counted.items())
    return f"""SELECT {asked.of}, {asked.when}, mark, {told}
  FROM {"visited" if asked.visits else "marked"}
  GROUP BY {asked.of}, {asked.when}, mark"""


def _by_month(asked: _Asked) -> str:
    """Days put together to months: each mark, and all of them."""
    month = asked.month("day")
    squares = "COUNT(*) AS days, SUM(n * n) AS squares"
    return f"""(
  SELECT id, {month} AS month, mark, {asked.sums(of_cells=True)}, {squares}
  FROM cells GROUP BY id, {month}, mark
  UNION ALL
  SELECT id, {month} AS month, {ALL} AS mark, {asked.sums(of_cells=False)}, {squares}
  FROM days GROUP BY id, {month}
)"""


def _measures(wanted: Sequence[Wanted]) -> str:
    """A row a measure: its step, its cycle, its range, and how many teeth of the comb a step is."""
    rows = []
    for i, one in enumerate(wanted):
        teeth = float(1 / one.comb[1]) if one.comb else None
        values = {
            "scale": float(1 / one.measure.step.size),
            "low": one.low - NEAR, "high": one.high + NEAR,
            "teeth": "NULL" if teeth is None else teeth,
            "half": "NULL" if teeth is None else teeth / 2 + _TIE,
        }  # fmt: skip
        told = ", ".join(f"CAST({value} AS DOUBLE) AS {name}" for name, value in values.items())
        cycle = f"CAST({one.cycle or 1} AS BIGINT) AS cycle"
        rows.append(f"SELECT {literal(one.name)} AS measure, {i} AS m, {cycle}, {told}")
    return "\n  UNION ALL ".join(rows)


def _forms(forms: Sequence[Form]) -> str:
    names = "measure, written, mark, steps, teeth"
    if not forms:
        return f"SELECT {names} FROM forms_as_understood"
    rows = ", ".join(
        f"({literal(f.measure)}, {literal(f.written)}, {f.mark}, "
        f"{-1 if f.steps is None else f.steps}, {int(f.on_comb)})"
        for f in forms
    )
    return f"SELECT {names} FROM (VALUES {rows}) AS understood({names})"


def quoted(name: str) -> str:
    """A column's or a table's name as SQL writes it."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """A text as SQL writes it."""
    return "'" + text.replace("'", "''") + "'"
