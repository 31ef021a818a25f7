"""What the page says of marks and second readings, on sessions whose truth is known."""

import re
import warnings
from fractions import Fraction
from html import unescape
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import LineCollection

import anthroqa
from anthroqa.decisions import marks_reach
from anthroqa.intake.described.settings import Measure
from anthroqa.intake.written.grammar import as_written
from anthroqa.intake.written.steps import Step
from anthroqa.notes import NONE, notes_of
from anthroqa.notes.scores.figures import NoPValue, Repeats, TooFewRepeats
from anthroqa.notes.scores.marks import Conversion, ConvertedLeftOut
from anthroqa.reporting.session import marks, marks_words, positions
from anthroqa.scores.marks.indices import published_indices
from anthroqa.scores.marks.terminal import terminal_positions
from anthroqa.simulate import draw, nearest

PEOPLE = ["LEAD", "K1", "K2", "K3", "K4", "K5", "K6"]
MM = Step(Fraction(1, 10), "cm")
EIGHTHS = Measure(name="length", step=Step(Fraction(1, 8), "in"))
OUNCES = Measure(name="infant_weight", step=Step(Fraction(1), "oz"))


def session_of(counts, *, people=PEOPLE, reference="LEAD", written=as_written, **steps):
    """A session from counts of steps: measure -> people x subjects x rounds."""
    rows = [
        (who, f"S{s}", measure, turn + 1, written(int(x[p, s, turn]), steps.get(measure, MM)))
        for measure, x in counts.items()
        for p, who in enumerate(people)
        for s in range(x.shape[1])
        for turn in range(x.shape[2])
    ]
    frame = pd.DataFrame(rows, columns=["measurer", "subject", "measure", "round", "reading"])
    measures = {name: {"recorded_to": str(steps.get(name, MM))} for name in counts}
    return anthroqa.Session.from_frame(frame, measures=measures, reference=reference)


def text_of(*parts):
    text = re.sub(r"<[^>]+>", " ", " ".join(parts))
    return re.sub(r"\s+", " ", unescape(text)).replace(" .", ".")


def page_of(session):
    """Everything the page says of marks and second readings, part by part, as plain text."""
    analysis = anthroqa.analyse(session)
    parts = {
        "in short": " ".join(marks.in_short(analysis)),
        "marks": marks.every_mark(analysis).text,
        "repeats": marks.second_readings(analysis).text,
    }
    drawn = "positions" in vars(analysis)  # they are worked out when they are asked for
    return SimpleNamespace(
        scores=analysis.scores, mark_findings=analysis.mark_findings, drawn=drawn,
        at=analysis.positions, html=parts,
        text={name: text_of(part) for name, part in parts.items()},
    )  # fmt: skip


def cells(html, who):
    """The cells of the first row of a table that starts with somebody."""
    row = re.search(rf'<tr><th scope="row">{re.escape(who)}</th>(.*?)</tr>', html).group(1)
    return [re.sub(r"\s", " ", unescape(c)) for c in re.findall("<td>(.*?)</td>", row)]


@pytest.fixture(scope="module")
def read():
    """Lengths in millimetres as seven careful people see them, not yet put on marks."""
    rng = np.random.default_rng(5)
    return draw(rng.uniform(560, 900, 16), tem=np.full(7, 2.0), rng=rng)


@pytest.fixture(scope="module")
def clinics_page(clinics):
    return page_of(clinics)


@pytest.fixture(scope="module")
def habit_page(read):
    """All but LEAD and K6 read lengths to half centimetres; weights are read to the step."""
    rng = np.random.default_rng(6)
    length = nearest(read)
    length[1:6] = nearest(read[1:6], 5)
    weight = nearest(draw(rng.uniform(40, 200, 16), tem=np.full(7, 0.3), rng=rng))
    return page_of(session_of(
        {"length": length, "weight": weight}, weight=Step(Fraction(1, 10), "kg")
    ))  # fmt: skip


