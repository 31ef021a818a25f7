"""What does each part of the session report say? One function a section, tables in, page out."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from anthroqa.decisions import reach, take_again
from anthroqa.intake import Measure, Session
from anthroqa.reporting import figures, wording
from anthroqa.reporting.html import Html, bullets, heading, image, paragraph, table
from anthroqa.reporting.wording import amount, interval, label

_SOME = 40  # rows of a list before it is cut, with the number left


def opening(
    session: Session, scores: pd.DataFrame, decisions: pd.DataFrame, residuals: pd.DataFrame
) -> Html:
    """What a trainer needs in ten seconds, then every finding by measure."""
    return Html(
        heading(session.title, 1),
        _facts(session),
        heading("In short", 2),
        *_over(session, decisions, residuals),
        *_the_rest(decisions),
        paragraph(
            "This is an audit of technique. No child is reclassified by it, and no person is "
            "judged by one number: look at the readings, the scale and the conditions first. "
            "Local protocol and licensed practice decide.",
            lead="Before you act.",
        ),
        *(part for measure in session.measures.values()
          for part in _by_state(session, decisions, measure)),
        heading("How far this session reaches", 2),
        paragraph(
            wording.by_chance(reach(decisions, scores), _confidence(scores)), lead="Chance."
        ),
        *_cannot_show(session, scores, decisions),
    )  # fmt: skip


def _confidence(scores: pd.DataFrame) -> float:
    return float(scores["confidence"].iloc[0])


def _facts(session: Session) -> str:
    readings = session.readings
    staff = sorted(set(readings["measurer"]) - {session.reference})
    date = f"{session.date.day} {session.date:%B %Y}. " if session.date else ""
    reference = f" beside the reference {session.reference}" if session.reference else ""
    return paragraph(
        f"{date}{len(staff)} staff{reference}, {readings['subject'].nunique()} subjects, "
        f"{len(readings)} readings of {len(session.measures)} measures."
    )


def _over(session: Session, decisions: pd.DataFrame, residuals: pd.DataFrame) -> list[str]:
    judged = decisions[decisions["state"] != "not judged"]
    over = decisions[decisions["state"] == "over limit"]
    if over.empty:
        return [paragraph(f"none of {len(judged)} findings.", lead="Over a limit:")]
    lines = [wording.over_limit(row, session, residuals) for row in over.itertuples()]
    return [
        paragraph(f"{len(over)} of {len(judged)} findings.", lead="Over a limit:"),
        bullets(lines),
    ]


def _the_rest(decisions: pd.DataFrame) -> Iterator[str]:
    counts = decisions["state"].value_counts()
    others = [
        f"{counts[state]} {words}"
        for state, words in (
            ("within limit", "within the limit"), ("not settled", "not settled"),
            ("not judged", "not judged"),
        )
        if state in counts
    ]  # fmt: skip
    text = f"{wording.listed(others)}, by measure below." if others else "none."
    states = decisions.groupby("measurer", sort=False)["state"].agg(set)
    clear = [who for who, found in states.items() if found == {"within limit"}]
    if clear:
        text += f" Within the limit on everything: {wording.listed(clear)}."
    yield paragraph(text, lead="The other findings:")


def _cannot_show(session: Session, scores: pd.DataFrame, decisions: pd.DataFrame) -> Iterator[str]:
    yield paragraph(
        "ranks of people, small differences between them, which marks they prefer, and whether "
        "they measure like this in the clinic.",
        lead="What this session cannot show:",
    )
    table_ = reach(decisions, scores)
    table_ = table_[table_["within_below"].notna()]
    against = session.reference or "the other staff"
    yield bullets(
        wording.cannot_show(rows, session.measures[name], against)
        for name, rows in table_.groupby("measure", sort=False)
    )
    if (decisions["more_subjects"].fillna(0) > 0).any() and _confidence(scores) == 0.9:
        yield paragraph(
            "Adding subjects because a finding was not settled, and looking again, raises the "
            "risk of a wrong finding from 5 % to about 8 %.",
            lead="A second look.",
        )


def _by_state(session: Session, decisions: pd.DataFrame, measure: Measure) -> Iterator[str]:
    mine = decisions[decisions["measure"] == measure.name]
    if mine.empty:
        return
    yield heading(label(measure.name).capitalize(), 3)
    yield paragraph(f"Read to {measure.step}. {_limits(measure)}")
    for _, rows in mine.groupby("question", sort=False):
        asked = wording.question(rows.iloc[0], session)
        yield paragraph(f"{asked[0].upper()}{asked[1:]}:")
        yield bullets([
            f"{sign} {state}{reason}: "
            + "; ".join(wording.with_help(row, measure) for row in some.itertuples())
            for state, sign in wording.STATE_SIGNS.items()
            for reason, some in _reasons(rows[rows["state"] == state], measure)
        ], signed=True)  # fmt: skip
    unlike = mine.loc[mine["note"].str.contains("measured on"), "measurer"]
    if len(unlike):
        yield paragraph(
            f"{wording.listed(unlike)} did not use the instrument of {session.reference}: their "
            "differences hold what the instruments differ by."
        )


def _reasons(rows: pd.DataFrame, measure: Measure) -> Iterator[tuple[str, pd.DataFrame]]:
    """People of one state, those with the same reason together."""
    if rows.empty:
        return
    if rows["state"].iloc[0] in ("within limit", "over limit"):
        yield "", rows
        return
    reasons = pd.Series([wording.why_not(r, measure) for r in rows.itertuples()], index=rows.index)
    for reason, some in rows.groupby(reasons, sort=False):
        yield f" ({reason})", some


def _limits(measure: Measure) -> str:
    unit = measure.step.unit
    named = (("repeat error", measure.limit_tem), ("difference", measure.limit_bias))
    set_ = [f"{what} {wording.exact(float(limit))} {unit}" for what, limit in named if limit]
    if not set_:
        return "The program has set no limit: figures are given, nothing is judged."
    source = measure.limit_source or "no source given"
    return f"The program's limits: {', '.join(set_)} ({source})."


def repeatability(session: Session, scores: pd.DataFrame, decisions: pd.DataFrame) -> Html:
    """Does each person agree with themselves?"""
    parts = []
    for measure in session.measures.values():
        rows = _rows(decisions, measure, question="repeatability")
        if rows.empty:
            continue
        ax = figures.findings(rows, measure)
        subjects = _by_person(scores, measure, "within_tem", "subjects")
        percent = _by_person(scores, measure, "within_tem_percent")
        reliability = _by_person(scores, measure, "reliability")
        body = [
            (
                row.measurer, amount(row.estimate, measure),
                interval(row.lower, row.upper, measure), subjects[row.measurer],
                wording.number(percent[row.measurer], 1),
                wording.number(reliability[row.measurer], 4),
                wording.state(row),
            )
            for row in rows.itertuples()
        ]  # fmt: skip
        unit = measure.step.unit
        parts += [
            heading(label(measure.name).capitalize(), 3),
            image(ax, alt=figures.alt_findings(rows, measure)),
            table(
                ["Who", f"Repeat error ({unit})", _level(scores), "Subjects", "% of mean",
                 "Reliability", "Finding"],
                body, caption=f"Repeat error (within TEM), {label(measure.name)}",
            ),
            *_shifts(scores, measure),
        ]  # fmt: skip
    return Html(*parts)


def _by_person(
    scores: pd.DataFrame, measure: Measure, statistic: str, column: str = "estimate"
) -> dict[str, float]:
    rows = _rows(scores, measure, statistic=statistic)
    return dict(zip(rows["measurer"], rows[column], strict=True))


def _level(scores: pd.DataFrame) -> str:
    return f"{100 * _confidence(scores):.0f} % interval"


def _shifts(scores: pd.DataFrame, measure: Measure) -> list[str]:
    mine = scores[scores["measure"] == measure.name]
    shifts = mine[mine["statistic"].str.startswith("round_shift:")]
    said = [wording.round_shift(row, measure) for row in shifts.itertuples()]
    return [paragraph(text[0].upper() + text[1:]) for text in said[:5]]


def _rows(frame: pd.DataFrame, measure: Measure, **where: str) -> pd.DataFrame:
    frame = frame[frame["measure"] == measure.name]
    for column, value in where.items():
        frame = frame[frame[column] == value]
    return frame


def difference(session: Session, scores: pd.DataFrame, decisions: pd.DataFrame) -> Html:
    """Does each person agree with the reference, or without one with the other staff?"""
    parts = []
    for measure in session.measures.values():
        rows = _rows(decisions, measure, question="bias")
        if rows.empty:
            continue
        others = _rows(scores, measure, statistic="bias_from_others").set_index("measurer")
        from_others = others["estimate"].to_dict()
        rms = _by_person(scores, measure, "rms_error")
        body = [
            (
                row.measurer, amount(row.estimate, measure, signed=True),
                interval(row.lower, row.upper, measure, signed=True),
                amount(from_others[row.measurer], measure, signed=True),
                amount(rms[row.measurer], measure),
                wording.state(row),
            )
            for row in rows.itertuples()
        ]  # fmt: skip
        unit = measure.step.unit
        own = others.loc[others.index == session.reference]
        parts += [
            heading(label(measure.name).capitalize(), 3),
            image(figures.findings(rows, measure), alt=figures.alt_findings(rows, measure)),
            table(
                ["Who", f"Difference ({unit})", _level(scores), "From the others",
                 "How far off", "Finding"],
                body, caption=f"{_against(rows, session)}, {label(measure.name)}",
            ),
            *(_reference_itself(row, measure) for row in own.reset_index().itertuples()),
            *_unlike(rows),
        ]  # fmt: skip
    return Html(*parts)


def _against(rows: pd.DataFrame, session: Session) -> str:
    text = wording.question(rows.iloc[0], session)
    return text[0].upper() + text[1:]


def _reference_itself(row, measure: Measure) -> str:
    if row.estimate != row.estimate:
        return paragraph(f"{row.measurer} against the staff: {row.note}.")
    size = amount(row.estimate, measure, signed=True)
    ends = interval(row.lower, row.upper, measure, signed=True)
    return paragraph(
        f"{row.measurer} read {size} {row.unit} ({ends}) against the mean of the staff; the error "
        f"of {row.measurer} is in every difference above."
    )


def _unlike(rows: pd.DataFrame) -> list[str]:
    noted = rows[rows["note"].str.contains("measured on")]
    if noted.empty:
        return []
    reasons = noted["note"].str.extract("(measured on [^;]*)")[0]
    return [
        paragraph("Not only the person differs here:"),
        bullets(
            f"{wording.listed(some['measurer'])}: {reason}."
            for reason, some in noted.groupby(reasons, sort=False)
        ),
    ]


def distances(session: Session, residuals: pd.DataFrame) -> Html:
    """How far is every reading from its subject's consensus?"""
    parts = []
    for measure in session.measures.values():
        rows = _rows(residuals, measure)
        rows = rows[rows["residual"].notna() & (rows["retake"] == 0)]
        if rows.empty:
            continue
        far = rows[rows["far"]]
        parts += [
            heading(label(measure.name).capitalize(), 3),
            image(figures.distances(rows, measure), alt=figures.alt_distances(rows, measure)),
        ]
        if far.empty:
            parts.append(paragraph("No reading lies far from the rest."))
            continue
        body = [
            (
                r.measurer, r.subject, r.round, r.written, amount(r.value, measure),
                amount(r.consensus, measure), amount(r.residual, measure, signed=True),
            )
            for r in far.head(_SOME).itertuples()
        ]  # fmt: skip
        unit = measure.step.unit
        parts.append(
            table(
                ["Who", "Subject", "Round", "Written", f"Value ({unit})", "Consensus", "Distance"],
                body, caption=f"Readings to look at again on paper, {label(measure.name)}",
            )
        )  # fmt: skip
        parts += _cut(far, "readings")
    return Html(*parts)


