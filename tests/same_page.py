"""A notebook that is run in its own folder, beside the same run by the command."""

import re

from anthroqa.reporting.page import notebooks


def by_hand_and_by_command(root, monkeypatch, name, sample, parameter="session_folder"):
    """The bodies of the two pages of a notebook on a sample, without what differs by a run."""
    monkeypatch.chdir(root / "notebooks")
    by_hand = notebooks.execute(root / "notebooks" / f"{name}.ipynb", {})
    by_command = notebooks.run(name, {parameter: str(root / "sample_sessions" / sample)})
    return body(by_hand), body(by_command)


def body(notebook):
    page = notebooks.to_html(notebook, title="t")
    return re.sub(r"</?div[^>]*>|\s+", "", page)