@pytest.fixture(scope="module")
def comb_page(read):
    """Read to quarter inches and converted before it was written."""
    quarters = nearest(read / 6.35 * 1.0)
    return page_of(session_of({"length": np.floor(quarters * 6.35 + 0.5).astype(int)}))


def test_a_named_lead_is_one_sentence_with_its_share_and_the_least_it_can_be(clinics_page):
    row = clinics_page.mark_findings.query("state == 'named'").iloc[0]
    assert (row["measurer"], row["statistic"]) == ("K2", "coarse_share:1/4 in")
    assert clinics_page.text["in short"].strip() == (
        "Marks and second readings: 1 of 80 tests stands out. K2 puts nearly all infant length "
        f"readings on quarter inches (at least {100 * row['lower']:.0f} %)."
    )


def test_a_lead_is_drawn_and_its_counts_are_those_of_the_tables(clinics_page):
    row = clinics_page.mark_findings.query("state == 'named'").iloc[0]
    at = clinics_page.at.query("measure == 'infant_length' and measurer == 'K2'")
    on = at[at["position"] % 2 == 0]
    assert cells(clinics_page.html["marks"], "K2") == [
        "leans", "1/4 in", "100 %", f"{100 * row['lower']:.0f} to 100 %",
        f"{on['observed'].sum()} of 24", f"{on['expected'].sum():.0f}",
    ]  # fmt: skip
    assert clinics_page.html["marks"].count("<img") == 1
    assert "K2: on 1/4 in marks 24 of 24, expected 12." in clinics_page.html["marks"]
    assert "As expected: LEAD, K1, K3, K4, K5, K6, K7, K8 and K9." in clinics_page.text["marks"]


def test_positions_are_those_of_the_session(clinics, clinics_page):
    assert clinics_page.drawn
    pd.testing.assert_frame_equal(clinics_page.at, terminal_positions(clinics))


def test_where_nobody_leans_there_is_one_sentence_and_no_figure(read):
    page = page_of(session_of({"length": nearest(read)}))
    assert not page.drawn
    assert page.text["in short"] == ""
    assert page.text["marks"].strip() == (
        "Nobody leans to any mark in length, beyond what chance gives so many tests."
    )
    assert page.text["repeats"].strip() == "As expected: everybody who was tested (7 findings)."
    assert "<img" not in "".join(page.html.values())


def test_second_readings_too_alike_are_counted_with_their_interval_and_reasons(outreach):
    page = page_of(outreach)
    for measure in ("length", "height"):
        assert (
            f"M2: 4 of 6 second readings of {measure} equal the first (67 %; 35 to 88 %), more "
            "alike than expected."
        ) in page.text["in short"]
    assert "many possible reasons: the first sheet in sight" in page.text["in short"]
    assert cells(page.html["repeats"], "M2") == [
        "length", "4 of 6", "67 %", "35 to 88 %", "more alike than expected",
    ]  # fmt: skip
    tested = (page.mark_findings["test"] == "second readings") & page.mark_findings[
        "p_value"
    ].notna()
    assert f"everybody else who was tested ({tested.sum() - 2} findings)" in page.text["repeats"]
    assert "Length: M4 and M5 are not tested. 6 repeats are the least" in page.text["repeats"]


def test_a_habit_of_the_group_names_nobody(habit_page):
    group = habit_page.mark_findings.query("measurer == '(all)' and state == 'habit of the group'")
    assert group["measure"].tolist() == ["length"]
    said = (
        "Most of the staff put length readings on half centimetres, on average "
        f"{100 * group['estimate'].iloc[0]:.0f} % of them: a habit of the group, nobody is named"
    )
    assert said in habit_page.text["in short"]
    assert said in habit_page.text["marks"]
    everything = " ".join(habit_page.text.values()) + " ".join(habit_page.html.values())
    assert not re.search(r"K\d", everything)
    assert "Length: nobody is tested. Most of the staff lean" in habit_page.text["repeats"]


