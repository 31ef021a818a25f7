"""The words of what is to be known of instruments and their known loads."""

from collections.abc import Iterable

from anthroqa.notes import register
from anthroqa.notes.scores import instruments as kinds


def _codes(instruments: Iterable[str]) -> str:
    return ", ".join(instruments)


register({
    kinds.KnownLoads.EXACT:
        "the standards are taken as exact: session.toml gives no uncertainty of theirs",
    kinds.KnownLoads.UNREPEATED: "no load was put on twice: the interval holds no repeat error",
    kinds.KnownLoads.NONE_REPEATED: "no load was repeated",
    kinds.KnownLoads.HIDDEN: "every reading is equal: the display hides it; no interval",
    kinds.KnownLoads.ONE_POSITION: "one position: a spread needs two",
    kinds.KnownLoads.NO_ROD_ON_BOTH_SIDES: "no rod was read on both sides",
    kinds.TooFewLoads: lambda n:
        f"linearity needs {n.least} loads; {n.tested} {'was' if n.tested == 1 else 'were'} tested",
    kinds.NotTwoSides: "a joint has two sides; {n.named} named in the column position",
    kinds.SideLessSide: "{n.side} less {n.less}",
    kinds.Entangled.SHARED: "the reference used the same instrument, so its error is not seen",
    kinds.Entangled.APART:
        "no file of known loads of these instruments, and nobody who used both links them",
    kinds.Entangled.UNNAMED: "the readings do not name the instrument",
    kinds.LessInstrument.NONE_NAMED: "no reading names its instrument",
    kinds.LessInstrument.SOME_UNNAMED: "some of these readings do not name their instrument",
    kinds.LessInstrument.CARRIED_ON: "past the loads tested the error of the nearest is taken",
    kinds.Untested: lambda n: f"the file of known loads knows no error of {_codes(n.instruments)}",
    kinds.AllPastLoads: "every common subject is over {n.reach:.0%} past the loads tested",
    kinds.PastLoadsLeftOut: lambda n:
        f"left out: readings of {n.subjects} {'subject' if n.subjects == 1 else 'subjects'} over "
        f"{n.reach:.0%} past the loads tested",
    kinds.BothReadOn:
        lambda n: f"both read on {_codes(n.instruments)}: an error of an instrument that "
        "they share is not seen here",
    kinds.MeanError: lambda n: f"({_codes(n.instruments)}) {n.error + 0.0:+.2g} {n.unit}",
    kinds.ErrorsTakenOut:
        "mean error of the instruments taken out: own {n.own}, the reference's {n.reference}",
    kinds.OneLoad: lambda n:
        f"one load of {_codes(n.instruments)} was tested: its error is taken for all",
})  # fmt: skip
