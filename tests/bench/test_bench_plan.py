"""How long does a large workbook take to write and to check, beside the same cells alone?"""

import time

import openpyxl
import pytest
import xlsxwriter

from anthroqa.planning import planned, session_toml, write_workbook
from anthroqa.planning.plan import plan_of
from anthroqa.reporting.check.listing import check

MEASURES = "".join(
    f'[measure.m{i}]\nrecorded_to = "0.1 kg"\nrange = ["2 kg", "20 kg"]\n' for i in range(4)
)
PLAN = f"staff = 24\nsubjects = 20\nhandling_cap = 100\n{MEASURES}"  # x 2 rounds: 3,840 readings


def seconds(work):
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


@pytest.mark.bench
def test_bench_writing_and_checking_a_workbook_of_3840_readings(tmp_path):
    plan = plan_of(PLAN)
    rows = planned(plan)
    assert len(rows) == 3840
    path = tmp_path / "readings.xlsx"
    (tmp_path / "session.toml").write_text(session_toml(plan), encoding="utf-8")
    write_workbook(plan, rows, path)  # once to load what it needs
    writing = min(seconds(lambda: write_workbook(plan, rows, path))[0] for _ in range(2))

    book = openpyxl.load_workbook(path)
    cells = [[c.value for c in row] for row in book["readings"].iter_rows()]
    for name in ("readings", "second_entry"):
        sheet = book[name]
        at = [c.value for c in sheet[1]].index("reading") + 1
        for row in range(2, 2 + len(rows)):
            sheet.cell(row, at).value = f"{7 + row % 9}.{row % 10}"
    book.save(path)

    def bare_write():
        with xlsxwriter.Workbook(str(tmp_path / "bare.xlsx")) as bare:
            for _ in range(2):
                sheet = bare.add_worksheet()
                for r, row in enumerate(cells):
                    sheet.write_row(r, 0, row)

    def bare_read():
        bare = openpyxl.load_workbook(path, read_only=True)
        return [[[c.value for c in row] for row in bare[name].iter_rows()]
                for name in ("readings", "second_entry")]  # fmt: skip

    floor_write = min(seconds(bare_write)[0] for _ in range(2))
    floor_read = min(seconds(bare_read)[0] for _ in range(2))
    checking, (listing, _) = seconds(lambda: check(tmp_path))
    assert "3840 readings by 24 people" in listing
    print(
        f"\nworkbook of 3,840 readings: written in {writing:.2f} s, {writing / floor_write:.1f} x "
        f"the bare cells; checked in {checking:.2f} s, {checking / floor_read:.1f} x reading them"
    )
    assert writing < 3 * floor_write
    assert checking < 4 * floor_read
