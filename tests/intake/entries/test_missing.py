"""Why a reading is missing: codes inside, text for people."""

import pandas as pd
from folders import HEADER, TOML, write_session

from anthroqa import read_session
from anthroqa.intake.entries.missing import reasons
from anthroqa.notes import notes_of
from anthroqa.notes.intake.session import Condition, Missing, SetAside, StoppedOut

STOP = TOML + '[conditions]\nstop = ["upset"]\n'
ROWS = [
    "A,C1,mass,1,7.3,", "A,C1,mass,2,,left", "A,C2,mass,1,NA,", "A,C2,mass,2,7.4,Upset",
    "A,C3,mass,1,7.5,",
]  # fmt: skip


def test_every_reason_has_its_code_and_its_words(tmp_path):
    folder = write_session(
        tmp_path, ROWS, header=HEADER + ",condition", toml=STOP,
        corrections=["A,C3,mass,1,NA,the scale fell,RT"],
    )  # fmt: skip
    missing = read_session(folder).missing
    assert missing["why"].tolist() == [
        "left", "empty", "Upset: its reading is set aside", "set aside: the scale fell",
    ]  # fmt: skip
    assert reasons(missing).tolist() == [
        notes_of(Condition(code="left")), notes_of(Missing.EMPTY),
        notes_of(StoppedOut(code="Upset")), notes_of(SetAside(reason="the scale fell")),
    ]  # fmt: skip


def test_a_bare_text_is_the_code_of_a_condition():
    (why,) = reasons(pd.DataFrame({"why": ["empty"]}))
    assert why == notes_of(Condition(code="empty"))


def test_without_a_missing_reading_there_is_no_reason(tmp_path):
    assert (
        reasons(read_session(write_session(tmp_path, ["A,C1,mass,1,7.3"])).missing).tolist() == []
    )
