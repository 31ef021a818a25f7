"""Routine records of an invented program, with what was planted in them.

Larkspur Valley Family Nutrition: fourteen staff in four sites over a year. A reading is drawn
where a child or a caregiver lies, on no mark in particular; a person who leans puts some readings
on a coarse mark, more on some days than on others; faults of sites and instruments come on
top. There is no code of a child or caregiver in it, only of staff, sites and instruments.

`write_records` draws as many readings as are asked for: beyond the sample's size more valleys like
it are added (each with codes of its own), and then more readings a day.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import Step, convert
from anthroqa.simulate.readings import Counts, nearest

if TYPE_CHECKING:
    import pandas as pd

Flags = npt.NDArray[np.bool_]

NAME, FILE, TRUTH = "valley_records", "readings.parquet", "truth.toml"
ROWS, SEED = 40_000, 20261126
_MOST_VALLEYS = 143  # 2,002 staff
_CHUNK = 1_000_000  # rows drawn at a time
_START, _DAYS = np.datetime64("2025-10-01"), 365
_CHANGED = np.datetime64("2026-04-01")  # a new scale in site B
_LIVELY = 3.0  # of days: a person's share on a day is gamma with this shape; assumed


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    """One measure: where the subjects lie, in steps, and what the instrument is called."""

    name: str
    step: Step
    middle: float
    spread: float
    low: int  # nobody lies below or above these, in steps
    high: int
    instrument: str
    share: float  # of all readings


_OUNCE, _EIGHTH = Step(Fraction(1), "oz"), Step(Fraction(1, 8), "in")
_QUARTER = Step(Fraction(1, 4), "lb")
MEASURES = (
    _Drawn(name="infant_weight", step=_OUNCE, middle=262, spread=62, low=80, high=480,
           instrument="scale", share=0.40),
    _Drawn(name="infant_length", step=_EIGHTH, middle=212, spread=26, low=140, high=300,
           instrument="board", share=0.35),
    _Drawn(name="adult_weight", step=_QUARTER, middle=640, spread=120, low=340, high=1300,
           instrument="beam", share=0.25),
)  # fmt: skip
RANGES = {
    "infant_weight": "4 lb to 40 lb", "infant_length": "16 in to 45 in",
    "adult_weight": "70 lb to 400 lb",
}  # fmt: skip

_SITES = "AAAABBBBCCCDDD"
STAFF = tuple(f"V{i:02d}" for i in range(1, len(_SITES) + 1))
NEW = "V14"  # started in the last weeks: 18 readings in all
_FEW = 18
# (person, measure, mark in steps, share of the readings put on it)
LEANING = (
    ("V03", "infant_weight", 16, 0.20),
    ("V07", "infant_length", 8, 0.18),
    ("V12", "adult_weight", 4, 0.22),
)
ESTIMATES = ("V09", "infant_length", 0.05)  # writes sixteenths of an inch
CONVERTED = ("C", "infant_weight", Step(Fraction(1, 20), "kg"))
NEW_SCALE = ("B", "infant_weight", 2)  # shows every second ounce
MISSING = 0.01
UNWELL = ("D", "adult_weight", 0.08)  # a site where many weights are not written down
_STRAY = 0.001  # a digit too many


def write_records(folder: Path, *, rows: int = ROWS, seed: int = SEED, keys: bool = False) -> Path:
    """Draw records into `folder`: `readings.parquet` and `truth.toml`. Gives the Parquet file.

    With `keys` there is a column `visit_key` too, an invented key of an episode of visits, in
    which every fifth reading of one person repeats the one before it.
    """
    import duckdb

    if rows < 1000:
        raise ValueError(f"{rows} rows are too few: 1000 at least")
    folder.mkdir(parents=True, exist_ok=True)
    path, draft = folder / FILE, folder / f".{FILE}.part"
    if "'" in str(draft):
        raise ValueError("the path of the folder has an apostrophe in it: give another")
    with duckdb.connect() as db:
        made = False
        for part in _parts(rows, seed, keys):
            db.register("part", part)
            columns = ", ".join(
                f"{c}::VARCHAR AS {c}" if c != "taken_at" else "taken_at::DATE AS taken_at"
                for c in part.columns
            )
            db.execute(
                f"INSERT INTO drawn SELECT {columns} FROM part" if made
                else f"CREATE TABLE drawn AS SELECT {columns} FROM part"
            )  # fmt: skip
            made = True
        db.execute(f"COPY drawn TO '{draft}' (FORMAT parquet, COMPRESSION zstd)")
    draft.replace(path)
    (folder / TRUTH).write_text(truth(rows, seed), encoding="utf-8", newline="")
    return path


def records(*, rows: int = ROWS, seed: int = SEED, keys: bool = False) -> pd.DataFrame:
    """The same records as a table: `site, measurer, instrument, measure, reading, taken_at`."""
    import pandas as pd

    text = ["site", "measurer", "instrument", "measure", "reading"]
    parts = [part.astype(dict.fromkeys(text, str)) for part in _parts(rows, seed, keys)]
    return pd.concat(parts, ignore_index=True)


def _parts(rows: int, seed: int, keys: bool) -> Iterator[pd.DataFrame]:
    """The records, some at a time."""
    rng = np.random.default_rng(seed)
    valleys = int(np.clip(rows // ROWS, 1, _MOST_VALLEYS))
    at_work = _at_work(valleys * len(STAFF), rng)
    lively = rng.gamma(_LIVELY, 1 / _LIVELY, size=(valleys * len(STAFF), _DAYS))
    left = rows - valleys * _FEW
    yield _part(_few(valleys, rng), valleys, lively, keys, rng)
    while left > 0:
        n = min(left, _CHUNK)
        yield _part(_draws(n, valleys, at_work, rng), valleys, lively, keys, rng)
        left -= n


Drawn = tuple[Counts, Counts, Counts]


def _at_work(people: int, rng: np.random.Generator) -> Counts:
    """The days on which each person measures: 180 working days of the year each."""
    days = np.arange(_DAYS)
    work = days[np.is_busday(_START + days)]
    return np.sort(rng.permuted(np.tile(work, (people, 1)), axis=1)[:, :180], axis=1)


def _draws(n: int, valleys: int, at_work: Counts, rng: np.random.Generator) -> Drawn:
    """Who reads what on which day: everybody but the new ones, about as often."""
    known = [i for i, code in enumerate(STAFF) if code != NEW]
    person = rng.choice(known, size=n) + len(STAFF) * rng.integers(0, valleys, size=n)
    measure = rng.choice(len(MEASURES), size=n, p=[m.share for m in MEASURES])
    day = at_work[person, rng.integers(0, at_work.shape[1], size=n)]
    return person, measure, day


def _few(valleys: int, rng: np.random.Generator) -> Drawn:
    """The few readings of the new person of each valley, in the last month."""
    new = STAFF.index(NEW) + len(STAFF) * np.arange(valleys)
    person = np.repeat(new, _FEW)
    days = np.arange(_DAYS)[np.is_busday(_START + np.arange(_DAYS))][-15:]
    return person, np.zeros(len(person), dtype=np.int64), rng.choice(days, size=len(person))


def _part(
    draws: Drawn, valleys: int, lively: npt.NDArray[np.float64], keys: bool,
    rng: np.random.Generator,
) -> pd.DataFrame:  # fmt: skip
    """The written readings of some draws."""
    import pandas as pd

    person, measure, day = draws
    own = person % len(STAFF)
    site = np.array([ord(c) for c in _SITES])[own]
    count = _counts(own, measure, site, day, lively[person, day], rng)
    if keys:
        key = rng.integers(0, max(len(count) // 6, 1), size=len(count))
        count = _repeated(count, key, measure, day, own == STAFF.index("V05"), rng)
    lost = _lost(own, measure, site, rng)
    text, forms = _written(count, measure, lost)
    valley = person // len(STAFF)
    changed = (site == ord(NEW_SCALE[0])) & (measure == 0) & (_START + day >= _CHANGED)
    prefix = [f"R{v + 1:03d}-" if valleys > 1 else "" for v in range(valleys)]
    letters = sorted(set(_SITES))
    place = np.searchsorted([ord(c) for c in letters], site)
    codes = [f"{c}-{m.instrument}-{k}" for c in letters for m in MEASURES for k in (1, 2)]
    which = (place * len(MEASURES) + measure) * 2 + changed
    table = {
        "site": _coded(valley * len(letters) + place, [p + c for p in prefix for c in letters]),
        "measurer": _coded(person, [p + code for p in prefix for code in STAFF]),
        "instrument": _coded(valley * len(codes) + which, [p + c for p in prefix for c in codes]),
        "measure": _coded(measure, [m.name for m in MEASURES]),
        "reading": pd.Categorical.from_codes(text, categories=forms),
        "taken_at": (_START + day).astype("datetime64[s]"),
    }  # fmt: skip
    if keys:
        table["visit_key"] = np.char.add("e", key.astype(str))
    frame = pd.DataFrame(table)
    return frame.iloc[np.argsort(day * 100_000 + person, kind="stable")]


def _coded(codes: Counts, names: list[str]) -> pd.Categorical:
    import pandas as pd

    return pd.Categorical.from_codes(codes, categories=names)


def _counts(
    own: Counts,
    measure: Counts,
    site: Counts,
    day: Counts,
    lively: npt.NDArray[np.float64],
    rng: np.random.Generator,
) -> Counts:
    """What is read, in steps: the nearest mark, with every habit and fault planted."""
    middle, spread, low, high = (
        np.array([getattr(m, what) for m in MEASURES])[measure]
        for what in ("middle", "spread", "low", "high")
    )
    true = middle + spread * rng.normal(size=len(own))
    true = low + np.abs(true - low)  # folded at the ends: a heap there would be a mark
    true = high - np.abs(high - true)
    count = nearest(true)
    chance = rng.random(len(own)) / lively  # a lively day: more readings put on the mark
    for code, name, mark, share in LEANING:
        mine = (own == STAFF.index(code)) & (measure == _index(name)) & (chance < share)
        count[mine] = nearest(true[mine], mark)
    where, name, mark = NEW_SCALE
    coarse = (site == ord(where)) & (measure == _index(name)) & (_START + day >= _CHANGED)
    count[coarse] = nearest(true[coarse], mark)
    where, name, source = CONVERTED
    turned = (site == ord(where)) & (measure == _index(name))
    step = MEASURES[_index(name)].step
    tick = float(convert(source.size, source.unit, step.unit) / step.size)
    count[turned] = nearest(np.floor(true[turned] / tick + 0.5) * tick)
    return count


def _index(name: str) -> int:
    return [m.name for m in MEASURES].index(name)


def _repeated(
    count: Counts, key: Counts, measure: Counts, day: Counts, mine: Flags, rng: np.random.Generator
) -> Counts:
    """The counts, with the reading before of the same key and measure in some of one person's."""
    order = np.lexsort((np.arange(len(count)), day, measure, key))
    again = (key[order][1:] == key[order][:-1]) & (measure[order][1:] == measure[order][:-1])
    chosen = again & mine[order][1:] & (rng.random(len(again)) < 0.2)
    out = count.copy()
    for at in np.flatnonzero(chosen):  # in their order: what was repeated may be repeated again
        out[order[at + 1]] = out[order[at]]
    return out


