"""A person's bias once the known error of the instruments is out."""

import itertools
import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from strategies import as_frame, as_session
from tested_instruments import known_loads_of, with_known_loads

import anthroqa

NAMES = ["bias", "bias_less_instrument"]
LEVELS = (100, 130, 170, 210)
FLAT = [(code, "load", load, load + off) for code, off in (("P", 0), ("B", 8))
        for load in (80, 150, 230)]  # fmt: skip


def people(bias=0, n=4):
    return {
        "LEAD": [[level + d, level] for level, d in zip(LEVELS[:n], (0, 1, 0, -1), strict=False)],
        "A": [[level + bias, level + bias + d]
              for level, d in zip(LEVELS[:n], (2, 0, -1, 1), strict=False)],
    }  # fmt: skip


def on_instruments(readings, codes, *, tare=None, recorded_to="1 mm", **more):
    frame = as_frame(readings)
    frame["instrument"] = frame["measurer"].map(codes)
    if tare is not None:
        frame["tare"] = str(tare)
    return as_session(frame, reference="LEAD", recorded_to=recorded_to, **more)


def scored(session, **how):
    table = anthroqa.score(session, only=NAMES, **how)
    return table.set_index(["measurer", "statistic"])


def less(rows, *, bias=8, codes=None, loads=None, **session):
    drawn = on_instruments(people(bias), codes or {"LEAD": "P", "A": "B"}, **session)
    return scored(with_known_loads(drawn, rows, **(loads or {})))


def test_a_scale_that_reads_high_everywhere_is_taken_out_and_the_readings_stay():
    table = less(FLAT)
    assert table.loc[("A", "bias"), "estimate"] == pytest.approx(8.25)
    row = table.loc[("A", "bias_less_instrument")]
    assert row["estimate"] == pytest.approx(0.25)
    assert row["subjects"] == 4
    assert row["readings"] == 16
    assert row["unit"] == "mm"
    assert row["note"].startswith(
        "mean error of the instruments taken out: own (B) +8 mm, the reference's (P) +0 mm"
    )
    assert ("LEAD", "bias_less_instrument") not in table.index


def test_its_row_stands_after_that_of_bias():
    session = with_known_loads(on_instruments(people(), {"LEAD": "P", "A": "B"}), FLAT)
    table = anthroqa.score(session, only=["agreement_lower", *NAMES])
    assert table["statistic"].tolist() == ["bias", "bias_less_instrument", "agreement_lower"]


def test_the_reference_errs_too_and_so_may_its_instrument():
    rows = [(code, check, load, reading + 3 * (code == "P")) for code, check, load, reading in FLAT]
    assert less(rows).loc[("A", "bias_less_instrument"), "estimate"] == pytest.approx(3.25)


def test_errors_lie_on_straight_lines_between_the_loads_as_displayed():
    # B shows 0 for 0 and 110 for 100: a reading of 55 is half way, and 5 too high
    rows = [("B", "zero", 0, 0), ("B", "load", 100, 110), ("P", "load", 50, 50)]
    session = on_instruments({"LEAD": [[50]], "A": [[55]]}, {"LEAD": "P", "A": "B"})
    row = scored(with_known_loads(session, rows)).loc[("A", "bias_less_instrument")]
    assert row["estimate"] == pytest.approx(0)
    assert "one subject: no interval" in row["note"]
    assert "one load of P was tested: its error is taken for all" in row["note"]


@pytest.mark.parametrize(("reading", "subjects"), [(119, 1), (120, 1), (121, 0), (64, 1), (63, 0)])
def test_past_the_loads_the_nearest_error_is_carried_a_fifth_and_no_further(reading, subjects):
    rows = [("B", "load", 80, 80), ("B", "load", 100, 100), ("P", "load", 50, 50)]
    session = on_instruments({"LEAD": [[100]], "A": [[reading]]}, {"LEAD": "P", "A": "B"})
    row = scored(with_known_loads(session, rows)).loc[("A", "bias_less_instrument")]
    assert row["subjects"] == subjects
    if subjects:
        assert "past the loads tested the error of the nearest is taken" in row["note"]
    else:
        assert np.isnan(row["estimate"])
        assert row["note"] == "every common subject is over 20% past the loads tested"


