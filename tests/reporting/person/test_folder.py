"""The folder of pages: safe names, all or nothing, and nobody of an earlier run left behind."""

import builtins
import json
import os
import re
import shutil
import subprocess

import pytest

from anthroqa.reporting.page import printed
from anthroqa.reporting.page.html import Html
from anthroqa.reporting.person.folder import feedback, file_names, save

ODD = ["<b>", "a/b", "a_b", "..", "LEAD"]


def test_a_plain_code_is_in_its_name_as_it_is():
    assert file_names(["K4", "M_2-x"]) == {"K4": "feedback_K4", "M_2-x": "feedback_M_2-x"}


@pytest.mark.parametrize(
    "codes",
    [
        ["a/b", "a:b", "a\\b", "a b", "a_b", "a?b", "a\u202eb", "a\nb"], ["..", ".", "...", " "],
        ["sheets", "Sheets"], ["<b>", "&lt;b&gt;", "b"], ["\u0628", "\u0627", "\u00e9", "e\u0301"],
        ["x" * 300, "x" * 301], ["CON", "nul", "-rf", "~"],
    ],
)  # fmt: skip
def test_names_of_odd_codes_are_plain_and_each_another(codes):
    names = file_names(codes)
    assert list(names) == codes
    assert len({name.casefold() for name in names.values()}) == len(codes)
    for name in names.values():
        assert re.fullmatch(r"feedback_[A-Za-z0-9_-]{1,60}", name)
        assert name.casefold() != "feedback_sheets"


def test_a_name_does_not_depend_on_who_else_is_there():
    both = file_names(["a/b", "a:b"])
    assert file_names(["a:b"])["a:b"] == both["a:b"]
    assert both["a/b"] != both["a:b"]


def test_a_code_that_looks_like_the_name_of_another_is_told_apart():
    odd = file_names(["a/b"])["a/b"].removeprefix("feedback_")
    names = file_names([odd, "a/b"])
    assert len(set(names.values())) == 2


