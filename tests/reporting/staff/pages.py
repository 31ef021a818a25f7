"""Programs of small sessions in folders, and every section of their page."""

import re
from copy import copy
from html import unescape

import numpy as np
import pandas as pd

from anthroqa.program import Review, read_program, review_of
from anthroqa.reporting.staff import page


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


def reviewed(*folders, **given) -> Review:
    """The program in these folders with all that its notebook shows."""
    return review_of(read_program(folders, **given))


def with_tables(review: Review, **tables) -> Review:
    """The review with other tables in place of its own."""
    other = copy(review)
    vars(other).update(tables)  # where a table that was worked out already is kept
    return other


def parts_of(review: Review) -> dict:
    """Every section of the page."""
    return {
        "opening": page.opening(review),
        "by session": page.by_session(review),
        "differing": page.differing(review),
        "moderated": page.moderated_beside(review),
        "moved": page.moved(review),
        "reference": page.reference_and_instruments(review),
        "retraining": page.retraining(review),
        "due": page.due_again(review),
        "cannot": page.cannot_show(review),
        "notes": page.notes(review),
    }


def plain(html) -> str:
    """A section without its tags."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html.text)))


def texts_of(*folders, **given) -> dict[str, str]:
    """Every section of the page as plain text, by name."""
    return {name: plain(part) for name, part in parts_of(reviewed(*folders, **given)).items()}
