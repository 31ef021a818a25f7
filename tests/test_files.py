import pytest

from anthroqa.files import (
    left_by_last_run,
    read_record,
    sha256,
    sha256_of,
    whole_folder,
    write_record,
)


def fill(out, files, *, fail=False):
    with whole_folder(out) as draft:
        for name, text in files.items():
            (draft / name).write_text(text)
        if fail:
            raise RuntimeError


def test_files_appear_together_in_a_new_folder(tmp_path):
    out = tmp_path / "deep" / "report"
    with whole_folder(out) as draft:
        (draft / "a").write_text("1")
        assert not out.exists()
    assert (out / "a").read_text() == "1"
    assert [p.name for p in out.parent.iterdir()] == ["report"]


def test_nothing_appears_when_the_work_fails(tmp_path):
    out = tmp_path / "report"
    with pytest.raises(RuntimeError):
        fill(out, {"a": "1"}, fail=True)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_the_place_of_a_file_is_moved_aside_as_a_whole(tmp_path):
    out = tmp_path / "report"
    out.mkdir()
    (out / "a").write_text("old a")
    (out / "b").mkdir()  # a folder where a file should go cannot be replaced by one ...
    (out / "b" / "x").write_text("inside")
    fill(out, {"a": "new a", "b": "new b"})
    # ... but it is moved aside as a whole, so the new files are all there
    assert {p.name: p.read_text() for p in out.iterdir()} == {"a": "new a", "b": "new b"}


def test_a_failure_while_replacing_puts_everything_back(tmp_path, monkeypatch):
    out = tmp_path / "report"
    out.mkdir()
    (out / "a").write_text("old a")
    (out / "b").write_text("old b")
    rename = type(out).rename

    def failing(self, target):
        if self.name == "b" and self.read_text() == "new b":
            raise OSError("disk full")
        return rename(self, target)

    monkeypatch.setattr(type(out), "rename", failing)
    with pytest.raises(OSError, match="disk full"):
        fill(out, {"a": "new a", "b": "new b"})
    assert {p.name: p.read_text() for p in out.iterdir()} == {"a": "old a", "b": "old b"}
    assert [p.name for p in tmp_path.iterdir()] == ["report"]


def test_a_file_in_the_way_is_named(tmp_path):
    (tmp_path / "report").write_text("x")
    with (
        pytest.raises(FileExistsError, match="report is a file: give the name of a folder"),
        whole_folder(tmp_path / "report"),
    ):
        pass


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("leads.csv", "mark_findings.csv"), ("kit_figures.csv", "instrument_figures.csv"),
        ("flags.csv", "named.csv"),
    ],
)  # fmt: skip
def test_a_table_of_an_old_name_is_told_of_and_stays(tmp_path, old, new):
    (tmp_path / old).write_text("earlier")
    with pytest.raises(ValueError, match=rf"{old} \(now {new}\)\. Move them out"):
        fill(tmp_path, {"a": "1"})
    assert [p.name for p in tmp_path.iterdir()] == [old]


def test_a_record_is_read_back_and_none_is_empty(tmp_path):
    assert read_record(tmp_path) == left_by_last_run(tmp_path) == {}
    (tmp_path / "a").write_text("1")
    write_record(tmp_path, {"title": "\u00bd", "outputs": {"a": sha256_of(tmp_path / "a")}})
    assert read_record(tmp_path)["title"] == "\u00bd"
    assert left_by_last_run(tmp_path) == {"a": sha256(b"1")}
    (tmp_path / "run.json").write_text("[1]")
    assert read_record(tmp_path) == {}
