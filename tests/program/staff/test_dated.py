"""What is drawn between sessions, from what their files say."""

import datetime as dt

import numpy as np
from programs import QUARTERS, drawn_counts, write_session

from anthroqa.notes import Quoted, notes_of
from anthroqa.notes.program.staff import Followed
from anthroqa.program.staff.dated import INSTRUMENT, REFERENCE, RETRAINED, events
from anthroqa.program.staff.sessions import read_program


def test_events_have_a_date_a_person_and_what_changed(tmp_path):
    rng = np.random.default_rng(1)
    for k in range(3):
        counts = drawn_counts(rng, staff=3)
        used = {who: "NEW" if (who, k) == ("A", 2) else "OLD" for who in counts}
        write_session(
            tmp_path / f"p/Q{k}", counts, QUARTERS[k], instrument=used,
            reference="LEAD" if k == 0 else "C",
        )  # fmt: skip
    tmp_path.joinpath("p/retraining.csv").write_text("measurer,date,note\nB,2026-02-01,half a day")
    table = events(read_program(tmp_path / "p")).set_index(["event", "measurer"])
    assert set(table.loc[REFERENCE].index) == {"LEAD", "A", "B"}
    assert table.index.get_level_values("event").value_counts().to_dict() == {
        RETRAINED: 1, INSTRUMENT: 1, REFERENCE: 3,
    }  # fmt: skip
    trained, other = table.loc[(RETRAINED, "B")], table.loc[(INSTRUMENT, "A")]
    assert (trained["date"], trained["note"]) == (
        dt.date(2026, 2, 1), notes_of(Quoted(text="half a day")),
    )  # fmt: skip
    assert other["date"] == QUARTERS[2]
    assert other["note"] == notes_of(Followed(before=("OLD",), after=("NEW",)))
    assert str(table.loc[(REFERENCE, "A"), "note"]) == "LEAD, then C"
