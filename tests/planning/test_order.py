"""The order of measuring: Williams (1949) Aust. J. Sci. Res. A 2:149-168, from memory."""

from collections import Counter
from itertools import pairwise, permutations, product

import numpy as np
import pytest

from anthroqa.planning.order import balance, lists, people_met, rotation


def drawn(people, subjects, rounds=2, *, reference=True, seed=0):
    last = people - 1 if reference else None
    rng = np.random.default_rng(seed)
    return rotation(people, subjects, rounds, reference=last, rng=rng)


def as_turns(rows):
    """One round from lists, a person a row."""
    return np.array([np.array(rows).T])


def test_a_published_square_is_even_and_a_cyclic_one_is_not():
    # the square for four treatments as textbooks print it; from memory
    published = np.array([[1, 2, 4, 3], [2, 3, 1, 4], [3, 4, 2, 1], [4, 1, 3, 2]]) - 1
    cyclic = [[0, 1, 2, 3], [1, 2, 3, 0], [2, 3, 0, 1], [3, 0, 1, 2]]
    assert (balance(as_turns(published)).places, balance(as_turns(published)).follows) == (0, 0)
    assert (balance(as_turns(cyclic)).places, balance(as_turns(cyclic)).follows) == (0, 3)
    same = [[0, 1, 2, 3]] * 4
    assert balance(as_turns(same)).places == 4


def slow(rows, members):
    """How evenly members stand at places and after one another: counted one by one."""
    place = Counter((member, at) for row in rows for at, member in enumerate(row))
    follow = Counter(pair for row in rows for pair in pairwise(row))
    places = [place[key] for key in product(range(members), range(len(rows[0])))]
    follows = [follow[pair] for pair in permutations(range(members), 2)]
    return max(places) - min(places), max(follows) - min(follows)


@pytest.mark.parametrize(("people", "subjects"), [(5, 7), (6, 12), (13, 24), (9, 6), (20, 7)])
def test_balance_is_what_counting_one_by_one_gives(people, subjects):
    turns = drawn(people, subjects, 3)
    own = [slow(lists(one).tolist(), subjects) for one in turns]
    met = [slow(people_met(one).tolist(), people) for one in turns]
    orders = [lists(one).tolist() for one in turns]
    between = [
        subjects - 1 - first.index(s) + second.index(s)
        for before, after in pairwise(orders)
        for first, second in zip(before, after, strict=True)
        for s in range(subjects)
    ]
    found = balance(turns)
    assert (found.places, found.follows) == tuple(map(max, zip(*own, strict=True)))
    assert (found.people_places, found.people_follows) == tuple(map(max, zip(*met, strict=True)))
    assert found.between == min(between)
    firsts = [Counter(row[0] for row in people_met(one).tolist()) for one in turns]
    assert found.first_met == tuple(tuple(c[p] for p in range(people)) for c in firsts)


@pytest.mark.parametrize("people", range(3, 25))
def test_every_design_of_3_to_24_people_and_6_to_24_subjects(people):
    for subjects in range(6, 25):
        turns = drawn(people, subjects)
        for one in turns:
            own = lists(one)
            assert own.shape == (people, subjects)
            assert (np.sort(own, axis=1) == np.arange(subjects)).all()  # everyone, once
            for turn in one:
                busy = turn[turn >= 0]
                assert len(set(busy.tolist())) == len(busy)  # one child with one person
        found = balance(turns)
        assert found.places <= 1, (people, subjects)
        assert found.follows <= 1 + subjects % 2, (people, subjects)
        assert found.between >= subjects / 3, (people, subjects)
        first, second = (lists(one) for one in turns)
        assert (first != second).any(axis=1).all(), "everybody has another list in round 2"
        for own in (first, second):
            assert len({tuple(row) for row in own.tolist()}) == people, (people, subjects)
        for before, after in zip(first, second, strict=True):
            near = {frozenset(pair) for pair in pairwise(before.tolist())}
            assert near.isdisjoint(frozenset(pair) for pair in pairwise(after.tolist()))
        if people <= subjects:
            assert turns.shape[1] == subjects  # nobody waits
            for met in found.first_met:
                assert met[-1] <= min(met[:-1])
                assert sum(met) == subjects


def test_subjects_meet_people_evenly_where_the_rows_divide_the_square():
    for people, subjects in ((3, 6), (4, 12), (6, 12), (12, 24), (6, 6), (8, 24)):
        found = balance(drawn(people, subjects))
        assert (found.people_places, found.people_follows) == (0, 0), (people, subjects)


@pytest.mark.parametrize(("people", "subjects", "most"), [(5, 10, 0), (7, 24, 4), (9, 23, 3)])
def test_rows_are_chosen_so_that_subjects_meet_people_more_evenly(people, subjects, most):
    reached = [balance(drawn(people, subjects, seed=seed)).people_places for seed in range(6)]
    assert max(reached) <= most
    rng = np.random.default_rng(0)
    square = lists(drawn(subjects, subjects, 1)[0])
    by_chance = [
        balance(as_turns(rng.permutation(square)[:people])).people_places for _ in range(50)
    ]
    assert np.median(by_chance) > most


def test_the_reference_is_first_more_often_where_nobody_names_it():
    def excess(*, reference):
        return [
            met[-1] - min(met[:-1])
            for people in range(3, 13)
            for met in balance(drawn(people, 13, reference=reference)).first_met
        ]

    assert max(excess(reference=True)) <= 0 < max(excess(reference=False))


@pytest.mark.parametrize("subjects", [*range(6, 13), 24])
def test_up_to_nine_rounds_have_lists_of_their_own_and_others_between(subjects):
    turns = drawn(5, subjects, 9)
    assert balance(turns).between >= subjects / 3
    for person in range(5):
        assert len({lists(one)[person].tobytes() for one in turns}) == 9


def test_a_wave_that_is_late_in_one_round_is_early_in_the_next():
    turns = drawn(12, 6)
    starts = np.argmax(turns >= 0, axis=1)
    assert set(starts[0]) == set(starts[1]) == {0, 6}
    assert (starts[0] != starts[1]).all()


def test_the_people_a_subject_meets_are_read_off_the_turns():
    turns = np.array([[0, 1], [1, -1], [-1, 0]])
    assert people_met(turns).tolist() == [[0, 1], [1, 0]]
    assert lists(np.array([[0, 1], [1, -1], [-1, 0]])).tolist() == [[0, 1], [1, 0]]


@pytest.mark.parametrize(
    ("people", "subjects", "rounds"),
    [(1, 1, 1), (1, 1, 9), (2, 2, 9), (1, 6, 9), (3, 6, 9), (200, 6, 3), (5, 500, 2), (3, 7, 9)],
)
def test_odd_sizes_still_give_everyone_everything_once(people, subjects, rounds):
    turns = drawn(people, subjects, rounds, reference=people > 1)
    assert len(turns) == rounds
    for one in turns:
        assert (np.sort(lists(one), axis=1) == np.arange(subjects)).all()
    if subjects >= 6 and rounds > 1:
        assert balance(turns).between >= subjects / 3


def test_the_order_comes_from_the_seed():
    assert (drawn(5, 12, seed=3) == drawn(5, 12, seed=3)).all()
    assert (drawn(5, 12, seed=3) != drawn(5, 12, seed=4)).any()
