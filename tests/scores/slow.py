"""Every figure of the score table again: slowly, one reading at a time, in fractions.

Written from the definitions, for comparison with the fast code; checked itself on published
numbers in `test_slow.py`. A session is a mapping (person, subject, round) -> reading in the
measure's unit, an exact fraction. A figure is
`(estimate, lower, upper, subjects, readings, df, p_value)`; None is blank.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

import numpy as np
import pandas as pd
from scipy import stats

import anthroqa

Reading = dict[tuple[str, str, int], Fraction]
Figure = tuple[
    float | None, float | None, float | None, int, int, float | None, float | None
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Case:
    """First readings of one measure, and who is who."""

    x: Reading
    reference: str | None
    group: dict[str, str] | None  # of each subject, where groups are given
    confidence: float
    step: Fraction = Fraction(1)

    @property
    def people(self) -> list[str]:
        return sorted({p for p, _, _ in self.x}, key=lambda p: (p != self.reference, p))

    @property
    def staff(self) -> list[str]:
        return [p for p in self.people if p != self.reference]

    @property
    def subjects(self) -> list[str]:
        return sorted({s for _, s, _ in self.x})

    @property
    def rounds(self) -> list[int]:
        return sorted({k for _, _, k in self.x})

    def of(self, person: str, subject: str) -> dict[int, Fraction]:
        """One person's readings of one subject, by round."""
        return {k: v for (p, s, k), v in self.x.items() if (p, s) == (person, subject)}


def case_of(session: anthroqa.Session, confidence: float) -> Case:
    """The one measure of a session."""
    (measure,) = session.measures.values()
    x, group = {}, {}
    for row in session.readings.to_dict("records"):
        group[row["subject"]] = row.get("group")
        if pd.isna(row.get("retake")):
            x[row["measurer"], row["subject"], row["round"]] = row["count"] * measure.step.size
    given = group if "group" in session.readings else None
    return Case(
        x=x, reference=session.reference, group=given, confidence=confidence,
        step=measure.step.size,
    )  # fmt: skip


def mean(values: Iterable[Fraction]) -> Fraction:
    values = list(values)
    return Fraction(sum(values)) / len(values)


def squares(values: Iterable[Fraction]) -> Fraction:
    values = list(values)
    return sum(((v - mean(values)) ** 2 for v in values), Fraction(0))


def variance(values: Iterable[Fraction]) -> Fraction | None:
    """With n - 1: one mean is taken out."""
    values = list(values)
    return squares(values) / (len(values) - 1) if len(values) > 1 else None


def root(value: Fraction | None) -> float | None:
    return None if value is None else sqrt(value)


def spread_interval(case: Case, estimate: float | None, df: int):
    if not estimate:
        return None, None
    tail = (1 - case.confidence) / 2
    return (
        estimate * sqrt(df / stats.chi2.ppf(1 - tail, df)),
        estimate * sqrt(df / stats.chi2.ppf(tail, df)),
    )


def mean_figure(case: Case, differences: list[Fraction], readings: int) -> Figure:
    """Mean of one difference a subject with its t interval and two-sided p-value."""
    n = len(differences)
    if not n:
        return None, None, None, 0, readings, None, None
    centre, var = mean(differences), variance(differences)
    if not var:
        return float(centre), None, None, n, readings, n - 1, None
    error = sqrt(var / n)
    half = stats.t.ppf((1 + case.confidence) / 2, n - 1) * error
    p_value = 2 * stats.t.sf(abs(float(centre)) / error, n - 1)
    return float(centre), float(centre) - half, float(centre) + half, n, readings, n - 1, p_value


def read_again(case: Case, person: str) -> dict[str, dict[int, Fraction]]:
    """Subjects that a person read twice or more."""
    cells = {s: case.of(person, s) for s in case.subjects}
    return {s: cell for s, cell in cells.items() if len(cell) >= 2}


def repeat_variance(cells: dict[str, dict[int, Fraction]]) -> Fraction | None:
    df = sum(len(cell) - 1 for cell in cells.values())
    return sum(squares(cell.values()) for cell in cells.values()) / Fraction(df) if df else None