def _cut(rows: pd.DataFrame, what: str) -> list[str]:
    return [paragraph(f"And {len(rows) - _SOME} more {what}.")] if len(rows) > _SOME else []


def agreement(session: Session, scores: pd.DataFrame) -> Html:
    """Between which limits do single readings differ from the reference's?"""
    parts = []
    for measure in session.measures.values():
        rows = _rows(scores, measure)
        rows = rows[rows["statistic"].isin(["bias", "agreement_lower", "agreement_upper"])]
        ends = [rows[rows["statistic"] == f"agreement_{end}"] for end in ("lower", "upper")]
        rows = rows[rows["measurer"].isin(ends[0].loc[ends[0]["estimate"].notna(), "measurer"])]
        if rows.empty:
            continue
        body = [
            (low.measurer, *(f"{amount(e.estimate, measure, signed=True)} "
             f"({interval(e.lower, e.upper, measure, signed=True)})" for e in (low, high)))
            for low, high in zip(*(e.itertuples() for e in ends), strict=True)
            if low.estimate == low.estimate
        ]  # fmt: skip
        parts += [
            heading(label(measure.name).capitalize(), 3),
            image(figures.agreement(rows, measure), alt=figures.alt_agreement(rows, measure)),
            table(
                ["Who", f"Lower limit ({measure.step.unit})", "Upper limit"], body,
                caption=f"95 % limits of agreement with {session.reference}, "
                f"{label(measure.name)}",
            ),
        ]  # fmt: skip
    if not parts:
        return Html(paragraph("Limits of agreement need a reference measurer; none was read."))
    return Html(*parts)


