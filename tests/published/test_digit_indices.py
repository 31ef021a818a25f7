"""Published indices of terminal digits on a published vector, and on a constructed one.

MALES: males by single year of age, the sample of the US Census Bureau's population-analysis
spreadsheets (total 2 821 021, strongly heaped). Its values, as documented with a general
demography library: Whipple 2.33873 on 23 to 62 years; Myers 47.46004 for the sum of deviations of
10 to 89 years with first sums over the whole range, 23.62787 for half the sum with equal decades.
"""

import numpy as np
import pytest

from anthroqa.scores.marks.indices import (
    digit_preference_score,
    expected_by_chance,
    index_of_dissimilarity,
    myers_blended_index,
)

MALES = [
    80626, 95823, 104315, 115813, 100796, 105086, 97266, 116328, 75984, 89982,
    95525, 56973, 78767, 65672, 53438, 85014, 47600, 64363, 42195, 42262,
    73221, 30080, 34391, 29072, 20531, 66171, 24029, 44227, 24128, 23599,
    82088, 16454, 22628, 17108, 12531, 57325, 17220, 28425, 16206, 17532,
    65976, 11593, 15828, 13541, 8133, 44696, 11165, 18543, 12614, 12041,
    55798, 9324, 10772, 10453, 6773, 28358, 9916, 13348, 8039, 7583,
    42470, 5288, 5317, 6582, 3361, 17949, 3650, 5873, 3279, 3336,
    27368, 1965, 2495, 2319, 1335, 12022, 1401, 1668, 1360, 1185,
    9167, 424, 568, 462, 282, 6206, 343, 409, 333, 291,
    4137, 133, 169, 157, 89, 2068, 68, 81, 66, 57,
]  # fmt: skip
AGES = np.arange(len(MALES))
# constructed, not published: counts of the digits 0 to 9 of 200 readings
CONSTRUCTED = [58, 10, 14, 12, 9, 47, 11, 13, 15, 11]


def whipple(counts: list[int]) -> float:
    """Five times the share of 25, 30 ... 60 among 23 to 62 years, in hundred.

    No figure of this project: ages are not read from marks. It shows that MALES is typed right.
    """
    return 100 * 5 * sum(counts[25:61:5]) / sum(counts[23:63])


def test_the_census_vector_is_typed_right():
    assert sum(MALES) == 2_821_021
    assert whipple(MALES) == pytest.approx(233.873, abs=0.0005)


def test_myers_index_of_the_census_vector_in_both_conventions():
    def of(convention, *, halved=True):
        return myers_blended_index(
            AGES, MALES, lowest=10, highest=89, convention=convention, halved=halved
        )

    assert of("whole range", halved=False) == pytest.approx(47.46004, abs=0.000005)
    assert of("whole range") == pytest.approx(23.73002, abs=0.000005)
    assert of("equal cycles") == pytest.approx(23.62787, abs=0.000005)


def test_score_and_dissimilarity_of_the_constructed_counts():
    # chi-squared is 136.5: 100 sqrt(136.5 / (200 x 9)); (38 + 27 + 65) / 200 / 2 = 32.5 %
    assert digit_preference_score(CONSTRUCTED) == pytest.approx(27.537853, abs=5e-7)
    assert index_of_dissimilarity(CONSTRUCTED) == pytest.approx(32.5, abs=1e-12)


@pytest.mark.parametrize(
    ("n", "percent"), [(50, 16.6432), (100, 11.8679), (200, 8.4273), (500, 5.3434), (1000, 3.7815)]
)
def test_dissimilarity_that_even_digits_give_by_chance(n, percent):
    # derived by summing the binomial, not published
    assert expected_by_chance(n, 10) == pytest.approx(percent, abs=0.00005)