def test_the_group_is_set_against_even_positions_beside_the_reference(habit_page):
    own = habit_page.scores.query(
        "measure == 'length' and measurer == 'LEAD' and statistic == 'coarse_share:0.5 cm'"
    ).iloc[0]
    text, at = habit_page.text["marks"], habit_page.at.query("measure == 'length'")
    most = f"{100 * own['upper']:.0f}"
    assert f"LEAD, the reference, puts hardly any readings on half centimetres (0 to {most} %)" in (
        text
    )
    assert "A habit of the group is not seen in weight." in text
    staff = at[at["measurer"] != "LEAD"]
    on = staff.loc[staff["position"].isin([0, 5]), "observed"].sum()
    n = staff["observed"].sum()
    assert (
        f"staff: on 0.5 cm marks {on} of {n}, evenly spread {n / 5:.0f}; LEAD: on 0.5"
        in (habit_page.html["marks"])
    )


def test_a_comb_is_said_to_be_a_conversion_and_no_preference(comb_page):
    said = (
        "Length: nobody is tested. 224 of 224 readings are what a reading to 1/4 in gives when it "
        "is converted: a conversion, not a preference for marks; write what the instrument showed."
    )
    assert said in comb_page.text["marks"]
    assert said in comb_page.text["repeats"]
    assert set(comb_page.mark_findings["state"]) == {
        "not tested"
    }  # repeats are equal by conversion
    assert comb_page.text["in short"] == ""
    assert "lean" not in comb_page.text["marks"]
    assert marks_words.by_chance(comb_page.mark_findings) == ""


def test_one_measurer_and_a_step_without_whole_marks_get_reasons(read):
    alone = page_of(session_of({"length": nearest(read)[:1]}, people=["A"], reference=None))
    assert alone.text["in short"] == ""
    assert "Length: nobody is tested. Nobody else read these subjects" in alone.text["marks"]
    assert "nobody is tested. Nobody else of the staff read a subject" in alone.text["repeats"]
    steps = {"length": Step(Fraction(3, 10), "cm")}
    odd = page_of(session_of({"length": nearest(read / 3)}, **steps))
    assert "Length: nobody is tested. The step does not say which marks" in odd.text["marks"]
    assert "As expected: everybody who was tested (7 findings)." in odd.text["repeats"]


def test_readings_converted_at_intake_are_counted(read):
    def inches(count, step):
        inch = count * 10 / 254
        return f"{inch:.0f} in" if inch == round(inch) else as_written(count, step)

    x = nearest(read)
    x[2, :8] = 254 * np.round(x[2, :8] / 254).astype(int)
    page = page_of(session_of({"length": x}, written=inches))
    n = int((x % 127 == 0).sum())  # whole inches
    assert n >= 16
    assert (
        f"Length: {n} readings converted from the other system of units: read on other marks, and "
        "left out here."
    ) in page.text["marks"]


def test_coarse_marks_are_said_to_explain_equal_repeats_of_the_same_person(read):
    x = nearest(read)
    x[3] = nearest(read[3], 10)
    page = page_of(session_of({"length": x}))
    states = page.mark_findings.query("measurer == 'K3'").set_index("test")["state"]
    assert states[["coarse marks", "second readings"]].tolist() == ["named", "named"]
    assert re.search(
        r"K3: \d+ of 16 second readings .*, more alike than expected; coarse marks alone may "
        "explain it", page.text["in short"],
    )  # fmt: skip
    assert "and may explain it in K3 (length)." in page.text["repeats"]


def lead(measurer, **more):
    row = {
        "measure": "length", "measurer": measurer, "test": "coarse marks",
        "statistic": "coarse_share:1/2 in", "estimate": 0.6, "lower": 0.3, "upper": 0.9,
        "p_value": 0.5, "p_holm": 1.0, "q_value": 0.9, "state": "as expected", "note": NONE,
    }  # fmt: skip
    return row | more