def together(session: Session, scores: pd.DataFrame) -> Html:
    """How far do the staff differ from one another?"""
    body, notes = [], []
    for measure in session.measures.values():
        figures_ = _rows(scores, measure, measurer="(all)").set_index("statistic")
        if "between_tem" not in figures_.index:
            continue
        between, total = figures_.loc["between_tem"], figures_.loc["total_tem"]
        body.append((
            label(measure.name), f"{amount(between['estimate'], measure)} {between['unit']}",
            f"{amount(total['estimate'], measure)} {total['unit']}", between["subjects"],
        ))  # fmt: skip
        left_out = [n for n in between["note"].split("; ") if n.startswith("left out")]
        notes += [f"{label(measure.name)}: {n}." for n in left_out]
    caption = "Between TEM and total TEM, the reference left out"
    return Html(
        table(["Measure", "Between staff", "Total", "Subjects"], body, caption=caption),
        bullets(notes),
    )


def data_notes(session: Session, residuals: pd.DataFrame) -> Html:
    """What is missing, taken again, corrected or passed over?"""
    return Html(
        *_missing(session),
        *_retakes(session, residuals),
        *_far_apart(session),
        *_corrections(session),
        *_conditions(session),
        bullets(f"{file}: {text}." for file, text in session.notices),
        paragraph(f"Columns not used: {wording.listed(session.unused)}.") if session.unused else "",
    )


