"""Programs of small sessions in folders, and every section of their page."""

import re
from dataclasses import dataclass
from html import unescape

import numpy as np
import pandas as pd

from anthroqa.program.staff.drift import drifts, smoothed
from anthroqa.program.staff.funnel_limits import funnel
from anthroqa.program.staff.instruments import instrument_drifts
from anthroqa.program.staff.moderation import moderated
from anthroqa.program.staff.naming import named
from anthroqa.program.staff.next_session import due
from anthroqa.program.staff.over_time import differences, history, repeat_errors
from anthroqa.program.staff.retraining import retrained
from anthroqa.program.staff.sessions import Program, read_program
from anthroqa.reporting.staff import changes, people
from anthroqa.reporting.staff.dated import events
from anthroqa.reporting.staff.in_short import opening


def write_session(folder, date, readings, *, reference="LEAD", step="0.1 cm", more="", checks=None):
    """A session folder of one measure: rows of measurer, subject, round, reading, instrument."""
    folder.mkdir(parents=True)
    settings = [f'title = "{folder.name}"', 'exercise = "session"']
    settings += [f"date = {date}"] if date else []
    settings += [f'reference = "{reference}"'] if reference else []
    settings += ["[measure.length]", f'recorded_to = "{step}"', more]
    folder.joinpath("session.toml").write_text("\n".join(settings) + "\n", encoding="utf-8")
    columns = ["measurer", "subject", "round", "reading", "instrument"]
    table = pd.DataFrame(readings, columns=columns[: len(readings[0])])
    table.assign(measure="length").to_csv(folder / "readings.csv", index=False)
    if checks:
        folder.joinpath("known_loads.csv").write_text(checks, encoding="utf-8")


def drawn(people, subjects, *, seed, rounds=2, tem=0.3, bias=(), of="S"):
    """Readings in cm of everybody on every subject; `bias` in cm by person."""
    rng = np.random.default_rng(seed)
    true = rng.uniform(60, 90, subjects)
    bias, rows = dict(bias), []
    for who in people:
        for s in range(subjects):
            for turn in range(1, rounds + 1):
                value = true[s] + bias.get(who, 0.0) + tem * rng.normal()
                rows.append((who, f"{of}{s + 1}", turn, f"{value:.1f}"))
    return rows


@dataclass(frozen=True)
class Tables:
    """A program and all its tables."""

    program: Program
    history: pd.DataFrame
    smoothed: pd.DataFrame
    events: pd.DataFrame
    funnel: pd.DataFrame
    drifts: pd.DataFrame
    named: pd.DataFrame
    moderated: pd.DataFrame
    retrained: pd.DataFrame
    checks: pd.DataFrame
    due: pd.DataFrame


def tables_of(*folders, **given) -> Tables:
    """Everything that the notebook computes."""
    program = read_program(folders, **given)
    figures = history(program, confidence=0.9, seed=0)
    errors, apart = repeat_errors(figures), differences(figures)
    round_, moved, drawn_in = funnel(errors), drifts(errors, apart), moderated(errors)
    return Tables(
        program=program, history=figures, smoothed=smoothed(errors, apart),
        events=events(program), funnel=round_, drifts=moved, named=named(round_, moved),
        moderated=drawn_in, retrained=retrained(program, errors, apart),
        checks=instrument_drifts(program), due=due(program, figures, drawn_in, months=12),
    )  # fmt: skip


def parts_of(t: Tables) -> dict:
    """Every section of the page."""
    return {
        "opening": opening(t.program, t.named, t.funnel, t.drifts, t.checks, t.retrained, t.due),
        "by session": people.by_session(t.program, t.smoothed, t.events, t.named),
        "differing": people.differing(t.program, t.funnel, t.named),
        "moderated": people.moderated_beside(t.program, t.moderated),
        "moved": changes.moved(t.program, t.drifts, t.named),
        "reference": changes.reference_and_instruments(
            t.program, t.drifts, t.checks, t.events
        ),
        "retraining": changes.retraining(t.program, t.retrained),
        "due": changes.due_again(t.program, t.due, t.named),
        "cannot": people.cannot_show(t.program, t.funnel, t.drifts),
        "notes": people.notes(t.program),
    }  # fmt: skip


def plain(html) -> str:
    """A section without its tags."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html.text)))


def texts_of(*folders, **given) -> dict[str, str]:
    """Every section of the page as plain text, by name."""
    return {name: plain(part) for name, part in parts_of(tables_of(*folders, **given)).items()}