def test_nothing_is_written_for_no_folder_and_an_unknown_paper_is_refused(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    record = {"parameters": {"paper": "A4"}}
    save("", "t", {"A": Html("x")}, record)
    assert not list(tmp_path.iterdir())
    with pytest.raises(ValueError, match="paper is A4 or Letter, not 'A3'"):
        save("", "t", {"A": Html("x")}, {"parameters": {"paper": "A3"}})


def test_saved_pages_hold_one_person_each_and_the_record_their_names(tmp_path):
    pages = {"A": Html("<p>one</p>"), "a/b": Html("<p>two</p>")}
    save(tmp_path / "t", "<Title>", pages, {"parameters": {"paper": "A4"}})
    names = json.loads((tmp_path / "t" / "run.json").read_text(encoding="utf-8"))["pages"]
    assert names == file_names(pages)
    texts = {
        c: (tmp_path / "t" / f"{n}.html").read_text(encoding="utf-8") for c, n in names.items()
    }
    assert "<p>one</p>" in texts["A"]
    assert "<p>one</p>" not in texts["a/b"]
    assert "<title>A: &lt;Title&gt;</title>" in texts["A"]
    assert not re.search(r"""<script|(?:src|href)=|url\(|@import|https?:""", texts["A"])
    assert "default-src 'none'" in texts["A"]


@pytest.fixture(scope="module")
def odd_session(tmp_path_factory):
    """A small session of people with odd codes."""
    folder = tmp_path_factory.mktemp("odd") / "session"
    folder.mkdir()
    (folder / "session.toml").write_text(
        'title = "Odd codes"\nreference = "LEAD"\n[measure.length]\nrecorded_to = "0.1 cm"\n'
        'kind = "length"\nlimit_tem = "0.5 cm"\nlimit_bias = "0.5 cm"\n',
        encoding="utf-8",
    )
    lines = ["measurer,subject,measure,round,reading"]
    for i, who in enumerate(ODD):
        for s in range(1, 9):
            for turn in (1, 2):
                reading = (700 + 10 * s + (s * (i + 2) * turn) % 5) / 10
                lines.append(f"{who},S{s},length,{turn},{reading}")
    (folder / "readings.csv").write_text("\n".join(lines), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def made(odd_session, tmp_path_factory):
    """The pages of the small session, made once."""
    out = tmp_path_factory.mktemp("pages") / "out"
    page = feedback(odd_session, out)
    assert page == out / "feedback_sheets.html"
    return out


def names_in(folder, ending="html"):
    return {p.name for p in folder.glob(f"*.{ending}")}


def test_a_run_makes_a_page_a_person_and_one_file_to_print(made, odd_session):
    expected = {f"{name}.html" for name in file_names(ODD).values()} | {"feedback_sheets.html"}
    assert names_in(made) == expected
    assert {p.suffix for p in made.iterdir()} <= {".html", ".pdf", ".json"}
    record = json.loads((made / "run.json").read_text(encoding="utf-8"))
    assert record["parameters"] == {"confidence": 0.9, "seed": 0, "measurer": "", "paper": "A4"}
    assert set(record["outputs"]) == {p.name for p in made.iterdir()} - {"run.json"}
    assert set(record["inputs"]) == {"readings.csv", "session.toml"}
    text = (made / "feedback_sheets.html").read_text(encoding="utf-8")
    assert text.count('<section class="person">') == len(ODD)
    assert "<b></h2>" not in text
    assert str(odd_session) not in text + json.dumps(record)
    alone = (made / f"{file_names(ODD)['<b>']}.html").read_text(encoding="utf-8")
    assert alone.count('<section class="person">') == 1
    assert "LEAD" not in alone


def test_a_second_run_gives_the_same_bytes_and_leaves_no_page_of_the_first(
    odd_session, made, tmp_path
):
    out = tmp_path / "out"
    shutil.copytree(made, out)
    (out / "notes.txt").write_text("mine")
    feedback(odd_session, out, measurer="a/b")
    name = file_names(ODD)["a/b"]
    assert names_in(out) == {f"{name}.html", "feedback_sheets.html"}
    assert (out / f"{name}.html").read_bytes() == (made / f"{name}.html").read_bytes()
    assert (out / "notes.txt").read_text() == "mine"
    assert names_in(out, "pdf") in (set(), {f"{name}.pdf", "feedback_sheets.pdf"})


@pytest.mark.parametrize("name", ["feedback_K9.html", "feedback_LEAD.html", "feedback_K9.pdf"])
def test_a_page_that_no_run_left_stops_everything(odd_session, made, tmp_path, name):
    out = tmp_path / "out"
    shutil.copytree(made, out)
    (out / name).write_text("somebody wrote this")
    before = {p.name: p.read_bytes() for p in out.iterdir()}
    with pytest.raises(ValueError, match=f"not as a run left it in out: {name}. Move it away"):
        feedback(odd_session, out)
    assert {p.name: p.read_bytes() for p in out.iterdir()} == before


def test_what_stops_the_notebook_writes_nothing(samples, odd_session, tmp_path):
    with pytest.raises(ValueError, match="this is a drill"):
        feedback(samples / "marks_drill", tmp_path / "out")
    assert not (tmp_path / "out").exists()
    with pytest.raises(ValueError, match="session's own folder"):
        feedback(odd_session, odd_session)
    with pytest.raises(ValueError, match="has no parameter colour"):
        feedback(odd_session, tmp_path / "out", colour="red")


def text_of(pdf):
    if not shutil.which("pdftotext"):
        pytest.skip("needs pdftotext, an outside program")
    run = {"capture_output": True, "text": True, "check": True}
    return subprocess.run(["pdftotext", "-layout", pdf, "-"], **run).stdout.split("\f")[:-1]


def test_the_pdfs_have_a_page_a_person_and_nobody_else(made):
    pytest.importorskip("weasyprint", reason="needs WeasyPrint with Pango, outside programs",
                        exc_type=(ImportError, OSError))  # fmt: skip
    everybody = text_of(made / "feedback_sheets.pdf")
    assert [page.split()[0] for page in everybody] == ["LEAD", *sorted(set(ODD) - {"LEAD"})]
    for code, name in file_names(ODD).items():
        (page,) = text_of(made / f"{name}.pdf")
        assert page.split()[0] == code


def test_without_the_extra_there_are_pages_and_no_pdf(monkeypatch):
    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name == "weasyprint":
            raise OSError("cannot load library 'libpango'")
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    assert printed.laid_out("<p>x</p>") is None


@pytest.fixture(scope="module")
def clinic_sheets(samples, tmp_path_factory):
    """The pages of clinics_customary, made once: four measures and planted faults."""
    out = tmp_path_factory.mktemp("clinic") / "out"
    feedback(samples / "clinics_customary", out, paper="Letter")
    return out


def test_four_measures_fit_on_one_sheet_of_letter(clinic_sheets):
    pytest.importorskip("weasyprint", reason="needs WeasyPrint with Pango, outside programs",
                        exc_type=(ImportError, OSError))  # fmt: skip
    pages = text_of(clinic_sheets / "feedback_sheets.pdf")
    assert [p.split()[0] for p in pages] == ["LEAD", *(f"K{i}" for i in range(1, 10))]
    info = subprocess.run(
        ["pdfinfo", clinic_sheets / "feedback_K5.pdf"], capture_output=True, text=True, check=True
    ).stdout
    assert re.search(r"Pages:\s+1\n", info)
    assert "letter" in info


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_browser_prints_a_sheet_a_person_and_none_of_the_notes(clinic_sheets, tmp_path, paper):
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if not chromium:
        pytest.skip("needs Chromium, an outside program")
    text = (clinic_sheets / "feedback_sheets.html").read_text(encoding="utf-8")
    source, path = tmp_path / "sheets.html", tmp_path / "printed.pdf"
    sized = text.replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>")
    source.write_text(sized, encoding="utf-8")
    subprocess.run(
        [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={path}", source.as_uri()],
        capture_output=True, check=True, timeout=120, env=dict(os.environ),
    )  # fmt: skip
    pages = text_of(path)
    assert [p.split()[0] for p in pages] == ["LEAD", *(f"K{i}" for i in range(1, 10))]
    assert all("No child is judged by this page." in re.sub(r"\s+", " ", p) for p in pages)
    assert not any("Run record" in p or "Hand them out" in p for p in pages)