def _missing(session: Session) -> Iterator[str]:
    missing = session.missing
    if missing.empty:
        yield paragraph("No reading is missing among the rows of the file.")
        return
    body = [
        (r.measurer, r.subject, label(r.measure), r.round, r.why)
        for r in missing.head(_SOME).itertuples()
    ]
    yield table(
        ["Who", "Subject", "Measure", "Round", "Why"], body,
        caption=f"Readings missing: {len(missing)}, never counted against anybody",
    )  # fmt: skip
    yield from _cut(missing, "missing readings")


def _retakes(session: Session, residuals: pd.DataFrame) -> Iterator[str]:
    again = residuals[residuals["retake"] > 0]
    if again.empty:
        return
    body = [
        (r.measurer, r.subject, label(r.measure), r.round, r.retake, r.written)
        for r in again.head(_SOME).itertuples()
    ]
    yield table(
        ["Who", "Subject", "Measure", "Round", "Retake", "Written"], body,
        caption=f"Readings taken again: {len(again)}, kept and in no figure",
    )  # fmt: skip
    yield from _cut(again, "retakes")


def _far_apart(session: Session) -> Iterator[str]:
    pairs = take_again(session)
    if pairs.empty:
        return
    body = [
        (r.measurer, r.subject, label(r.measure), r.rounds, f"{wording.exact(r.limit)} {r.unit}")
        for r in pairs.head(_SOME).itertuples()
    ]
    yield table(
        ["Who", "Subject", "Measure", "Rounds", "Further apart than"], body,
        caption=f"Readings that the program's limit for a pair would have taken again: "
        f"{len(pairs)}",
    )  # fmt: skip
    yield from _cut(pairs, "pairs")


def _corrections(session: Session) -> Iterator[str]:
    made = session.corrections
    if made.empty:
        return
    body = [
        (r.measurer, r.subject, label(r.measure), r.round, r.written, r.corrected, r.reason, r.by)
        for r in made.itertuples()
    ]
    yield table(
        ["Who", "Subject", "Measure", "Round", "Written", "Corrected", "Reason", "By"], body,
        caption=f"Corrections applied: {len(made)}; the file of readings is unchanged",
    )  # fmt: skip


def _conditions(session: Session) -> Iterator[str]:
    if "condition" not in session.readings:
        return
    for meaning, codes in session.conditions.items():
        n = int(session.readings["condition"].isin(codes).sum())
        if n:
            yield paragraph(
                f"{n} readings carry a condition that the program calls {meaning}; they are in "
                "every figure."
            )


def run_record(record: dict) -> Html:
    """From which inputs, with which versions and parameters?"""
    rows = [(f"input {name}", digest) for name, digest in record["inputs"].items()]
    rows += [(name, version) for name, version in record["versions"].items()]
    rows += [(f"parameter {name}", value) for name, value in record["parameters"].items()]
    return Html(table(["What", "Value"], rows, caption="Run record; the same is in run.json"))
