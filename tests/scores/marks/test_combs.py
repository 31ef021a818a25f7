from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from anthroqa.intake.written.steps import Step, convert
from anthroqa.scores.marks.combs import RISK, _by_chance, _sources, comb, on_comb

# what is written to, what was read to, a usual size and spread in steps of what is written, and
# the share of its marks that are left (0.1 cm / (2.54 cm / 8) = 0.315), worked out by hand
CONVERSIONS = [
    ("1/10 cm", "1/8 in", 750, 80, 0.315),
    ("1 mm", "1/4 in", 1650, 70, 0.157),
    ("1/100 cm", "1/4 in", 16800, 900, 0.0157),
    ("1 cm", "1 in", 165, 18, 0.394),
    ("10 g", "1 oz", 700, 150, 0.353),
    ("1 g", "1/2 oz", 3300, 500, 0.071),
    ("1/10 kg", "1/2 lb", 120, 30, 0.441),
    ("1/20 kg", "1/4 lb", 240, 60, 0.441),
    ("1/8 in", "1 cm", 240, 40, 0.3175),
    ("1 oz", "1/10 kg", 280, 60, 0.283),
    ("1/4 lb", "1/2 kg", 560, 120, 0.227),
    ("1/10 lb", "1/10 kg", 250, 60, 0.454),
    ("1/100 lb", "1 oz", 750, 120, 0.160),
]
# step, usual size, spread, repeat error, half, whole: all in steps
INSTRUMENTS = [
    ("1/10 cm", 750, 80, 3.0, 5, 10),
    ("1 cm", 165, 8, 0.5, 5, 10),
    ("10 g", 700, 150, 2.0, 5, 10),
    ("1/10 kg", 650, 120, 1.0, 5, 10),
    ("1/20 kg", 240, 60, 0.6, 10, 20),
    ("1/8 in", 240, 25, 1.0, 4, 8),
    ("1 oz", 280, 60, 1.0, 8, 16),
    ("1/10 lb", 250, 60, 0.6, 5, 10),
]


def a_step(text):
    size, unit = text.split()
    return Step(Fraction(size), unit)


def nearest(values, mark=1):
    return (mark * np.floor(values / mark + 0.5)).astype(np.int64)


def converted(values, source, step):
    """Values in steps, read to the source and turned into steps as a sheet does."""
    ratio = convert(source.size, source.unit, step.unit) / step.size
    up, down = ratio.numerator, ratio.denominator
    return (2 * nearest(values / float(ratio)) * up + down) // (2 * down)


@pytest.mark.parametrize(("to", "read", "size", "spread", "share"), CONVERSIONS)
def test_converted_readings_are_a_comb_in_every_direction(to, read, size, spread, share):
    rng = np.random.default_rng(20261126)
    step, source = a_step(to), a_step(read)
    found = []
    while len(found) < 200:
        counts = converted(rng.normal(size, spread, 40), source, step)
        if len(np.unique(counts)) >= 20:
            found.append(comb(counts, step, subjects=np.arange(40)))
    # all are recognised; 95 in 100 are what is promised
    assert sum(f is not None for f in found) == 200
    assert sum(f.step == source for f in found) >= 0.95 * 200
    assert found[0].share_of_marks == pytest.approx(share, abs=0.0005)
    assert (found[0].on, found[0].of) == (40, 40)
    assert found[0].chance <= RISK


@pytest.mark.parametrize(("to", "read", "size", "spread", "share"), CONVERSIONS)
def test_a_few_readings_off_the_comb_do_not_hide_it(to, read, size, spread, share):
    rng = np.random.default_rng(20261127)
    step, source = a_step(to), a_step(read)
    named = 0
    for _ in range(200):
        true = rng.normal(size, spread, 60)
        counts = converted(true, source, step)
        counts[:3] = nearest(true[:3])  # 5 in 100 were read from the instrument
        found = comb(counts, step, subjects=np.arange(60))
        named += found is not None and found.on >= 57
    assert named >= 0.95 * 200


