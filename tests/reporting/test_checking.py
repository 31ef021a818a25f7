import shutil

from anthroqa.reporting.checking import check, follow


def test_pairs_beyond_the_programs_limit_are_listed_without_any_value(samples):
    listing, attention = check(samples / "outreach_metric")
    assert attention
    assert (
        "Take again: length of subject C4 by M4: rounds 1, 2 are further apart than 0.7 cm."
    ) in listing
    assert "86.1" not in listing  # the reading itself must not be seen


def test_a_sound_folder_lists_what_was_passed_over_and_needs_no_attention(samples):
    listing, attention = check(samples / "clinics_customary_as_typed")
    assert not attention
    assert "readings.csv: rows 1 to 2 above the column names passed over." in listing
    assert "1152 readings by 10 people, read without a problem." in listing
    assert "No limit_pair is set for infant weight" in listing


def test_problems_are_counted(samples, tmp_path):
    folder = tmp_path / "typed"
    shutil.copytree(samples / "clinics_customary_as_typed", folder)
    (folder / "corrections.csv").unlink()
    listing, attention = check(folder)
    assert attention
    assert listing.endswith("8 problems.")


def test_following_looks_again_only_when_a_file_changes(samples, tmp_path, monkeypatch):
    folder = tmp_path / "typed"
    shutil.copytree(samples / "outreach_metric", folder)
    text = (folder / "readings.csv").read_text(encoding="utf-8")
    typo = text.replace("LEAD,C1,length,1,78.1", "LEAD,C1,length,1,x")
    slept = []

    def sleep(seconds):
        slept.append(seconds)
        if len(slept) == 3:
            (folder / "readings.csv").write_text(typo, encoding="utf-8")

    monkeypatch.setattr("anthroqa.reporting.checking.time.sleep", sleep)
    looks = follow(folder, every=0.5)
    first, _ = next(looks)
    second, attention = next(looks)
    assert slept == [0.5, 0.5, 0.5]
    assert "found 'x'" in second
    assert "found 'x'" not in first
    assert attention