def test_subjects_out_of_reach_are_left_out_and_counted():
    session = on_instruments(
        {"LEAD": [[100], [110], [300]], "A": [[109], [118], [300]]}, {"LEAD": "P", "A": "B"}
    )
    row = scored(with_known_loads(session, FLAT)).loc[("A", "bias_less_instrument")]
    assert row["subjects"] == 2
    assert row["estimate"] == pytest.approx(0.5)
    assert "left out: readings of 1 subject over 20% past the loads tested" in row["note"]


def test_a_held_weight_is_the_error_at_the_gross_less_that_at_the_tare():
    # net 10 = gross 110 less tare 100; B is 2 high at 100 and 5 high at 110 (displayed 115)
    rows = [("B", "load", 100, 102), ("B", "load", 110, 115), ("P", "load", 50, 57)]
    frame = pd.DataFrame({
        "measurer": ["LEAD", "A"], "subject": "S1", "measure": "length", "round": 1,
        "reading": ["110", "115"], "tare": ["100", "102"], "instrument": ["P", "B"],
    })  # fmt: skip
    session = with_known_loads(as_session(frame, reference="LEAD"), rows)
    table = scored(session)
    assert table.loc[("A", "bias"), "estimate"] == 3
    # P has one known error, the same at both displays: nothing is left of it
    assert table.loc[("A", "bias_less_instrument"), "estimate"] == pytest.approx(0)


def test_a_zero_error_stands_in_both_displays_of_a_held_weight_and_is_not_taken_out_twice():
    rows = [(code, "load", load, load + 6 * (code == "B"))
            for code in "PB" for load in (0.5, 100, 300)]  # fmt: skip
    session = on_instruments(people(0), {"LEAD": "P", "A": "B"}, tare=60)
    table = scored(with_known_loads(session, rows))
    assert table.loc[("A", "bias_less_instrument"), "estimate"] == pytest.approx(
        table.loc[("A", "bias"), "estimate"]
    )


def test_where_both_read_on_one_instrument_it_cancels_and_that_is_said():
    codes = {"LEAD": "P", "A": "P"}
    for rows in (FLAT, [row for row in FLAT if row[0] == "B"]):  # tested or not
        table = less(rows, codes=codes)
        plain, row = table.loc[("A", "bias")], table.loc[("A", "bias_less_instrument")]
        for part in ("estimate", "lower", "upper", "df", "p_value", "subjects", "readings"):
            assert row[part] == pytest.approx(plain[part])
        assert row["note"] == (
            "both read on P: an error of an instrument that they share is not seen here"
        )


def test_an_instrument_that_was_not_tested_leaves_the_figure_blank():
    row = less([row for row in FLAT if row[0] == "P"]).loc[("A", "bias_less_instrument")]
    assert np.isnan(row["estimate"])
    assert row["note"] == "the file of known loads knows no error of B"
    off_centre = [("B", "off_centre", 100, 100, "front"), ("P", "load", 100, 100)]
    row = less(off_centre).loc[("A", "bias_less_instrument")]
    assert row["note"] == "the file of known loads knows no error of B"


def test_readings_that_name_no_instrument_leave_it_blank():
    session = with_known_loads(as_session(people(), reference="LEAD"), FLAT)
    row = scored(session).loc[("A", "bias_less_instrument")]
    assert np.isnan(row["estimate"])
    assert row["note"] == "no reading names its instrument"
    some = less(FLAT, codes={"LEAD": "P", "A": ""}).loc[("A", "bias_less_instrument")]
    assert some["note"] == "some of these readings do not name their instrument"


def test_without_a_reference_it_is_blank_and_without_a_kit_file_there_is_no_row():
    frame = as_frame(people()).assign(instrument="B")
    row = scored(with_known_loads(as_session(frame), FLAT)).loc[("A", "bias_less_instrument")]
    assert row["note"] == "no reference measurer in this measure"
    table = scored(as_session(frame, reference="LEAD"))
    assert ("A", "bias_less_instrument") not in table.index