def at_each_mark(people, observed=(6, 2, 3, 2, 4, 2, 3, 2)):
    rows = [(who, i, n, sum(observed) / 8) for who in people for i, n in enumerate(observed)]
    frame = pd.DataFrame(rows, columns=["measurer", "position", "observed", "expected"])
    return frame.assign(measure="length")


def sections_of(rows, measure=EIGHTHS, at=None):
    mark_findings = pd.DataFrame(rows)
    scores = pd.DataFrame([
        {"measure": r["measure"], "measurer": r["measurer"], "statistic": "identical_repeats",
         "df": 12.0, "estimate": 0.5} for r in rows
    ])  # fmt: skip
    analysis = SimpleNamespace(
        session=SimpleNamespace(measures={measure.name: measure}, reference=None),
        scores=scores, mark_findings=mark_findings, confidence=0.9,
        positions=at_each_mark(dict.fromkeys(mark_findings["measurer"])) if at is None else at,
    )  # fmt: skip
    return (
        text_of(*marks.in_short(analysis)),
        marks.every_mark(analysis).text,
        text_of(marks.second_readings(analysis).text),
    )


def test_digits_without_a_mark_are_worth_a_look_unless_more_is_said():
    digits = {"test": "terminal digits", "statistic": "digit_dissimilarity", "estimate": 0.13,
              "lower": np.nan, "upper": np.nan, "state": "worth a look"}  # fmt: skip
    short, page, _ = sections_of([lead("A"), lead("A", **digits), lead("B")])
    assert "none of 2 tests stands out; 1 more may be worth a look, see below." in short
    assert "Worth a look: A (13 %). No single mark" in text_of(page)
    assert "As expected: B." in text_of(page)
    for said in (lead("A", state="named"), lead("A", test="second readings", state="named")):
        short, page, _ = sections_of([said, lead("A", **digits), lead("B")])
        assert "worth a look" not in short + text_of(page)


def test_what_is_only_worth_a_look_is_not_called_a_finding():
    weak = [lead("A", state="worth a look"),
            lead("B", test="second readings", state="worth a look")]  # fmt: skip
    short, page, repeats = sections_of(weak)
    assert short.strip() == (
        "Marks and second readings: none of 2 tests stands out; 2 more may be worth a look, see "
        "below."
    )
    assert cells(page, "A")[0] == "worth a look"
    assert "worth a look: more alike than expected" in repeats


def test_a_crowd_is_counted_and_images_are_cut_before_they_fill_the_page():
    rows = [lead(f"P{i:02}", state="named" if i < 45 else "as expected") for i in range(70)]
    short, page, _ = sections_of(rows)
    assert "As expected: 25 people." in text_of(page)
    assert "And 5 more people, in the table below." in text_of(page)
    assert page.count("<img") == 5
    assert page.count('<tr><th scope="row"') == 45
    assert "And 5 more findings." in short


def test_marks_too_many_to_draw_are_left_to_the_table():
    fine = Measure(name="length", step=Step(Fraction(1, 100), "in"), whole_mark=Fraction(1))
    row = lead("A", state="named", statistic="coarse_share:0.5 in")
    at = pd.DataFrame({"measure": "length", "measurer": "A", "position": range(100),
                       "observed": 1, "expected": 1.0})  # fmt: skip
    _, page, _ = sections_of([row], measure=fine, at=at)
    assert "<img" not in page
    assert cells(page, "A")[-2:] == ["2 of 100", "2"]