@pytest.mark.parametrize("lean", ["none", "halves", "wholes", "even", "halves only", "even only"])
def test_readers_and_leaners_are_not_called_a_comb(lean):
    rng = np.random.default_rng(20261128)
    sessions, called = 400, 0
    subject = np.repeat(np.arange(10), 2)
    for text, size, spread, error, half, whole in INSTRUMENTS:
        step = a_step(text)
        mark = {"halves": half, "wholes": whole, "even": 2, "none": 1}[lean.removesuffix(" only")]
        share = 1.0 if lean.endswith("only") else 0.6
        for _ in range(sessions):
            values = rng.normal(size, spread, 10)[subject] + error * rng.standard_normal(20)
            on_mark = rng.random(20) < share
            counts = np.where(on_mark, nearest(values, mark), nearest(values))
            called += comb(counts, step, subjects=subject) is not None
    n = sessions * len(INSTRUMENTS)
    assert called / n <= RISK + 4 * np.sqrt(RISK * (1 - RISK) / n)


def test_someone_who_reads_only_half_centimetres_leans_and_does_not_convert():
    step = a_step("1/10 cm")
    assert comb(np.arange(600, 900, 5), step) is None
    # 5 cm are nearly 2 in: the marks of 5 cm from 130 to 185 cm are all on the comb of inches
    fives = np.arange(130, 190, 5)
    assert on_comb(fives, Fraction(254, 100)).all()
    assert comb(np.repeat(fives, 4), a_step("1 cm"), subjects=np.arange(4 * len(fives))) is None


def test_a_few_values_show_no_comb_however_many_subjects_have_them():
    step = a_step("1 cm")
    assert comb(np.full(500, 165), step, subjects=np.arange(500)) is None
    # four of the twelve odd marks without a 5 from 157 to 183, all four on the comb: 1 in 495
    assert comb(np.tile([157, 163, 173, 183], 50), step, subjects=np.arange(200)) is None


def test_repeats_of_one_subject_are_no_further_evidence():
    step = a_step("1/10 kg")
    on = converted(np.linspace(90, 151, 11), a_step("1/2 lb"), step)
    counts, subject = np.append(on, [96, 115, 135]), np.arange(14)
    assert on_comb(counts, Fraction(45359237, 20_000_000)).tolist() == [True] * 11 + [False] * 3
    times = np.append(np.full(11, 4), [1, 1, 1])  # 44 of 47 readings are on the comb, 11 of 14 once
    repeated, who = np.repeat(counts, times), np.repeat(subject, times)
    assert comb(repeated, step, subjects=who) is None
    assert comb(repeated, step) is None  # nobody says who was read
    assert comb(repeated, step, subjects=np.arange(47)) is not None  # were they 47 children


@pytest.mark.parametrize(("n", "named"), [(4, False), (6, False), (8, True), (12, True)])
def test_as_many_readings_are_needed_as_make_chance_rare(n, named):
    # 0.315 to the power of n, times four combs that are tried: 0.0039 for 6 and 0.0004 for 8
    step = a_step("1/10 cm")
    counts = converted(np.linspace(601, 902, n), a_step("1/8 in"), step)
    assert len(np.unique(counts)) == n
    assert (comb(counts, step, subjects=np.arange(n)) is not None) == named


def test_combs_that_leave_no_gap_or_hardly_any_are_not_looked_for_or_not_shown():
    rng = np.random.default_rng(20261129)
    true = rng.normal(120, 30, 20)
    quarters = converted(true, a_step("1/4 lb"), a_step("1/10 kg"))
    assert comb(quarters, a_step("1/10 kg"), subjects=np.arange(20)) is None  # 88 % of the marks
    millimetres = converted(rng.normal(240, 25, 60), a_step("1/10 cm"), a_step("1/8 in"))
    assert comb(millimetres, a_step("1/8 in"), subjects=np.arange(60)) is None  # every mark
    assert comb(np.arange(0, 640, 4), a_step("1 oz")) is None  # quarter pounds are a mark
    assert comb(np.array([], dtype=np.int64), a_step("1 oz")) is None
    assert comb(np.arange(60, 75), a_step("1 in")) is None  # nothing coarser is converted to it


