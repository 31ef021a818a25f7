"""What is printed: every planned reading has one blank, and nothing is shown of another."""

import re
import shutil
import subprocess
from html.parser import HTMLParser

import pytest

from anthroqa.planning import planned
from anthroqa.planning.plan import plan_of
from anthroqa.reporting.plan.sheets import ruler, sheets_html, sheets_pdf

PLAN = """
title = "North <b>& south"
date = 2027-03-09
reference = "LEAD"
staff = ["K<i>1", "K2"]
subjects = 8
rest_after = 3
other_codes = ["wet"]
[conditions]
stop = ["upset"]
moving = ["mov"]
[measure.infant_weight]
recorded_to = "1 oz"
[measure.held_weight]
recorded_to = "1/4 lb"
tared = true
[measure.length]
recorded_to = "0.1 cm"
"""


class _Sheets(HTMLParser):
    """The sheets of a document: their text, blanks, ticks and subjects."""

    def __init__(self, text):
        super().__init__()
        self.sheets, self.at, self.scripts = [], None, 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        kind = dict(attrs).get("class", "")
        if tag == "section":
            self.at = None
            if kind.startswith("sheet"):
                self.at = {"text": "", "blank": 0, "tick": 0, "subjects": [], "code": "", "rest": 0}
                self.sheets.append(self.at)
        self.scripts += tag == "script"
        self.kind = kind
        if self.at and tag in ("td", "tr") and kind in ("blank", "tick", "rest"):
            self.at[kind] += 1

    def handle_data(self, data):
        if self.at is None:
            return
        self.at["text"] += data
        if self.kind == "subject":
            self.at["subjects"].append(data)
        if self.kind == "code" and not self.at["code"]:
            self.at["code"] = data


def test_every_planned_reading_has_one_blank_on_the_sheet_of_its_code():
    plan = plan_of(PLAN)
    sheets = {s["code"]: s for s in _Sheets(sheets_html(plan)).sheets}
    rows = planned(plan)
    assert list(sheets) == list(dict.fromkeys(rows["sheet"]))
    for code, of in rows.groupby("sheet"):
        tares = of["measure"].isin(plan.tared).sum()  # the caregiver alone has a blank too
        assert sheets[code]["blank"] == len(of) + tares
        assert sheets[code]["subjects"] == of.drop_duplicates("line")["subject"].tolist()
        assert sheets[code]["tick"] == len(plan.codes) * of["line"].nunique()
        assert sheets[code]["rest"] == 2


def test_a_sheet_says_whose_it_is_the_round_the_marks_and_the_cautions():
    for sheet in _Sheets(sheets_html(plan_of(PLAN))).sheets:
        who, number = re.match(r"(.+)-R(\d)$", sheet["code"]).groups()
        text = re.sub(r"\s+", " ", sheet["text"])
        assert who in text
        assert f"round {number}" in text
        for said in ("to 1 oz", "to 1/4 lb", "to 0.1 cm", "both together", "caregiver alone",
                     "stop: upset", "mov", "wet", "Never leave an infant on a scale or a board",
                     "tick upset: it never counts against anybody", "9 March 2027",
                     "Local protocol and licensed practice decide"):  # fmt: skip
            assert said in text
        others = {"K<i>1", "K2", "LEAD"} - {who}
        assert not any(other in text for other in others)


def test_blanks_hold_units_and_no_reading_of_any_round():
    cells = re.findall('<td class="blank">(.*?)</td>', sheets_html(plan_of(PLAN)))
    inside = {re.sub("<[^>]*>", "", cell).strip() for cell in cells}
    assert inside == {"lb  oz", "/4 lb", ".  cm"}


def test_sheets_of_the_second_round_are_in_another_order():
    sheets = {s["code"]: s["subjects"] for s in _Sheets(sheets_html(plan_of(PLAN))).sheets}
    assert sorted(sheets["K2-R1"]) == sorted(sheets["K2-R2"])
    assert sheets["K2-R1"] != sheets["K2-R2"]


def test_the_document_is_whole_by_itself_and_what_people_typed_is_text():
    text = sheets_html(plan_of(PLAN))
    assert _Sheets(text).scripts == 0
    assert not re.search(r"""(?:src|href)=|url\(|@import|https?:""", text)
    assert "default-src 'none'" in text
    assert "North &lt;b&gt;&amp; south" in text
    assert "K&lt;i&gt;1" in text
    assert "<i>1" not in text
    assert text == sheets_html(plan_of(PLAN))