@pytest.mark.parametrize(
    ("statistic", "measure", "words"),
    [
        ("coarse_share:1/4 in", EIGHTHS, "quarter inches"),
        ("coarse_share:1/2 in", EIGHTHS, "half inches"),
        ("coarse_share:1 in", EIGHTHS, "whole inches"),
        ("coarse_share:1 lb", OUNCES, "whole pounds"),
        ("coarse_share:4 oz", OUNCES, "4 oz marks"),
        ("coarse_share:0.5 cm", Measure(name="m", step=MM), "half centimetres"),
        ("coarse_share:0.2 cm", Measure(name="m", step=MM), "0.2 cm marks"),
        ("coarse_share:1 cm", Measure(name="m", step=Step(Fraction(1), "mm")),
         "whole centimetres"),
    ],
)  # fmt: skip
def test_a_mark_is_said_in_words(statistic, measure, words):
    assert marks_words.kind(statistic, measure) == words


def test_a_reason_is_said_without_what_was_left_out():
    few, comb = TooFewRepeats(least=6), Conversion(on=9, of=9, step=Step(Fraction(1, 4), "in"))
    left = ConvertedLeftOut(readings=2)
    partly = Repeats.PARTLY_TARED_LEFT_OUT
    for notes, reason in [
        (notes_of(NoPValue(why=few), partly, Repeats.TARED), notes_of(few, partly)),
        (notes_of(NoPValue(why=few), Repeats.CONVERTED_LEFT_OUT, partly), notes_of(few)),
        (notes_of(comb, left), notes_of(comb)),
    ]:
        assert marks_words.why_untested(notes) == reason
    assert marks_words.converted([notes_of(comb, left), NONE, notes_of(left)]) == 4


def test_a_share_without_a_least_is_said_by_the_most_it_can_be():
    row = SimpleNamespace(measurer="A", statistic="coarse_share:1/2 in", estimate=0.34,
                          lower=0.0, upper=0.6)  # fmt: skip
    said = marks_words.leaning(row, EIGHTHS).replace("\u00a0", " ")
    assert said == "A puts about 34 % of the length readings on half inches (up to 60 %)"


def test_chance_is_counted_from_the_tests_that_were_made(clinics_page):
    mark_findings = clinics_page.mark_findings
    naming = mark_findings["test"].isin(["coarse marks", "second readings"])
    n = int((naming & mark_findings["p_value"].notna()).sum())
    assert n == 80  # ten people, four measures, two tests
    text = marks_words.by_chance(mark_findings)
    assert text.startswith(f"{n} tests of marks and second readings could name a person.")
    assert f"1 in 20 would do so by chance alone: {0.05 * n:.1f} here" in text
    assert "at most 1 session in 20 names anybody by chance" in text
    assert "worth a look, about 1 in 10 is chance" in text
    untested = mark_findings[mark_findings["state"] != "not tested"].assign(state="not tested")
    assert marks_words.by_chance(untested) == ""


def test_how_strong_a_habit_must_be_comes_from_its_table(clinics, clinics_page):
    table = marks_reach(clinics_page.scores, clinics)
    (said,) = marks_words.must_take(table)
    said = said.replace("\u00a0", " ")
    for measure, rows in table.groupby("measure"):
        first, last = rows.iloc[0], rows.iloc[-1]
        assert (
            f"{measure.replace('_', ' ')} {100 * first['least_share']:.0f} % ({first['mark']}) or "
            f"{100 * last['least_share']:.0f} % ({last['mark']})"
        ) in said
    hidden = marks_words.must_take(table.assign(least_share=np.nan))
    assert len(hidden) == 1
    assert "no habit of marks is likely to be named in infant weight, infant length," in hidden[0]
    assert marks_words.must_take(table.iloc[:0]) == []


def test_published_indices_stand_beside_what_chance_gives_and_are_never_added(clinics):
    table = published_indices(clinics)
    html = marks.indices(anthroqa.analyse(clinics)).text
    k2 = table[(table["measure"] == "infant_weight") & (table["measurer"] == "K2")]
    expected = [f"{r['value']:.1f} ({r['expected_by_chance']:.1f})" for _, r in k2.iterrows()]
    assert cells(html, "K2") == ["24", *expected]
    everybody = table[(table["measure"] == "adult_weight") & (table["measurer"] == "(all)")]
    assert cells(html, "adult weight")[0] == str(everybody["readings"].iloc[0])
    heads = re.findall(r'<th scope="col">(.*?)</th>', html)
    assert set(heads) == {
        "Who", "Measure", "Readings", "Digit preference score", "Index of dissimilarity",
        "Myers&#x27; blended index",
    }  # fmt: skip
    assert "(all)" not in html
    blank = SimpleNamespace(session=clinics, indices=table.assign(value=np.nan))
    assert marks.indices(blank).text == ""