def size_of(cells: dict[str, dict[int, Fraction]]) -> tuple[int, int, int]:
    """Subjects, readings and degrees of freedom: one mean a subject is taken out."""
    n = sum(len(cell) for cell in cells.values())
    return len(cells), n, n - len(cells)


def within_tem(case: Case, person: str) -> Figure:
    cells = read_again(case, person)
    subjects, readings, df = size_of(cells)
    estimate = root(repeat_variance(cells))
    return estimate, *spread_interval(case, estimate, df), subjects, readings, df, None


def within_tem_percent(case: Case, person: str) -> Figure:
    estimate, lower, upper, *size, _ = within_tem(case, person)
    if estimate is None:
        return None, None, None, *size, None
    level = mean(v for cell in read_again(case, person).values() for v in cell.values())
    parts = (None if v is None else 100 * v / float(level) for v in (estimate, lower, upper))
    return *parts, *size, None


def reliability(case: Case, person: str) -> Figure:
    cells = read_again(case, person)
    every = variance(v for cell in cells.values() for v in cell.values())
    estimate = float(1 - repeat_variance(cells) / every) if every else None
    return estimate, None, None, *size_of(cells), None


def shift_of_others(case: Case, person: str, subject: str, k: int) -> Fraction | None:
    """Mean change from round 1 to round K by the other staff on one subject."""
    changes = [
        case.x[p, subject, k] - case.x[p, subject, 1]
        for p in case.staff
        if p != person and (p, subject, k) in case.x and (p, subject, 1) in case.x
    ]
    return mean(changes) if changes else None


def weights_of_shift(case: Case, person: str, k: int) -> dict[tuple[str, str, int], Fraction]:
    """What each reading of the others counts for in the shift of a round taken from a person."""
    cells = read_again(case, person)
    by = {
        s: [p for p in case.staff if p != person and {1, k} <= set(case.of(p, s))]
        for s in cells if {1, k} <= set(cells[s])
    }  # fmt: skip
    by = {s: others for s, others in by.items() if others}
    return {
        (p, s, turn): Fraction(sign, len(by) * len(others))
        for s, others in by.items() for p in others for turn, sign in ((k, 1), (1, -1))
    }  # fmt: skip


def about_own_shifts(case: Case, person: str) -> tuple[float, int]:
    """Squares of a person about subject means and mean shifts of their own, and what df is left."""
    cells = read_again(case, person)
    rows = [(s, k) for s, cell in cells.items() for k in cell]
    if not rows:
        return 0.0, 0
    design = np.array([
        [float(s == t) for t in cells] + [float(k == j) for j in case.rounds] for s, k in rows
    ])  # fmt: skip
    low = min(min(cell.values()) for cell in cells.values())
    y = np.array([float(cells[s][k] - low) for s, k in rows])
    best, _, rank, _ = np.linalg.lstsq(design, y)
    return float(((y - design @ best) ** 2).sum()), len(rows) - int(rank)


def repeat_variances(case: Case) -> dict[str, float]:
    """Of each person about their own shifts; where that is unknown the mean of the others."""
    about = {p: about_own_shifts(case, p) for p in case.people}
    nothing = 1e-9 * float(case.step) ** 2  # these squares are no fractions
    known = {p: (left > nothing) * left / df for p, (left, df) in about.items() if df}
    return {p: known.get(p, sum(known.values()) / max(len(known), 1)) for p in about}