def test_what_is_not_known_of_the_loads_is_said():
    row = less(FLAT).loc[("A", "bias_less_instrument")]
    assert "the standards are taken as exact" in row["note"]
    assert "no load was put on twice" in row["note"]
    sound = [*FLAT, *FLAT]
    note = less(sound, loads={"uncertainty": 0.0}).loc[("A", "bias_less_instrument"), "note"]
    assert note.count(";") == 0


def test_the_interval_adds_the_kits_uncertainty_to_the_persons():
    # one load each, no repeats: rounding of two known loads and both standards, by hand
    rows = [("P", "load", 150, 150), ("B", "load", 150, 158)]
    session = on_instruments(people(8), {"LEAD": "P", "A": "B"})
    row = scored(with_known_loads(session, rows, uncertainty=2.0)).loc[
        ("A", "bias_less_instrument")
    ]
    d = np.array([np.mean(a) - np.mean(b) for a, b in zip(
        people(8)["A"], people(8)["LEAD"], strict=True)]) - 8  # fmt: skip
    persons = d.var(ddof=1) / 4
    total = persons + 2 / 12 + 2 * 1.0**2
    df = total**2 / (persons**2 / 3)
    assert row["estimate"] == pytest.approx(d.mean())
    assert row["df"] == pytest.approx(df)
    assert row["upper"] - d.mean() == pytest.approx(stats.t.ppf(0.95, df) * math.sqrt(total))
    assert row["p_value"] == pytest.approx(2 * stats.t.sf(abs(d.mean()) / math.sqrt(total), df))


# --- the same figure again, slowly, in fractions


def slow(session, person, confidence):
    """`bias_less_instrument` as defined: estimate, lower, upper, subjects; None is blank."""
    (measure,) = session.measures.values()
    size = measure.step.size
    read = {(r.measurer, r.subject, r.round): r for r in session.readings.itertuples()}
    knots, scale = {}, {}
    for code, rows in session.known_loads.groupby("instrument"):
        rows = [r for r in rows.itertuples() if r.check != "off_centre"]
        at = {}
        for r in rows:
            at.setdefault(Fraction(r.load_steps), []).append(
                Fraction(r.reading_steps) - Fraction(r.load_steps)
            )
        if at:
            knots[code] = [(load, sum(e) / len(e), len(e)) for load, e in sorted(at.items())]
            scale[code] = repeat_variance(
                session.known_loads[session.known_loads["instrument"] == code]
            )
    pairs, weights = {}, {}
    subjects = sorted({s for p, s, _ in read if p == person})
    for s in subjects:
        for k in sorted({k for p, q, k in read if (p, q) == (person, s)}):
            mine, theirs = read.get((person, s, k)), read.get((session.reference, s, k))
            if mine is None or theirs is None:
                continue
            known = []
            if mine.instrument != theirs.instrument:
                if mine.instrument not in knots or theirs.instrument not in knots:
                    return None, None, None, 0
                known = [(sign, r.instrument, error_of(knots[r.instrument], r))
                         for sign, r in ((1, mine), (-1, theirs))]  # fmt: skip
                if any(found is None for _, _, found in known):
                    continue
            off = sum((sign * found[0] for sign, _, found in known), Fraction(0))
            pairs.setdefault(s, []).append((mine.count - theirs.count - off, known))
    if not pairs:
        return None, None, None, 0
    n = len(pairs)
    means = []
    for done in pairs.values():
        means.append(sum(d for d, _ in done) / Fraction(len(done)))
        for _, known in done:
            for sign, code, (_, share) in known:
                for load, w in share.items():
                    key = code, load
                    weights[key] = weights.get(key, 0) + sign * w / len(done) / n
    mean = sum(means) / Fraction(n)
    if n == 1 or len(set(means)) == 1:
        return float(mean * size), None, None, n
    persons = sum((m - mean) ** 2 for m in means) / Fraction(n - 1) / n
    total, below = float(persons), float(persons**2) / (n - 1)
    for code in {code for code, _ in weights}:
        mine = {load: w for (c, load), w in weights.items() if c == code}
        spread, df, division, standard = scale[code]
        count = {load: times for load, _, times in knots[code]}
        repeats = float(sum(w**2 / count[load] for load, w in mine.items())) * spread
        total += repeats + float(sum(w**2 for w in mine.values())) * division**2 / 12
        total += float(sum(abs(w) for load, w in mine.items() if load)) ** 2 * standard**2
        below += repeats**2 / max(df, 1)
    half = stats.t.ppf((1 + confidence) / 2, total**2 / below) * math.sqrt(total)
    ends = (float(mean) + sign * half for sign in (0, -1, 1))
    return *(end * float(size) for end in ends), n