def bars(ax):
    """Each bar as (position, height), row by row from the top."""
    wide = max((c for c in ax.collections if isinstance(c, LineCollection)),
               key=lambda c: c.get_linewidths()[0])  # fmt: skip
    return [(s[0][0], s[1][1] - s[0][1]) for s in wide.get_segments()]


def test_bars_are_the_readings_and_the_line_is_what_was_expected():
    at = pd.concat([at_each_mark(["A"]), at_each_mark(["$\\frac$"], (8, 0, 4, 0, 5, 0, 7, 0))])
    at["expected"] = np.r_[np.linspace(2, 4, 8), np.linspace(4, 2, 8)]
    ax = positions.on_ruler(at, ["first", "second"], EIGHTHS)
    drawn = bars(ax)
    assert [x for x, _ in drawn] == [*range(8), 0, 2, 4, 6]
    observed = at.loc[at["observed"] > 0, "observed"].to_numpy(float)
    heights = np.array([h for _, h in drawn])
    first = np.arange(12) < 8
    for row, most in ((first, 6), (~first, 8)):  # each row has a scale of its own
        assert heights[row] / heights[row].max() == pytest.approx(observed[row] / most)
    (line,) = ax.lines
    assert line.get_drawstyle() == "steps-post"
    y = line.get_ydata().reshape(2, -1)[:, :8]
    base = [s[0][1] for c in ax.collections for s in c.get_segments()
            if len(s) == 2 and s[0][0] == -0.5]  # fmt: skip
    scale = heights[[0, 8]] / observed[[0, 8]]
    for row, expected in enumerate(at["expected"].to_numpy().reshape(2, 8)):
        assert (y[row] - base[row]) / scale[row] == pytest.approx(expected)
    words = [t.get_text() for t in ax.texts]
    assert {"A", "first", "$\\frac$", "second", "Past a whole mark of 1 in (in)"} <= set(words)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        ax.figure.draw_without_rendering()


@pytest.mark.parametrize(
    ("measure", "cycle", "names"),
    [
        (EIGHTHS, 8, ["0", "1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8"]),
        (OUNCES, 16, ["0", "2", "4", "6", "8", "10", "12", "14"]),
        (Measure(name="m", step=MM), 10, [f"{i / 10:g}" for i in range(10)]),
        (Measure(name="m", step=Step(Fraction(1, 4), "lb")), 4, ["0", "1/4", "1/2", "3/4"]),
    ],
)  # fmt: skip
def test_the_ruler_is_the_instruments_own_with_longer_marks_the_coarser(measure, cycle, names):
    at = pd.DataFrame({"measurer": "A", "position": range(cycle), "observed": 3, "expected": 3.0})
    ax = positions.on_ruler(at, ["said"], measure)
    ticks = next(c for c in ax.collections if isinstance(c, LineCollection)
                 and c.get_linewidths()[0] == 0.8)  # fmt: skip
    long = {int(s[0][0]): s[0][1] - s[1][1] for s in ticks.get_segments()}
    assert sorted(long) == list(range(cycle))
    coarsest = {n: max((m for m in measure.coarse_marks if n % m == 0), default=1) for n in long}
    for a in long:
        for b in long:
            assert (coarsest[a] > coarsest[b]) == (long[a] > long[b] + 1e-9)
    words = [t.get_text() for t in ax.texts]
    assert [w for w in words if w in names][-len(names) :] == names
