"""Odd programs have a page too: few people, few readings, gaps, equal readings, one day for all."""

import re
import warnings

import numpy as np
import pytest
from reporting.staff.pages import drawn, parts_of, plain, reviewed, write_session

LIMITS = 'limit_tem = "0.5 cm"\nlimit_bias = "0.5 cm"'
ALL = ["LEAD", "A", "B", "C"]
EQUAL = [(who, f"S{s}", turn, f"{70 + s}.0") for who in ALL for s in range(8) for turn in (1, 2)]


def sessions(people, subjects, n=3, **given):
    """Readings of `n` sessions; `people` may be a list for each."""
    each = people if isinstance(people[0], list) else [people] * n
    return [drawn(each[k], subjects, seed=k, **given) for k in range(n)]


def gaps(seed):
    """Sessions of whoever came, of some subjects, now and then one reading only."""
    rng = np.random.default_rng(seed)
    out = []
    for k in range(int(rng.integers(1, 5))):
        people = [who for who in [*ALL, "D", "E"] if rng.random() < 0.7] or ["A"]
        rows = drawn(people, int(rng.integers(1, 7)), seed=k, tem=rng.choice([0.01, 0.3]))
        kept = [row for row in rows if rng.random() < 0.8] or rows[:1]
        out.append(kept)
    return out


ODD = {
    "one person": (sessions(["A"], 6), None),
    "the reference alone": (sessions(["LEAD"], 6), "LEAD"),
    "two people, two sessions": (sessions(["LEAD", "A"], 6, n=2), "LEAD"),
    "one round": (sessions(ALL, 6, rounds=1), "LEAD"),
    "one subject": (sessions(ALL, 1), "LEAD"),
    "nobody twice": (sessions([["LEAD", "A"], ["LEAD", "B"], ["LEAD", "C"]], 6), "LEAD"),
    "every repeat is equal": ([EQUAL, [(*row[:3], f"{float(row[3]) + 1:.1f}") for row in EQUAL]],
                              "LEAD"),
    "behind the rounding": (sessions(ALL, 6, tem=0.02), "LEAD"),
    **{f"gaps {seed}": (gaps(seed), "LEAD" if seed % 2 else None) for seed in range(4)},
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_an_odd_program_has_every_section(name, tmp_path):
    each, reference = ODD[name]
    for k, rows in enumerate(each):
        there = reference if reference in {row[0] for row in rows} else None
        write_session(
            tmp_path / f"s{k}", f"2026-{1 + k:02d}-10", rows, reference=there,
            more=LIMITS if k % 2 else "",
        )  # fmt: skip
    (tmp_path / "retraining.csv").write_text("measurer,date\nA,2026-01-20\nLEAD,2026-02-20\n")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        parts = parts_of(reviewed(tmp_path))
    for section, part in parts.items():
        text = plain(part)
        assert text.strip(), section
        assert not re.search(r"\bnan\b|\binf\b|NaT|None", text), (section, text)


def test_a_day_that_two_sessions_share_has_a_page(tmp_path):
    for k in range(2):
        write_session(tmp_path / f"s{k}", "2026-03-10", drawn(ALL, 6, seed=k), more=LIMITS)
    texts = {name: plain(part) for name, part in parts_of(reviewed(tmp_path)).items()}
    assert "on 10 March 2026" in texts["opening"]
    assert "Who s0 s1" in texts["by session"]  # headed by name where dates are alike
