"""The page as a browser sees it, with the network refused. Needs Chromium."""

import json
import os
import re
import shutil
import subprocess

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium, an outside program")
QUIET = [
    "--headless", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--enable-logging=stderr",
]  # fmt: skip


def browse(page, tmp_path, *options):
    """Open a page; its DOM, what the browser logged, and the addresses it asked for."""
    log = tmp_path / "net.json"
    root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    done = subprocess.run(
        [CHROMIUM, *QUIET, *root, f"--user-data-dir={tmp_path / 'profile'}",
         f"--log-net-log={log}", *options, page.as_uri()],
        capture_output=True, text=True, encoding="utf-8", timeout=120, check=True,
    )  # fmt: skip
    asked = re.findall(r'"url":"(https?:[^"]*)"', log.read_text(encoding="utf-8"))
    return done.stdout, done.stderr, asked


def test_hostile_page_asks_for_nothing_runs_nothing_and_logs_nothing(hostile_report, tmp_path):
    dom, log, asked = browse(hostile_report / "session_report.html", tmp_path, "--dump-dom")
    assert "Before you act" in dom
    assert not [url for url in asked if "evil" in url]
    assert "CONSOLE" not in log
    assert "<script" not in dom


def test_the_check_itself_sees_a_script_and_an_address(tmp_path):
    page = tmp_path / "bad.html"
    page.write_text(
        '<p>x<img src="http://evil.example/a.png"><script>console.error("ran")</script>',
        encoding="utf-8",
    )
    _, log, asked = browse(page, tmp_path, "--dump-dom")
    assert [url for url in asked if "evil" in url]
    assert "CONSOLE" in log


def test_page_fits_a_phone_without_scrolling_sideways(clinics_report, tmp_path):
    page = tmp_path / "phone.html"
    inner = json.dumps((clinics_report / "session_report.html").read_text(encoding="utf-8"))
    page.write_text(
        '<iframe id="f" style="width:360px;height:800px;border:0"></iframe><script>'
        f"const f = document.getElementById('f'); f.onload = () => {{"
        "const d = f.contentDocument.documentElement;"
        "document.title = d.scrollWidth + ' ' + f.contentWindow.innerWidth;};"
        f"f.srcdoc = {inner.replace('</', '<' + chr(92) + '/')};</script>",
        encoding="utf-8",
    )
    dom, _, _ = browse(page, tmp_path, "--virtual-time-budget=4000", "--dump-dom")
    wide, screen = map(int, re.search(r"<title>(\d+) (\d+)</title>", dom).groups())
    assert screen == 360
    assert wide <= screen


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs pdftotext, an outside program")
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_no_printed_table_is_split_between_pages(clinics_report, tmp_path, size):
    page = tmp_path / "report.html"
    text = (clinics_report / "session_report.html").read_text(encoding="utf-8")
    sized = text.replace("@page { margin: 15mm; }", f"@page {{ margin: 15mm; size: {size}; }}")
    assert sized != text
    page.write_text(sized, encoding="utf-8")
    pdf = tmp_path / "report.pdf"
    browse(page, tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    text = subprocess.run(
        ["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout
    seen = 0
    for number, sheet in enumerate(text.split("\f"), start=1):
        # nine staff under each head, and the reference where repeat errors are shown
        heads = re.findall(r"^ *Who +Finding +(Repeat|Difference)", sheet, re.M)
        rows = re.findall(r"^ *(?:LEAD|K\d)\u2020? +[\u25cf\u25a0\u25cb\u00d7]\s", sheet, re.M)
        assert len(rows) == sum(10 if head == "Repeat" else 9 for head in heads), f"page {number}"
        seen += len(heads)
    assert seen == 8  # four measures, two questions
