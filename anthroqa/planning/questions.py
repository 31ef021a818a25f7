"""What must be asked so that a plan can be made, and what does `plan.toml` say then?

Each answer is judged at once by what reads `plan.toml`, and asked for again with the remedy
where it will not do. Ends of the input leave everything as it was.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import tomli_w

from anthroqa.intake import SessionError
from anthroqa.notes import said
from anthroqa.planning.plan import plan_of

_TRIAL = {"staff": 1, "subjects": 6, "measure": {"trial": {"recorded_to": "1 g"}}}
_LIMITS = (
    ("range", "Lowest and highest that there can be, as in 4 lb, 45 lb (Enter: none)"),
    ("expected_tem", "Repeat error that competent staff have here (Enter: not known)"),
    ("limit_tem", "The program's limit for the repeat error (Enter: none)"),
    ("limit_bias", "The program's limit for the difference from the reference (Enter: none)"),
    ("limit_pair", "Two readings further apart are taken again (Enter: none)"),
)

Ask = Callable[[str], str]
Tell = Callable[[str], None]


def ask_plan(ask: Ask, tell: Tell) -> str:
    """The text of `plan.toml` from answers.

    Parameters
    ----------
    ask : callable
        Gives the answer to a question, as `input` does.
    tell : callable
        Shows a remark, as `print` does.
    """
    plan: dict[str, Any] = {}
    _put(plan, "title", "Title of the session", ask, tell, str)
    _put(plan, "reference", "Code of the reference measurer (Enter: none)", ask, tell, str)
    _put(plan, "staff", "Codes of the staff, as in K1, K2, K3; or how many", ask, tell, _many)
    _put(plan, "subjects", "How many subjects each person measures", ask, tell, _number)
    _put(
        plan, "handling_cap", "How often a child may be handled for one measure (Enter: 12)", ask,
        tell, _number,
    )  # fmt: skip
    _put(plan, "rounds", "Rounds (Enter: 2)", ask, tell, _number)
    tell("Codes for children who must not be handled any further, as in upset.")
    stop = _listed(ask("Stop codes (Enter: upset): ")) or ["upset"]
    measures: dict[str, Any] = {}
    while name := _name(ask(
        f"{'Next measure' if measures else 'First measure'}, as in infant_weight (Enter: "
        f"{'no more' if measures else 'infant_weight'}): "
    )) or ("" if measures else "infant_weight"):  # fmt: skip
        measures[name] = _measure(ask, tell)
    plan = {**plan, "conditions": {"stop": stop}, "measure": measures}
    text = tomli_w.dumps(plan)
    plan_of(text)  # what only shows in the whole is told with its remedy
    return text


def _measure(ask: Ask, tell: Tell) -> dict[str, Any]:
    table: dict[str, Any] = {}
    _put(table, "recorded_to", "One mark of the instrument, as in 1 oz, 1/8 in, 0.1 cm", ask, tell,
         str, of_measure=True)  # fmt: skip
    _put(table, "tared", "Is the caregiver weighed alone, too? yes or no (Enter: no)", ask, tell,
         _yes, of_measure=True)  # fmt: skip
    for key, question in _LIMITS:
        how = _listed if key == "range" else str
        _put(table, key, question, ask, tell, how, of_measure=True)
    if any(key.startswith("limit") for key in table):
        _put(table, "limit_source", "Where these limits come from", ask, tell, str, of_measure=True)
    return table


def _put(
    table: dict[str, Any], key: str, question: str, ask: Ask, tell: Tell,
    how: Callable[[str], Any], *, of_measure: bool = False,
) -> None:  # fmt: skip
    """Ask until the answer will do; an empty one that may be left out is left out."""
    while True:
        answer = ask(f"{question}: ").strip()
        wanted = {**table, key: how(answer)} if answer else table
        remedies = _remedies(wanted, key, of_measure)
        if not remedies:
            if answer:
                table[key] = wanted[key]
            return
        for remedy in remedies:
            tell(f"  {remedy}")


def _remedies(table: dict[str, Any], key: str, of_measure: bool) -> list[str]:
    """What is wrong with one key, in the words of the reader of `plan.toml`."""
    trial = {"measure": {"trial": table}} if of_measure else table
    lacking = of_measure and "recorded_to" not in table
    told = {key, "handling_cap"} if key == "rounds" else {key}  # rounds too many for the cap
    needed = {k: v for k, v in _TRIAL.items() if k not in trial and k != key}
    try:
        plan_of(tomli_w.dumps({**needed, **trial}))
    except SessionError as error:
        return [
            said(p.code) for p in error
            if p.column.split(".")[-1] in told or (lacking and p.column.startswith("measure"))
        ]  # fmt: skip
    return []


def _listed(answer: str) -> list[str]:
    return [part.strip() for part in answer.split(",") if part.strip()]


def _yes(answer: str) -> bool | str:
    return {"yes": True, "y": True, "no": False, "n": False}.get(answer.lower(), answer)


def _number(answer: str) -> int | str:
    return int(answer) if re.fullmatch(r"\d{1,9}", answer) else answer


def _many(answer: str) -> int | list[str]:
    number = _number(answer)
    return number if isinstance(number, int) else _listed(answer)


def _name(answer: str) -> str:
    return re.sub(r"\W+", "_", answer.strip()).strip("_")
