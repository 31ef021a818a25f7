import json
import re
from html.parser import HTMLParser
from itertools import pairwise

import pandas as pd
import pytest

import anthroqa
from anthroqa import report

FILES = [
    "decisions.csv", "instrument_figures.csv", "mark_findings.csv", "parts.csv", "run.json",
    "scores.csv", "session_report.html", "slips.csv", "variants.csv",
]  # fmt: skip
ADDRESSES = re.compile(
    r"(?:src|href|action|data)\s*=\s*[\"']?\s*(?:https?:|//)|url\(|@import", re.I
)


class Page(HTMLParser):
    """What a browser would find in a page."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.headings, self.images, self.metas, self.words = [], [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "img":
            self.images.append(dict(attrs))
        if tag == "meta":
            self.metas.append(dict(attrs))

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return re.sub(r"\s+", " ", "".join(self.words))


def read(folder):
    return (folder / "session_report.html").read_text(encoding="utf-8")


def test_report_gives_a_page_its_tables_and_the_record(clinics_report):
    assert sorted(p.name for p in clinics_report.iterdir()) == FILES


def test_page_holds_no_script_and_no_address_outside_itself(clinics_report):
    text = read(clinics_report)
    page = Page(text)
    assert "script" not in {tag for tag, _ in page.tags}
    assert not any(name.startswith("on") for _, attrs in page.tags for name in attrs)
    assert not ADDRESSES.search(text)
    (policy,) = [m["content"] for m in page.metas if m.get("http-equiv")]
    assert policy == "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def test_every_image_says_its_result_in_words(clinics_report):
    images = Page(read(clinics_report)).images
    # three questions with a figure, four measures; two measures with odd readings, one person's
    # ruler, an instrument, the parts
    assert len(images) == 17
    assert all(len(i["alt"]) > 40 and i["src"].startswith("data:image/svg+xml") for i in images)
    assert any("over limit: K5 10.16" in i["alt"] for i in images)
    assert any(i["alt"].endswith("K2: on 1/4 in marks 24 of 24, expected 12.") for i in images)
    assert any("K5, subject BP4, round 2, \u221249.50 lb" in i["alt"] for i in images)


def test_headings_are_in_order(clinics_report):
    levels = Page(read(clinics_report)).headings
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_page_opens_with_who_is_over_and_ends_with_cautions_and_record(clinics_report):
    text = Page(read(clinics_report)).text
    order = [
        "In short", "Over a limit: 4 of 76 findings.", "K7, infant length",
        "Instruments: 1 of 4 tested is over", "Marks and second readings:",
        "K2 puts nearly all infant length readings on quarter inches", "Before you act.",
        "Infant weight", "How far this session reaches", "Chance.", "agree with themselves",
        "agree with the reference", "Constant, or growing with size?", "Is it the instrument?",
        "Which readings are odd", "With and without", "Does each person read every mark?",
        "Are second readings independent?", "single reading be from",
        "How does the error of a single reading divide?", "What to watch for", "Notes on the data",
        "Methods and sources", "Published indices of terminal digits", "Cautions", "Run record",
    ]  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_every_finding_on_the_page_is_that_of_the_table(clinics_report, clinics):
    decisions = pd.read_csv(clinics_report / "decisions.csv")
    over = decisions[decisions["state"] == "over limit"]
    text = Page(read(clinics_report)).text
    assert set(over["measurer"]) == {"K3", "K5", "K7", "K8"}
    for row in over.itertuples():
        name = row.measure.replace("_", " ")
        assert re.search(rf"{row.measurer}, {name}, (repeat error|difference from LEAD):", text)
    expected = anthroqa.score(clinics)
    written = pd.read_csv(clinics_report / "scores.csv", keep_default_na=False, na_values=[""])
    pd.testing.assert_series_equal(written["estimate"], expected["estimate"], rtol=1e-15)


def test_same_input_gives_the_same_bytes(clinics_report, samples, tmp_path):
    again = tmp_path / "elsewhere"
    report(samples / "clinics_customary", again)
    for name in FILES:
        assert (again / name).read_bytes() == (clinics_report / name).read_bytes(), name


def test_run_record_names_inputs_versions_and_parameters_but_no_time_and_no_path(
    clinics_report, clinics
):
    text = (clinics_report / "run.json").read_text(encoding="utf-8")
    record = json.loads(text)
    assert record["inputs"] == dict(clinics.files)
    assert record["parameters"] == {"confidence": 0.9, "seed": 0}
    assert {"anthroqa", "python", "numpy", "pandas", "scipy"} <= set(record["versions"])
    assert str(clinics_report.parent) not in text + read(clinics_report)
    page = Page(read(clinics_report)).text
    assert all(digest in page for digest in record["inputs"].values())


def test_hostile_text_is_shown_as_text(hostile_report):
    text = read(hostile_report)
    page = Page(text)
    tags = {tag for tag, _ in page.tags}
    assert tags.isdisjoint({"script", "i", "iframe"})
    assert all(i["src"].startswith("data:image/svg+xml;base64,") for i in page.images)
    for typed in (
        "<script>alert(1)</script>", "<img src=http://evil.example/3.png>", "$x_1$", "+1+1",
        "<img src=x onerror=alert('source')>", "<b>len</b> {{7*7}}", "=1+1", "<i>extra</i>",
        "alert('title')",
    ):  # fmt: skip
        assert typed in page.text, typed
    assert "\u202e" not in text
    assert "\u27e8U+202E\u27e9" in page.text
    title = re.search(r"<title>(.*?)</title>", text, re.DOTALL).group(1)
    assert "<" not in title
    assert "&lt;script&gt;" in title


def test_no_cell_of_a_table_starts_a_formula(hostile_report):
    for name in ("scores.csv", "decisions.csv", "mark_findings.csv"):
        table = pd.read_csv(hostile_report / name, keep_default_na=False, dtype=str)
        people = set(table["measurer"])
        assert {"'+1+1", "'@SUM(A1)", '\'=HYPERLINK("http://evil.example/r")'} <= people
        for column in {"measure", "measurer", "statistic", "unit", "note"} & set(table):
            assert not table[column].str.match(r"[=+\-@\t\r\n]").any(), column


def test_a_failed_run_leaves_the_earlier_report_untouched(clinics_report, tmp_path, samples):
    out = tmp_path / "report"
    out.mkdir()
    (out / "session_report.html").write_text("the earlier one", encoding="utf-8")
    (out / "mine.txt").write_text("keep me", encoding="utf-8")
    broken = tmp_path / "session"
    broken.mkdir()
    toml = (samples / "outreach_metric" / "session.toml").read_text(encoding="utf-8")
    (broken / "session.toml").write_text(toml, encoding="utf-8")
    rows = "measurer,subject,measure,round,reading\nM1,C1,length,1,3/8/2024\nM1,C1,length,0,70\n"
    (broken / "readings.csv").write_text(rows, encoding="utf-8")
    with pytest.raises(anthroqa.SessionError) as caught:
        report(broken, out)
    assert "readings.csv, row 2, column reading: found '3/8/2024': this is a date or a time" in str(
        caught.value
    )
    assert "row 3, column round" in str(caught.value)
    assert sorted(p.name for p in out.iterdir()) == ["mine.txt", "session_report.html"]
    assert (out / "session_report.html").read_text(encoding="utf-8") == "the earlier one"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["report", "session"]


def test_a_later_run_replaces_the_report_and_keeps_other_files(samples, tmp_path):
    out = tmp_path / "report"
    out.mkdir()
    (out / "scores.csv").write_text("old", encoding="utf-8")
    (out / "mine.txt").write_text("keep me", encoding="utf-8")
    report(samples / "outreach_metric", out)
    assert sorted(p.name for p in out.iterdir()) == sorted([*FILES, "mine.txt"])
    assert (out / "scores.csv").read_text(encoding="utf-8").startswith("measure,measurer")


def test_inputs_are_never_changed(samples, tmp_path):
    folder = samples / "outreach_metric"
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    report(folder, tmp_path / "report")
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_the_session_folder_is_refused_as_the_place_of_the_report(samples):
    with pytest.raises(ValueError, match="own folder: give another"):
        report(samples / "outreach_metric", samples / "outreach_metric")


def test_an_unknown_parameter_is_refused_before_anything_runs(samples, tmp_path):
    with pytest.raises(ValueError, match="no parameter confidense; it has session_folder"):
        report(samples / "outreach_metric", tmp_path / "report", confidense=0.9)
    assert not (tmp_path / "report").exists()