def within_tem_less_shift(case: Case, person: str) -> Figure:
    """A round's shift is the mean over the subjects that the person read then and in round 1.

    What its own error adds to the squares is counted reading by reading: each weighs as much
    in a subject's distances from its mean as it weighs in the shifts.
    """
    cells = read_again(case, person)
    weights = {k: weights_of_shift(case, person, k) for k in case.rounds if k > 1}
    shift = {1: Fraction(0)} | {
        k: sum((w * case.x[at] for at, w in weight.items()), Fraction(0))
        for k, weight in weights.items() if weight
    }  # fmt: skip
    needed = {k for cell in cells.values() for k in cell}
    subjects, readings, df = size_of(cells)
    if not cells or 1 not in case.rounds or not needed <= set(shift):
        return None, None, None, subjects, readings, df, None
    variance = repeat_variances(case)
    added = sum(
        variance[at[0]] * float(squares(weights.get(k, {}).get(at, Fraction(0)) for k in cell))
        for cell in cells.values() for at in case.x
    )  # fmt: skip
    less = {s: {k: v - shift[k] for k, v in cell.items()} for s, cell in cells.items()}
    left = float(repeat_variance(less) * df)
    nothing = 1e-9 * float(case.step) ** 2  # these squares are no fractions
    own, own_df = about_own_shifts(case, person)
    if not own_df and nothing < left <= added:
        return None, None, None, subjects, readings, df, None
    usual = variance[person] * (df - own_df)  # what shifts of one's own take out by chance
    least = own - min(added, usual**2 / added) if added else own
    left = max(left - added, least)
    estimate = 0.0 if left < nothing else sqrt(left / df)
    share = 1 if added > usual else added / usual if usual else 0
    varies = df**2 / (own_df + (df - own_df) * (1 + share) ** 2)
    return estimate, *spread_interval(case, estimate, varies), subjects, readings, varies, None


def own_round_shift(case: Case, person: str, k: int) -> Figure:
    differences, readings = [], 0
    for s in case.subjects:
        own, others = case.of(person, s), shift_of_others(case, person, s, k)
        if {1, k} <= set(own) and others is not None:
            differences.append(own[k] - own[1] - others)
            readings += 2 + 2 * sum(
                p != person and {1, k} <= set(case.of(p, s)) for p in case.staff
            )
    return mean_figure(case, differences, readings)


def common_rounds(case: Case, person: str) -> dict[str, list[int]]:
    """For each subject in common with the reference, the rounds in which both read it."""
    if case.reference not in case.people:
        return {}
    both = {s: sorted(set(case.of(person, s)) & set(case.of(case.reference, s)))
            for s in case.subjects}  # fmt: skip
    return {s: rounds for s, rounds in both.items() if rounds}


def from_reference(case: Case, person: str) -> list[Fraction]:
    return [
        mean(case.x[person, s, k] - case.x[case.reference, s, k] for k in rounds)
        for s, rounds in common_rounds(case, person).items()
    ]


def bias(case: Case, person: str) -> Figure:
    readings = 2 * sum(map(len, common_rounds(case, person).values()))
    return mean_figure(case, from_reference(case, person), readings)


def agreement(case: Case, person: str, sign: int) -> Figure:
    """Limits of single readings; a limit's standard error by the delta method, t on n - 1."""
    centre, *_, n, readings, df, _ = bias(case, person)
    of_means = variance(from_reference(case, person))
    if of_means is None:
        return None, None, None, n, readings, df, None
    common = common_rounds(case, person)
    part = 1 - mean(Fraction(1, len(rounds)) for rounds in common.values())
    parts = [(of_means, n - 1)]
    for who in (person, case.reference):
        cells = read_again(case, who)
        if part:
            parts.append((part * repeat_variance(cells), size_of(cells)[2]))
    single = sum(v for v, _ in parts)
    limit = float(centre) + sign * 1.96 * sqrt(single)
    if not single:
        return limit, None, None, n, readings, df, None
    of_variance = sum(2 * v**2 / d for v, d in parts)
    error = sqrt(of_means / n + Fraction("1.96") ** 2 * of_variance / (4 * single))
    half = stats.t.ppf((1 + case.confidence) / 2, df) * error
    return limit, limit - half, limit + half, n, readings, df, None


def bias_from_others(case: Case, person: str) -> Figure:
    """On each subject the mean over the rounds in which two other staff or more read it too."""
    differences, readings = [], 0
    for s in case.subjects:
        apart = []
        for k, own in case.of(person, s).items():
            others = [case.x[p, s, k] for p in case.staff if p != person and (p, s, k) in case.x]
            if len(others) >= 2:
                apart.append(own - mean(others))
                readings += 1 + len(others)
        if apart:
            differences.append(mean(apart))
    return mean_figure(case, differences, readings)


def rms_error(case: Case, person: str) -> Figure:
    centre, *_, n, readings, df, _ = bias(case, person)
    tem = within_tem(case, person)[0]
    estimate = None if centre is None or tem is None else sqrt(centre**2 + tem**2)
    return estimate, None, None, n, readings, df, None


