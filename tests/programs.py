"""Programs for tests: laid out by hand, drawn, or written into folders."""

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd

from anthroqa.program.staff.sessions import Program, read_program

QUARTERS = tuple(dt.date(2026, 1 + 3 * k, 15) for k in range(4))
TOML = """\
title = "{title}"
{date}
{more}
{reference}

[measure.length]
recorded_to = "{step}"
limit_tem = "6 mm"
limit_bias = "4 mm"
limit_source = "written for a test"
"""


def write_session(
    place: Path, counts: dict[str, np.ndarray], date: dt.date | None, *, reference: str = "LEAD",
    step: str = "1 mm", more: str = "", instrument: dict[str, str] | None = None,
    loads: str = "", subjects: str = "S",
) -> Path:  # fmt: skip
    """A session folder; `counts` has subjects x rounds of each person."""
    place.mkdir(parents=True)
    place.joinpath("session.toml").write_text(
        TOML.format(
            title=place.name, date=f"date = {date}" if date else "", step=step, more=more,
            reference=f'reference = "{reference}"' if reference else "",
        )
    )  # fmt: skip
    lines = ["measurer,subject,measure,round,reading" + (",instrument" if instrument else "")]
    lines += [
        f"{who},{subjects}{s + 1},length,{k + 1},{n}"
        + (f",{instrument[who]}" if instrument else "")
        for who, own in counts.items() for s, turns in enumerate(own) for k, n in enumerate(turns)
    ]  # fmt: skip
    place.joinpath("readings.csv").write_text("\n".join(lines) + "\n")
    if loads:
        place.joinpath("known_loads.csv").write_text(loads)
    return place


def drawn_counts(
    rng: np.random.Generator, *, staff: int = 7, tem: float | dict = 3.0, bias: dict | None = None,
    subjects: int = 10, rounds: int = 2, reference: bool = True,
) -> dict[str, np.ndarray]:  # fmt: skip
    """Readings of a lead and staff A, B, ... in steps."""
    people = ["LEAD"] * reference + [chr(65 + i) for i in range(staff)]
    true = rng.uniform(500, 900, (subjects, 1))
    spread = tem if isinstance(tem, dict) else {}
    return {
        who: np.rint(
            true + (bias or {}).get(who, 0.0)
            + spread.get(who, 3.0 if isinstance(tem, dict) else tem)
            * rng.standard_normal((subjects, rounds))
        ).astype(int)
        for who in people
    }  # fmt: skip


def write_program(folder: Path, seed: int = 0, *, sessions: int = 4, **drawn) -> Path:
    """A folder of drawn sessions."""
    rng = np.random.default_rng(seed)
    for k in range(sessions):
        own = {n: v[k] if isinstance(v, list) else v for n, v in drawn.items()}
        write_session(folder / f"Q{k + 1}", drawn_counts(rng, **own), QUARTERS[k])
    return folder


def drawn_program(tmp_path: Path, seed: int = 0, **drawn) -> Program:
    """The same, read."""
    return read_program(write_program(tmp_path / "program", seed, **drawn))


def error_rows(
    rng: np.random.Generator, *, people: int = 9, sessions: int = 4, missing: float = 0.2,
    step: float = 0.1, reference: bool = True,
) -> pd.DataFrame:  # fmt: skip
    """A table as `repeat_errors` gives it, drawn, with holes."""
    names = ["LEAD"] * reference + [f"P{i}" for i in range(people)]
    rows = []
    for k in range(sessions):
        for who in names:
            df = float(rng.integers(6, 14))
            if rng.random() < missing:
                continue
            rows.append({
                "session": f"Q{k + 1}", "date": QUARTERS[k], "measure": "length", "measurer": who,
                "statistic": "within_tem", "estimate": 3 * np.sqrt(rng.chisquare(df) / df),
                "lower": np.nan, "upper": np.nan, "unit": "mm", "df": df, "subjects": int(df),
                "note": "", "reference": who == "LEAD", "step": step, "instruments": "",
                "group": "",
            })  # fmt: skip
    return pd.DataFrame(rows)


def difference_rows(
    rng: np.random.Generator, *, people: int = 9, sessions: int = 4, missing: float = 0.2,
    drift: float = 0.0, scatter: float = 2.5, between: float = 0.6, statistic: str = "bias",
) -> pd.DataFrame:  # fmt: skip
    """A table as `differences` gives it, drawn; P0 drifts, each session moves everybody."""
    rows = []
    for k in range(sessions):
        common = 4 * rng.standard_normal()
        for i in range(people):
            if rng.random() < missing:
                continue
            spread = scatter * np.sqrt(rng.chisquare(9) / 9)
            level = i + common + drift * k / (sessions - 1) * (i == 0)
            noise = np.hypot(between, scatter / np.sqrt(10)) * rng.standard_normal()
            rows.append({
                "session": f"Q{k + 1}", "date": QUARTERS[k], "measure": "length",
                "measurer": f"P{i}", "statistic": statistic, "estimate": level + noise,
                "lower": np.nan, "upper": np.nan, "unit": "mm", "df": 9.0, "subjects": 10,
                "note": "", "reference": False, "step": 1.0, "instruments": "", "group": "",
                "spread": spread,
            })  # fmt: skip
    return pd.DataFrame(rows)
