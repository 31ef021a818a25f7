"""What the page says is to be watched for."""

from types import SimpleNamespace

import pandas as pd
from reporting.pages import pages, plain

from anthroqa.reporting.session import patterns


def test_patterns_are_told_with_the_step_of_technique(clinics):
    text = pages(clinics)["watch"]
    assert "K7 infant weight +2.6 oz (+2.0 to +3.3) shoes or headwear left on" in text
    assert "everybody adult weight +0.43 lb" in text
    assert "not a finding" in text


def test_a_ratio_has_no_sign_and_no_unit_of_length(outreach):
    assert "M3 length 2.7 times the others' (1.6 to 6.6)" in pages(outreach)["watch"]


def test_nothing_to_watch_is_said(outreach):
    nothing = SimpleNamespace(
        session=outreach, patterns=pd.DataFrame(columns=["measure", "measurer", "pattern"])
    )
    assert "No pattern stands out beyond chance." in plain(patterns.watch(nothing))