def groups(case: Case) -> list[set[str]]:
    """Subjects of each group: as given, or tied by staff (not the reference) who read them."""
    if case.group is not None:
        return [{s for s in case.subjects if case.group[s] == g} for g in set(case.group.values())]
    sets = [{s} for s in case.subjects]
    for person in case.staff:
        read = {s for s in case.subjects if case.of(person, s)}
        tied = [one for one in sets if one & read]
        sets = [one for one in sets if not one & read] + ([set().union(*tied)] if tied else [])
    return sets


def _enough(case: Case, group: set[str]) -> list[str]:
    """Staff who measured half of their group's subjects or more, in whatever round."""
    done = {p: {s for s in group if case.of(p, s)} for p in case.staff}
    subjects = set().union(*done.values())
    return [p for p in case.staff if done[p] and 2 * len(done[p]) >= len(subjects)]


def _staff_of_round(case: Case, group: set[str], k: int) -> tuple[list[str], list[str]]:
    """Those of them who read anything in the round, and the subjects that all of these read."""
    done = {p: {s for s in group if (p, s, k) in case.x} for p in _enough(case, group)}
    staff = [p for p in done if done[p]]
    complete = sorted(set.intersection(*(done[p] for p in staff))) if staff else []
    return staff, complete


def _between(case: Case) -> tuple[Figure, set[str]]:
    total, df, readings, subjects, people = Fraction(0), 0, 0, set(), set()
    for group in groups(case):
        for k in case.rounds:
            staff, complete = _staff_of_round(case, group, k)
            if len(staff) < 2 or not complete:
                continue
            for s in complete:
                total += squares(case.x[p, s, k] for p in staff)
            df += len(complete) * (len(staff) - 1)
            readings += len(complete) * len(staff)
            subjects |= set(complete)
            people |= set(staff)
    estimate = root(total / df) if df else None
    return (estimate, None, None, len(subjects), readings, df, None), people


def between_tem(case: Case) -> Figure:
    return _between(case)[0]


def total_tem(case: Case) -> Figure:
    (between, *rest), people = _between(case)
    within = [repeat_variance(read_again(case, p)) for p in people]
    within = [v for v in within if v is not None]
    known = between is not None and within
    return sqrt(mean(within) + Fraction(between) ** 2) if known else None, *rest


def round_shift(case: Case, k: int) -> Figure:
    differences, readings = [], 0
    for s in case.subjects:
        changes = [
            case.x[p, s, k] - case.x[p, s, 1]
            for p in case.staff
            if {1, k} <= set(case.of(p, s))
        ]  # fmt: skip
        readings += 2 * len(changes)
        if changes:
            differences.append(mean(changes))
    return mean_figure(case, differences, readings)


PEOPLE: dict[str, Callable[[Case, str], Figure]] = {
    "within_tem": within_tem,
    "within_tem_percent": within_tem_percent,
    "within_tem_less_shift": within_tem_less_shift,
    "reliability": reliability,
    "bias": bias,
    "agreement_lower": lambda case, person: agreement(case, person, -1),
    "agreement_upper": lambda case, person: agreement(case, person, +1),
    "bias_from_others": bias_from_others,
    "rms_error": rms_error,
}
STAFF_ONLY = {"bias", "agreement_lower", "agreement_upper", "rms_error"}


def figures(case: Case) -> dict[tuple[str, str], Figure]:
    """Every figure of a case, by measurer and statistic; nothing where only retakes are left."""
    if not case.x:
        return {}
    found = {
        (person, name): function(case, person)
        for person in case.people
        for name, function in PEOPLE.items()
        if person != case.reference or name not in STAFF_ONLY
    }
    found["(all)", "between_tem"] = between_tem(case)
    found["(all)", "total_tem"] = total_tem(case)
    if case.rounds[0] == 1:
        for k in case.rounds[1:]:
            found["(all)", f"round_shift:{k}"] = round_shift(case, k)
            for person in case.people:
                found[person, f"own_round_shift:{k}"] = own_round_shift(case, person, k)
    return found
