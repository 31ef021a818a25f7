import pytest

import anthroqa
from anthroqa import report

SAMPLES = "sample_sessions"


@pytest.fixture(scope="session")
def samples(request):
    return request.config.rootpath / SAMPLES


@pytest.fixture(scope="session")
def clinics(samples):
    return anthroqa.read_session(samples / "clinics_customary")


@pytest.fixture(scope="session")
def outreach(samples):
    return anthroqa.read_session(samples / "outreach_metric")


@pytest.fixture(scope="session")
def outreach_analysis(outreach):
    return anthroqa.analyse(outreach)


@pytest.fixture(scope="session")
def clinics_report(samples, tmp_path_factory):
    """The report of clinics_customary, made once."""
    out = tmp_path_factory.mktemp("clinics") / "report"
    report(samples / "clinics_customary", out)
    return out


@pytest.fixture(scope="session")
def hostile_session(tmp_path_factory):
    """A session in which everything that a person types is an attack on the page or the CSV."""
    folder = tmp_path_factory.mktemp("hostile") / 'it\'s {{ 7*7 }} "quoted" <b>'
    folder.mkdir()
    folder.joinpath("session.toml").write_text(
        """
title = "</title><script>alert('title')</script><img src=http://evil.example/t.png>"
date = 2026-10-06
reference = '=HYPERLINK("http://evil.example/r")'

["measure"."<b>len</b>_{{7*7}}"]
recorded_to = "0.1 cm"
limit_tem = "0.5 cm"
limit_bias = "0.5 cm"
limit_source = "<img src=x onerror=alert('source')>"
""",
        encoding="utf-8",
    )
    people = [
        '"=HYPERLINK(""http://evil.example/r"")"', "<script>alert(1)</script>", "+1+1", "$x_1$",
        "@SUM(A1)", "\u202e\u0627\u0628", "a&b \u2264 <",
    ]  # fmt: skip
    lines = ["measurer,subject,measure,round,reading,instrument,note,<i>extra</i>"]
    for p, person in enumerate(people):
        for s in range(1, 9):
            for turn in (1, 2):
                gap = 90 if (p, s, turn) == (1, 3, 2) else 0
                reading = (600 + 40 * s + (7 * p + 3 * s + 5 * turn) % 7 + gap) / 10
                subject = f"<img src=http://evil.example/{s}.png>"
                lines.append(
                    f"{person},{subject},<b>len</b>_{{{{7*7}}}},{turn},{reading},"
                    f'"=1+{p}","<script src=""http://evil.example/x.js""></script>",x'
                )
    folder.joinpath("readings.csv").write_text("\n".join(lines), encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def hostile_report(hostile_session, tmp_path_factory):
    out = tmp_path_factory.mktemp("hostile-out") / "report"
    report(hostile_session, out)
    return out