def repeat_variance(rows):
    """Variance and df of repeats, division and standard uncertainty of one instrument."""
    for part in (rows[rows["load_steps"] != 0], rows):
        cells = {}
        for r in part.itertuples():
            key = r.check == "off_centre", r.load_steps, r.position
            cells.setdefault(key, []).append(r.reading_steps)
        df = sum(len(c) - 1 for c in cells.values())
        if df:
            squares = sum(sum((x - np.mean(c)) ** 2 for x in c) for c in cells.values())
            break
    else:
        squares, df = 0.0, 0
    uncertainty = rows["uncertainty_steps"].iloc[0]
    standard = 0.0 if math.isnan(uncertainty) else uncertainty / 2
    return squares / df if df else 0.0, df, rows["division_steps"].iloc[0], standard


def error_of(knots, reading):
    """Error of a reading (gross less tare), how much each load counts; None out of reach."""
    total, share = Fraction(0), {}
    shown = getattr(reading, "count_read", reading.count)
    tare = getattr(reading, "count_tare", 0)
    for sign, display in [(1, shown), *([(-1, tare)] if tare else [])]:
        one = at_display(knots, Fraction(display))
        if one is None:
            return None
        for load, w in one.items():
            share[load] = share.get(load, 0) + sign * w
            total += sign * w * next(e for at, e, _ in knots if at == load)
    return total, share


def at_display(knots, display):
    points = [(load + error, load) for load, error, _ in knots]
    if any(b[0] <= a[0] for a, b in itertools.pairwise(points)):
        points = [(load, load) for load, _, _ in knots]
    if len(points) == 1:
        return {points[0][1]: Fraction(1)}
    (first, low), (last, high) = points[0], points[-1]
    if display < first:
        return None if low and first - display > low / Fraction(5) else {low: Fraction(1)}
    if display >= last:
        return None if display - last > high / Fraction(5) else {high: Fraction(1)}
    for (a, load), (b, above) in itertools.pairwise(points):
        if a <= display < b:
            part = (display - a) / (b - a)
            return {load: 1 - part, above: part}
    raise AssertionError


@st.composite
def drawn_sessions(draw):
    """Small sessions on two or three instruments, with known loads that may lack some."""
    codes = ["I1", "I2", "I3"][: draw(st.integers(1, 3))]
    tared = draw(st.booleans())
    rows = []
    for person in ["LEAD", "A", "B"][: draw(st.integers(2, 3))]:
        own = draw(st.sampled_from(codes))
        for s in range(draw(st.integers(1, 4))):
            for k in range(1, draw(st.integers(1, 2)) + 1):
                mixed = draw(st.booleans())
                rows.append({
                    "measurer": person, "subject": f"S{s}", "measure": "length", "round": k,
                    "reading": str(draw(st.integers(90, 240))),
                    "tare": str(draw(st.sampled_from([0, 60, 80]))),
                    "instrument": draw(st.sampled_from(codes)) if mixed else own,
                })  # fmt: skip
    frame = pd.DataFrame(rows)
    if not tared:
        frame = frame.drop(columns="tare")
    loads = []
    for code in codes:
        if draw(st.integers(0, 9)) == 0:
            continue
        for load in draw(st.lists(st.sampled_from([0, 55, 100, 150, 200]), min_size=1, max_size=5)):
            shown = load + draw(st.integers(-4, 4))
            loads.append((code, "load" if load else "zero", float(load), float(shown)))
        if draw(st.booleans()):
            loads.append((code, "off_centre", 100.0, 103.0, "front"))
    if not loads:
        loads = [(codes[0], "load", 100.0, 101.0)]
    uncertainty = draw(st.sampled_from([float("nan"), 0.0, 0.5]))
    step = draw(st.sampled_from(["1 mm", "2 g"]))
    if step == "2 g":
        for column in {"reading", "tare"} & set(frame.columns):
            frame[column] = [str(2 * int(v)) for v in frame[column]]
    session = as_session(frame, reference="LEAD", recorded_to=step)
    return with_known_loads(session, loads, uncertainty=uncertainty)


