"""Published tolerances, band by band."""

import pytest

from anthroqa.decisions.tolerances import tolerance

# NIST Handbook 44, section 2.20, Table 6, maintenance tolerances in divisions; from memory, the
# bands 3 d and 5 d of class III confirmed in public pages (500 lb by 0.05 lb: 3 d at 3,000 d).
HANDBOOK_44 = [
    ("I", 0, 1), ("I", 50_000, 1), ("I", 50_001, 2), ("I", 200_000, 2), ("I", 200_001, 3),
    ("II", 5_000, 1), ("II", 5_001, 2), ("II", 20_000, 2), ("II", 20_001, 3),
    ("III", 0, 1), ("III", 500, 1), ("III", 501, 2), ("III", 2_000, 2), ("III", 2_001, 3),
    ("III", 4_000, 3), ("III", 4_001, 5), ("III", 10_000, 5),
    ("IIII", 50, 1), ("IIII", 51, 2), ("IIII", 200, 2), ("IIII", 201, 3), ("IIII", 400, 3),
    ("IIII", 401, 5), ("IIII", 1_000, 5),
]  # fmt: skip
# UK SI 1995 No. 1907, schedule 2, 4.1 Table 3 and 4.2 (the annex of Directive 90/384/EEC, with
# the bands of OIML R 76-1, Table 6): 0.5, 1 and 1.5 e, in service twice that. The schedule
# prints 20 000 e for the end of the first band of class II, and begins the second at 5 000 e.
OIML_IN_USE = [
    ("I", 50_000, 1), ("I", 50_001, 2), ("I", 200_000, 2), ("I", 200_001, 3),
    ("II", 5_000, 1), ("II", 5_001, 2), ("II", 20_000, 2), ("II", 20_001, 3), ("II", 100_000, 3),
    ("III", 0, 1), ("III", 500, 1), ("III", 501, 2), ("III", 2_000, 2), ("III", 2_001, 3),
    ("III", 10_000, 3),
    ("IIII", 50, 1), ("IIII", 51, 2), ("IIII", 200, 2), ("IIII", 201, 3), ("IIII", 1_000, 3),
]  # fmt: skip


@pytest.mark.parametrize(("accuracy_class", "load", "divisions"), HANDBOOK_44)
def test_handbook_44(accuracy_class, load, divisions):
    found = tolerance(load, accuracy_class, "handbook 44")
    assert found.divisions == divisions
    assert found.source == (f"NIST Handbook 44, 2.20, Table 6, maintenance, class {accuracy_class}")


@pytest.mark.parametrize(("accuracy_class", "load", "divisions"), OIML_IN_USE)
def test_oiml_r76(accuracy_class, load, divisions):
    found = tolerance(load, accuracy_class, "oiml r76")
    assert found.divisions == divisions
    assert found.source.endswith(f"in use, class {accuracy_class}")


@pytest.mark.parametrize(
    ("load", "division", "divisions", "amount"),
    [
        (150, 0.05, 3, 0.15),  # lb; the worked example of the public page
        (100, 0.25, 1, 0.25), (200, 0.25, 2, 0.5),  # lb
        (5_000, 10, 1, 10), (10_000, 10, 2, 20),  # g
    ],
)  # fmt: skip
def test_worked_amounts_of_class_iii(load, division, divisions, amount):
    found = tolerance(load / division, "III", "handbook 44")
    assert found.divisions == divisions
    assert found.divisions * division == pytest.approx(amount)


@pytest.mark.parametrize(("accuracy_class", "end"), [("II", 1e5), ("III", 1e4), ("IIII", 1e3)])
def test_past_the_end_of_the_table_nothing_is_allowed_or_forbidden(accuracy_class, end):
    assert tolerance(end + 1, accuracy_class, "oiml r76").divisions is None


def test_a_load_that_comes_from_a_division_of_floats_stays_in_its_band():
    assert tolerance(500 * (1 + 2e-16), "III", "handbook 44").divisions == 1
