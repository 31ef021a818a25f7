"""The words of odd readings, of patterns, and of what to practise."""

from anthroqa.notes import register
from anthroqa.notes.scores import odd as kinds

_VIEWS = {
    "bias_less_instrument": "the reference, less the instruments' error",
    "bias": "the reference",
    "bias_from_others": "the other staff",
}
_NAMES = {
    kinds.Fault.BOARD_LOOSE: "board loose",
    kinds.Fault.MOVEMENT: "movement",
}  # before what it does


def name(fault: kinds.Fault) -> str:
    """What a fault is called, without what it does."""
    return _NAMES.get(fault) or str(fault)


def _on_instrument(n: kinds.ReadOnInstrument) -> str:
    users, others = ", ".join(n.users), ", ".join(n.others)
    return (
        f"{n.instrument}, read by {users}; against {others} on other instruments: it may be the "
        "people too"
    )


register({
    kinds.Explanation.ON_THE_TARE: "on the tare",
    kinds.Explanation.TARE_OF_NOBODY:
        "the tare is as far off; nobody else's tare here is like it, so any would fit",
    kinds.Explanation.LOST: "what was read of this subject is on no row",
    kinds.Explanation.EITHER:
        "two people read this subject: which of them is off cannot be told from this session",
    kinds.MovesTooLittle:
        "it moves a reading by no more than {n.limit:.3g} {n.unit}, from where on one is far",
    kinds.FitsByChance: "{n.share:.0%} of random errors of this size would be explained as well",
    kinds.SeenAgainst: lambda n: f"seen against {' and '.join(_VIEWS[v] for v in n.views)}",
    kinds.ReadOnInstrument: _on_instrument,
    kinds.SameIn: lambda n: f"the same in {', '.join(n.measures)}",
    kinds.Fault.SHOES_ON: "shoes or headwear left on",
    kinds.Fault.CLOTHED: "clothing or a wet diaper",
    kinds.Fault.BOARD_LOOSE:
        f"{_NAMES[kinds.Fault.BOARD_LOOSE]}: head or foot-piece not pressed home",
    kinds.Fault.KNEES_BENT: "knees bent",
    kinds.Fault.KNEES_AT_TIMES: "knees bent at some readings",
    kinds.Fault.HEAD_TILTED: "head tilted",
    kinds.Fault.TAPE_TIGHT: "tape pulled tight",
    kinds.Fault.TAPE_LOOSE: "tape loose or not level",
    kinds.Fault.FROM_ONE_SIDE: "marks read from one side, or rounded one way",
    kinds.Fault.MOVEMENT: f"{_NAMES[kinds.Fault.MOVEMENT]}: repeats far apart, no bias",
    kinds.Fault.ZERO_OFFSET: "zero offset of the instrument",
    kinds.Technique.SHOES_AND_HAIR_OFF: "take shoes, headwear and hair pieces off first",
    kinds.Technique.SHOES_OFF: "take shoes and headwear off first",
    kinds.Technique.SAME_CLOTHING: "undress to the same clothing, with a dry diaper",
    kinds.Technique.PRESS_FIRMLY:
        "press the moving piece firmly, and check that the board is tight",
    kinds.Technique.KNEES_STRAIGHT: "hold both knees straight",
    kinds.Technique.KNEES_EVERY_TIME: "hold both knees straight at every reading",
    kinds.Technique.SIGHT_AT_RIGHT_ANGLE: "line of sight at a right angle to the board",
    kinds.Technique.TAPE_FLAT: "tape flat on the skin without a dent",
    kinds.Technique.TAPE_SNUG: "tape snug and level all round",
    kinds.Technique.NEAREST_MARK: "eye level with the mark, then the nearest mark",
    kinds.Technique.FINEST_MARK: "eye level with the mark; write the finest mark every time",
    kinds.Technique.WAIT_UNTIL_STILL: "wait until the subject is still before reading",
    kinds.Technique.SET_TO_ZERO:
        "set to zero and check with a test mass or a rod before the next session",
    kinds.Technique.FRESH_SHEET:
        "second reading on a fresh sheet, the first one out of sight, in another order",
    kinds.Technique.SEAT_THE_POISE:
        "seat each poise in its notch, and read both of them aloud before you write",
    kinds.Technique.LARGE_FIGURE_FIRST:
        "read the large figure first, then the small marks, and say both",
    kinds.Technique.READ_THE_SHEET_BACK: "after writing, read the sheet back against the display",
    kinds.Technique.WRITE_THE_POINT:
        "write the point clearly, and read it back against the display",
    kinds.Technique.NOTE_THE_UNIT: "look which unit the display shows, and write it down with it",
    kinds.Technique.SAY_THE_CODE: "find the line by the subject's code, and say the code aloud",
    kinds.Technique.WRITE_BOTH_DISPLAYS:
        "write both displays, and check which caregiver is on the scale",
    kinds.Technique.LOOK_ANEW: "look at the display anew for every reading",
})  # fmt: skip
