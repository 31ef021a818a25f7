"""Which staff this design cannot tell from their instruments."""

import numpy as np
import pandas as pd
import pytest
from strategies import as_frame, as_session
from tested_instruments import with_known_loads

from anthroqa.notes import notes_of
from anthroqa.notes.scores.instruments import Entangled
from anthroqa.scores.instruments.confounding import COLUMNS, entangled, entangled_rows
from anthroqa.scores.layout.cube import cubes

SHARED, APART, UNNAMED = (notes_of(why) for why in Entangled)

PEOPLE = {p: [[100, 100], [120, 121]] for p in ("LEAD", "A", "B", "C")}


def on(codes, *, loads=(), people=PEOPLE):
    """`codes` is an instrument a person, or one a round."""
    frame = as_frame(people)
    frame["instrument"] = [
        code if isinstance(code, str) else code[turn - 1]
        for code, turn in zip(frame["measurer"].map(codes), frame["round"], strict=True)
    ]
    session = as_session(frame, reference="LEAD")
    session = with_known_loads(session, loads) if loads else session
    return entangled_rows(cubes(session)).set_index("measurer")


def test_everybody_on_the_references_scale_shares_its_error():
    table = on(dict.fromkeys(PEOPLE, "S"))
    assert list(table.reset_index()[COLUMNS].columns) == COLUMNS
    assert table["said"].tolist() == [SHARED] * 3
    assert table["instruments"].tolist() == table["reference_instruments"].tolist() == ["S"] * 3
    assert table["tested"].tolist() == ["no"] * 3
    tested = on(dict.fromkeys(PEOPLE, "S"), loads=[("S", "load", 100, 100)])
    assert tested["said"].tolist() == [SHARED] * 3
    assert tested["tested"].tolist() == ["yes"] * 3


def test_instruments_apart_without_known_loads_or_crossing_are_entangled():
    table = on({"LEAD": "P", "A": "B", "B": "B", "C": "P"})
    assert table["said"].to_dict() == {"A": APART, "B": APART, "C": SHARED}
    assert table.loc["A", "reference_instruments"] == "P"


def test_known_loads_tell_them_apart_only_where_it_knows_both():
    codes = {"LEAD": "P", "A": "B", "B": "B", "C": "D"}
    loads = [("P", "load", 100, 100), ("B", "load", 100, 101)]
    assert on(codes, loads=loads)["said"].to_dict() == {"C": APART}
    off = [("P", "load", 100, 100), ("B", "off_centre", 100, 101, "front")]
    assert on(codes, loads=off)["said"].to_dict() == {"A": APART, "B": APART, "C": APART}


def test_one_person_who_used_both_crosses_them_for_everybody():
    table = on({"LEAD": "P", "A": "B", "B": ("B", "P"), "C": "D"})
    assert table["said"].to_dict() == {"C": APART}


def test_a_chain_of_people_crosses_them_too():
    table = on({"LEAD": "P", "A": "B", "B": ("P", "D"), "C": ("D", "B")})
    assert table.empty


@pytest.mark.parametrize(
    ("of_b", "apart"),
    [
        ([[None, None], [None, None], [100, None], [None, 100]], True),
        ([[None, None], [None, None], [100, 100]], False),
    ],
)  # fmt: skip
def test_crossing_needs_a_subject_that_was_read_on_both(of_b, apart):
    people = {**PEOPLE, "B": of_b}
    table = on({"LEAD": "P", "A": "B", "B": ("B", "P"), "C": "P"}, people=people)
    expected = {"A": APART, "C": SHARED} if apart else {"C": SHARED}
    assert table["said"].to_dict() == expected  # B has no subject in common with the reference


def test_readings_that_name_no_instrument_say_so():
    plain = entangled(as_session(PEOPLE, reference="LEAD"))
    assert [text.notes for text in plain["said"]] == [UNNAMED] * 3
    assert plain["said"].tolist() == ["the readings do not name the instrument"] * 3
    some = on({"LEAD": "P", "A": ("P", ""), "B": "P", "C": "P"})
    assert some["said"].to_dict() == {"A": UNNAMED, "B": SHARED, "C": SHARED}
    assert len({str(why) for why in Entangled}) == 3


def test_without_a_reference_there_is_no_row():
    table = entangled(as_session(PEOPLE))
    assert list(table.columns) == COLUMNS
    assert table.empty


@pytest.mark.parametrize("n", [1, 2])
def test_the_contrast_is_estimable_where_a_slow_rank_says_so(n):
    # the contrast is in the row space if adding it does not raise the rank of the design
    rng = np.random.default_rng(n)
    for _ in range(30):
        codes = {
            p: tuple(rng.choice(["P", "B", "D"], 2)) if rng.random() < 0.4 else
            str(rng.choice(["P", "B", "D"])) for p in PEOPLE
        }  # fmt: skip
        table = on(codes)
        told = set(table.index[table["said"] == APART])
        frame = as_frame(PEOPLE)
        columns = pd.concat(
            [
                pd.get_dummies(frame["subject"]),
                pd.get_dummies(frame["measurer"]),
                pd.get_dummies([
                    c if isinstance(c, str) else c[k - 1]
                    for c, k in zip(frame["measurer"].map(codes), frame["round"], strict=True)
                ], prefix="on"),
            ], axis=1,
        ).astype(float)  # fmt: skip
        rank = np.linalg.matrix_rank(columns.to_numpy())
        for p in set(PEOPLE) - {"LEAD"} - set(table.index[table["said"] == SHARED]):
            contrast = pd.Series(0.0, index=columns.columns)
            contrast[p], contrast["LEAD"] = 1, -1
            taller = np.vstack([columns.to_numpy(), contrast.to_numpy()])
            assert (np.linalg.matrix_rank(taller) > rank) == (p in told), (codes, p)