def _lost(own: Counts, measure: Counts, site: Counts, rng: np.random.Generator) -> Counts:
    """What became of a reading: 0 written, 1 missing, 2 between two marks, 3 ten times as much."""
    at_random = rng.random(len(own))
    where, name, share = UNWELL
    missing = np.where((site == ord(where)) & (measure == _index(name)), share, MISSING)
    code, name, share = ESTIMATES
    off = np.where((own == STAFF.index(code)) & (measure == _index(name)), share, 0.0)
    ends = np.cumsum([missing, off, np.full(len(own), _STRAY)], axis=0)
    return np.where(at_random < ends[-1], 1 + (at_random[None] >= ends).sum(axis=0), 0)


def _written(count: Counts, measure: Counts, lost: Counts) -> tuple[Counts, list[str]]:
    """Each reading as a site writes it: the place of its text in a list of forms."""
    forms: list[str] = []
    place: dict[str, int] = {}
    text = np.empty(len(count), dtype=np.int64)
    for k, m in enumerate(MEASURES):
        for fate in range(4):
            mine = np.flatnonzero((measure == k) & (lost == fate))
            values, back = np.unique(count[mine], return_inverse=True)
            said = [_form(int(v), m.step, fate) for v in values]
            for form in said:
                if form not in place:
                    place[form] = len(forms)
                    forms.append(form)
            text[mine] = np.array([place[form] for form in said], dtype=np.int64)[back]
    return text, forms