def test_the_trainer_gets_the_running_order_a_list_and_a_ledger():
    text = sheets_html(plan_of(PLAN))
    plan = plan_of(PLAN)
    order = re.findall(r"<tr><td>(\d+)</td><td>(\d:\d\d)</td>(.*?)</tr>", text)
    assert len(order) == 2 * 8
    assert order[0][1] == "0:00"
    for turn, _, cells in order:
        codes = re.findall("<td>(.*?)</td>", cells)
        assert len(set(codes)) == 3, f"turn {turn}: one child with one person"
    assert text.count("<tr><td>LEAD-R1</td>") == 1
    assert "Readings taken again" in text
    assert len(re.findall('class="sheet', text)) == plan.rounds * 3


@pytest.mark.parametrize(
    ("step", "ticks"), [("1 oz", 17), ("1/8 in", 9), ("1/4 lb", 5), ("0.1 kg", 11), ("3 g", 0)]
)
def test_the_ruler_has_the_marks_of_the_step(step, ticks):
    (measure,) = plan_of(
        f'staff=1\nsubjects=6\n[measure.x]\nrecorded_to="{step}"'
    ).measures.values()
    drawn = ruler(measure)
    assert drawn.count("<line") == (ticks + 1 if ticks else 0)


@pytest.mark.parametrize(
    ("step", "whole"),
    [("1 oz", "1 lb"), ("1/2 oz", "1 lb"), ("1/8 in", "1 in"), ("0.05 kg", "1 kg"),
     ("10 g", "100 g")],
)  # fmt: skip
def test_the_ruler_says_where_it_ends(step, whole):
    (measure,) = plan_of(
        f'staff=1\nsubjects=6\n[measure.x]\nrecorded_to="{step}"'
    ).measures.values()
    assert re.findall(">([^<>]+)</text>", ruler(measure)) == ["0", whole]


def pdf_or_skip(text):
    pytest.importorskip("weasyprint", reason="needs WeasyPrint with Pango, outside programs",
                        exc_type=(ImportError, OSError))  # fmt: skip
    return sheets_pdf(text)


@pytest.mark.parametrize(("paper", "size"), [("A4", "A4"), ("Letter", "letter")])
def test_the_pdf_has_the_papers_size_every_code_and_the_same_bytes(tmp_path, paper, size):
    text = sheets_html(plan_of(f'paper = "{paper}"\n{PLAN}'))
    data = pdf_or_skip(text)
    assert data == sheets_pdf(text)
    if not shutil.which("pdftotext"):
        pytest.skip("needs pdftotext, an outside program")
    path = tmp_path / "sheets.pdf"
    path.write_bytes(data)
    run = {"capture_output": True, "text": True, "check": True}
    assert size in subprocess.run(["pdfinfo", path], **run).stdout
    said = subprocess.run(["pdftotext", "-layout", path, "-"], **run).stdout
    assert all(code in said for code in planned(plan_of(PLAN))["sheet"].unique())


def test_without_the_extra_there_is_no_pdf_and_no_error(monkeypatch):
    import builtins

    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name == "weasyprint":
            raise OSError("cannot load library 'libpango'")
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    assert sheets_pdf(sheets_html(plan_of(PLAN))) is None


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_browser_prints_a_page_a_sheet_as_the_pdf_does(tmp_path, paper):
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if not (chromium and shutil.which("pdftotext")):
        pytest.skip("needs Chromium and pdftotext, outside programs")
    text = sheets_html(plan_of(f'paper = "{paper}"\n{PLAN}'))
    source, path = tmp_path / "sheets.html", tmp_path / "printed.pdf"
    source.write_text(text, encoding="utf-8")
    subprocess.run(
        [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={path}", source.as_uri()],
        capture_output=True, check=True, timeout=60,
    )  # fmt: skip
    said = subprocess.run(
        ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
    ).stdout
    codes = planned(plan_of(PLAN))["sheet"].unique()
    pages = said.split("\f")[:-1]
    assert len(pages) == 1 + 1 + len(codes) + 1  # the day, the running order, sheets, ledger
    for page, code in zip(pages[2:-1], codes, strict=True):
        assert code in page
        assert "Written by" in page
