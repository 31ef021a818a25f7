"""Every problem of routine records says what is wrong and what to do, in the words of its parts."""

from fractions import Fraction

import pytest

from anthroqa.intake.written.steps import Step
from anthroqa.notes import Note, registered, said_apart
from anthroqa.notes.program import routine_problems as k

EIGHTH = Step(Fraction(1, 8), "in")
MOSTLY = {"measure": "length", "off": 1200, "readings": 2000, "step": EIGHTH}
TABLES = tuple(f"t{i}" for i in range(22))


def test_every_kind_has_words():
    kinds = [kind for kind in vars(k).values() if isinstance(kind, type) and kind is not Note]
    for kind in (kind for kind in kinds if issubclass(kind, Note)):
        for member in getattr(kind, "__members__", {"": kind}).values():
            assert member in registered()


@pytest.mark.parametrize(
    ("code", "problem", "remedy"),
    [
        (k.Unreachable(why=k.NoAnswer(error="OperationalError", said="refused")),
         "the database cannot be reached (OperationalError: refused)", "Is it running, is"),
        (k.WhichTable(tables=TABLES), "which table", "t18, t19 ...."),
        (k.NoTable(table="t", near="t1", tables=()), "there is no table 't'",
         "Did you mean 't1'? There are none."),
        (k.NoStep(measure="", rows=1200, near=None), "1,200 rows have no measure, which has no",
         "--recorded-to MEASURE=STEP"),
        (k.NotReadings(measure="length", readings=1, step=EIGHTH), "1 reading of length cannot",
         "on a display of 1/8 in, such as"),
        (k.MostlyOff(**MOSTLY, likely=None), "1,200 of 2,000 readings of length are off the step "
         "1/8 in", "Is --recorded-to length the step"),
        (k.MostlyOff(**MOSTLY, likely=Step(Fraction(1, 4), "in")), "off the step 1/8 in",
         "It looks like a step of 1/4 in. Is"),
        (k.MostlyOff(**MOSTLY, likely=k.LooksLike.EIGHTHS_IN_TWO_DECIMALS), "off the step",
         "It looks like eighths that were kept with two decimals"),
        (k.LikeNames(codes=2), "2 codes look like a person's name", "Give staff codes"),
        (k.MoreRows(rows=5, problem=k.InCounts.NO_STEP), "5 more rows have the same problem",
         "Write an amount and its unit"),
        (k.AsRecorded(problem="3 {odd} rows", remedy="Look."), "3 {odd} rows", "Look."),
    ],
)  # fmt: skip
def test_parts_are_said(code, problem, remedy):
    what, then = said_apart(code)
    assert problem in what
    assert remedy in then