def test_what_is_tried_are_steps_that_leave_gaps_and_are_no_marks():
    assert [str(source) for source, _ in _sources(a_step("1 oz"))] == [
        "1 kg", "0.5 kg", "0.1 kg", "0.05 kg", "0.1 lb",
    ]  # fmt: skip
    assert [str(source) for source, _ in _sources(a_step("1/10 kg"))] == [
        "1 lb",
        "1/2 lb",
        "1/4 lb",
    ]
    assert [str(source) for source, _ in _sources(a_step("20 g"))][:2] == ["1 lb", "1/2 lb"]


def test_a_slip_far_away_does_not_hide_a_comb():
    step = a_step("1/10 cm")
    counts = converted(np.linspace(600, 900, 30), a_step("1/8 in"), step)
    counts[0] = 70_000_000_000  # what lies between is not laid out mark by mark
    found = comb(counts, step, subjects=np.arange(30))
    assert str(found.step) == "1/8 in"
    assert found.of == 30


@pytest.mark.parametrize(("to", "read", "size", "spread", "share"), CONVERSIONS)
def test_marks_of_a_comb_agree_with_a_slow_search_in_fractions(to, read, size, spread, share):
    step, source = a_step(to), a_step(read)
    ratio = convert(source.size, source.unit, step.unit) / step.size
    marks = np.arange(max(0, size - 60), size + 60)
    slow = []
    for mark in marks:
        near = [k for k in range(int(mark / ratio) - 1, int(mark / ratio) + 3) if k >= 0]
        slow.append(any(abs(k * ratio - int(mark)) <= Fraction(1, 2) for k in near))
    assert on_comb(marks, ratio).tolist() == slow


def test_chances_agree_with_a_slow_count_of_marks():
    # 0.1 cm from 1/8 in, coarse marks 2, 5 and 10: two kinds of marks, two readings off the comb
    ratio, marks = Fraction(3175, 1000), [2, 5, 10]
    once = np.array([603, 607, 613, 629, 641, 651, 654, 654, 662, 664, 672, 676])
    on = on_comb(once, ratio)
    assert 0 < on.sum() < len(once)
    range_ = np.arange(once.min(), once.max() + 1)
    odd = [x for x in range_ if x % 2 and x % 5]
    even = [x for x in range_ if x % 2 == 0 and x % 5]
    hits_of, no_repeats = np.ones(1), 1.0
    for kind in (odd, even):
        comb_marks = int(on_comb(np.array(kind), ratio).sum())
        mine = [x for x in once if x in kind]
        hit = {x for x in mine if on_comb(np.array([x]), ratio)[0]}
        n = len(mine)
        hits_of = np.convolve(hits_of, stats.binom.pmf(range(n + 1), n, comb_marks / len(kind)))
        no_repeats *= stats.hypergeom.pmf(len(hit), len(kind), comb_marks, len(hit))
    assert len(odd) + len(even) < len(range_)
    slow = max(hits_of[on.sum() :].sum(), no_repeats)
    assert _by_chance(once, ratio, marks, 0.1)[0] == pytest.approx(slow, rel=1e-9)


def test_the_share_of_strays_that_is_let_through_can_be_set():
    step, rng = a_step("1/10 cm"), np.random.default_rng(20261130)
    true = rng.normal(750, 80, 100)
    counts = nearest(true)
    counts[:70] = converted(true[:70], a_step("1/4 in"), step)
    assert comb(counts, step, subjects=np.arange(100)) is None
    found = comb(counts, step, subjects=np.arange(100), strays=0.35)
    assert str(found.step) == "1/4 in"
    assert 70 <= found.on < 90
