import pytest

from anthroqa.planning.plan import plan_of
from anthroqa.planning.questions import ask_plan

GOOD = {
    "Title": "Spring", "Code of the reference": "LEAD", "Codes of the staff": "K1, K2, K3",
    "How many subjects": "8", "How often a child": "", "Rounds": "", "Stop codes": "",
    "First measure": "infant weight", "One mark": "1 oz", "Is the caregiver": "",
    "Lowest and highest": "4 lb, 45 lb", "Repeat error": "1.2 oz",
    "The program's limit for the repeat": "2 oz", "The program's limit for the diff": "",
    "Two readings": "", "Where these limits": "manual", "Next measure": "",
}  # fmt: skip


def asked(**wrong):
    """The plan from answers, and what was told; `wrong` ones are given first."""
    first = {key.replace("_", " "): list(answers) for key, answers in wrong.items()}
    told = []

    def ask(question):
        for start, answers in first.items():
            if question.startswith(start) and answers:
                return answers.pop(0)
        return next(answer for start, answer in GOOD.items() if question.startswith(start))

    return plan_of(ask_plan(ask, told.append)), "\n".join(told)


def test_answers_become_the_plan():
    plan, _ = asked()
    assert plan.title == "Spring"
    assert plan.reference == "LEAD"
    assert plan.blocks[0].people == ("K1", "K2", "K3", "LEAD")
    assert len(plan.blocks[0].subjects) == 8
    assert plan.stop_codes == ("upset",)
    measure = plan.measures["infant_weight"]
    assert (str(measure.step), measure.low, measure.limit_source) == ("1 oz", 64, "manual")
    assert plan.tared == frozenset()


def test_several_measures_a_number_of_staff_and_a_tare():
    plan, _ = asked(
        Codes_of_the_staff=["4"], Next_measure=["held weight"], One_mark=["1 oz", "1/4 lb"],
        Is_the_caregiver=["no", "yes"], Lowest_and_highest=["", ""], Rounds=["3"],
    )  # fmt: skip
    assert plan.staff == ("M1", "M2", "M3", "M4")
    assert list(plan.measures) == ["infant_weight", "held_weight"]
    assert plan.tared == {"held_weight"}
    assert plan.rounds == 3


@pytest.mark.parametrize(
    ("question", "answer", "remedy"),
    [
        ("Codes_of_the_staff", "K1, k1", "code of their own"),
        ("Codes_of_the_staff", "", "Give the codes of the staff"),
        ("Codes_of_the_staff", "LEAD", "Add the codes of staff"),
        ("How_many_subjects", "5x", "subjects = 12"),
        ("Rounds", "9", "fewer rounds"),
        ("How_often_a_child", "often", "Write, say, 12"),
        ("One_mark", "1 cat", "one of kg, g, lb"),
        ("One_mark", "", "recorded_to = "),
        ("Lowest_and_highest", "4 lb", "the lowest and the highest"),
        ("Repeat_error", "1 cm", "wrong kind of unit"),
        ("Is_the_caregiver", "maybe", "tared = true"),
    ],
)
def test_a_wrong_answer_is_told_at_once_and_asked_for_again(question, answer, remedy):
    plan, told = asked(**{question: [answer]})
    assert remedy in told
    assert plan == asked()[0]