def _form(count: int, step: Step, fate: int) -> str:
    """The text of a reading; nothing, half a step more, or ten times as much."""
    if fate == 1:
        return ""
    if fate == 2:
        return as_written(2 * count + 1, Step(step.size / 2, step.unit))
    return as_written(count * 10 if fate == 3 else count, step)


def truth(rows: int = ROWS, seed: int = SEED) -> str:
    """The text of `truth.toml`."""
    lines = [
        "# What was planted in these invented records. They hold no code of a child or caregiver.",
        f"seed = {seed}", f"rows = {rows}", "",
        f'[new]\nmeasurer = "{NEW}"\nreadings = {_FEW}',
    ]  # fmt: skip
    for code, name, mark, share in LEANING:
        called = MEASURES[_index(name)].step.coarse_marks()[mark]
        lines += [
            "", "[[leaning]]", f'measurer = "{code}"', f'measure = "{name}"',
            f'mark = "{called}"', f"share = {share}  # of the readings, more on some days",
        ]  # fmt: skip
    where, name, source = CONVERTED
    lines += ["", "[[converted]]", f'site = "{where}"', f'measure = "{name}"',
              f'source = "{source}"']  # fmt: skip
    where, name, mark = NEW_SCALE
    called = MEASURES[_index(name)].step.coarse_marks()[mark]
    lines += [
        "", "[[new_scale]]", f'site = "{where}"', f'measure = "{name}"',
        f'instrument = "{where}-scale-2"', f'mark = "{called}"', f'from = "{str(_CHANGED)[:7]}"',
    ]  # fmt: skip
    code, name, share = ESTIMATES
    lines += ["", "[[off_step]]", f'measurer = "{code}"', f'measure = "{name}"', f"share = {share}"]
    where, name, share = UNWELL
    lines += ["", "[[missing]]", f'site = "{where}"', f'measure = "{name}"', f"share = {share}"]
    return "\n".join(lines) + "\n"