@settings(max_examples=100)
@given(drawn_sessions())
def test_it_agrees_with_a_slow_twin_in_fractions(session):
    table = scored(session, confidence=0.8)
    for person in sorted(set(session.readings["measurer"]) - {"LEAD"}):
        row = table.loc[(person, "bias_less_instrument")]
        expected = slow(session, person, 0.8)
        assert row["subjects"] == expected[3]
        for name, value in zip(("estimate", "lower", "upper"), expected, strict=False):
            if value is None:
                assert math.isnan(row[name]), name
                assert row["note"]
            else:
                assert row[name] == pytest.approx(value, rel=1e-9, abs=1e-9), name


@settings(max_examples=40)
@given(drawn_sessions(), st.integers(-20, 20))
def test_an_instrument_that_shows_more_in_readings_and_kit_alike_changes_nothing(session, by):
    readings, loads = session.readings.copy(), session.known_loads.copy()
    on = readings["instrument"] == "I1"
    readings.loc[on, "count"] += by
    if "count_read" in readings:  # both displays of a held weight show more, the net does not
        held = on & (readings["count_tare"] > 0)
        readings.loc[on, "count_read"] += by
        readings.loc[held, "count_tare"] += by
        readings.loc[held, "count"] -= by
    loads.loc[loads["instrument"] == "I1", "reading_steps"] += by
    before = scored(session).xs("bias_less_instrument", level=1)
    after = scored(replace(session, readings=readings, known_loads=loads)).xs(
        "bias_less_instrument", level=1
    )
    shared = before["note"].str.contains("both read on")
    kept = ~shared & (before["subjects"] > 1)
    for part in ("estimate", "subjects"):
        assert after.loc[kept, part].to_numpy() == pytest.approx(
            before.loc[kept, part].to_numpy(), abs=1e-9, nan_ok=True
        )  # fmt: skip


def test_the_interval_holds_the_persons_own_bias_as_often_as_it_says():
    found = np.array([drawn_bias(seed) for seed in range(300)])
    band = 4 * math.sqrt(0.9 * 0.1 / len(found))
    assert found.mean() >= 0.9 - band
    assert found.mean() <= 0.9 + band + 0.03  # rounding of the loads is never averaged away


def drawn_bias(seed, *, repeats=5, subjects=12):
    """Whether the interval holds a drawn person's bias; instruments and loads are drawn too."""
    rng = np.random.default_rng([20261125, seed])
    zero, gain = rng.normal(0, 2, 2), rng.normal(0, 0.005, 2)
    true = rng.uniform(440, 800, subjects)
    bias = rng.normal(0, 1, 2)
    rows = []
    for i, code in enumerate("PB"):
        standard = rng.normal(0, 0.1)
        for load in [200, 400, 600, 800, *[600] * repeats]:
            shown = load + standard + zero[i] + gain[i] * load + rng.normal(0, 0.4)
            rows.append((code, "load", float(load), float(np.round(shown))))
    readings = true[:, None] * (1 + gain) + zero + bias  # subjects x people
    noisy = readings[:, :, None] + rng.normal(0, 1.2, (subjects, 2, 2))
    counts = np.round(noisy).astype(np.int64)
    session = BASE[subjects]
    frame = session.readings.assign(count=counts.transpose(1, 0, 2).ravel())
    session = replace(session, readings=frame, known_loads=known_loads_of(rows, uncertainty=0.2))
    row = scored(session).loc[("A", "bias_less_instrument")]
    return row["lower"] <= bias[1] - bias[0] <= row["upper"]


BASE = {
    12: on_instruments(
        {p: [[600, 600]] * 12 for p in ("LEAD", "A")}, {"LEAD": "P", "A": "B"}
    )
}  # fmt: skip
