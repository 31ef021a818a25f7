"""The words of slips of the pen or the eye."""

from anthroqa.intake.written.grammar import nearest_mark
from anthroqa.intake.written.steps import Step
from anthroqa.notes import register
from anthroqa.notes.scores import slips as kinds

_UNITS = {
    "kg": "kilograms", "lb": "pounds", "oz": "ounces", "cm": "centimetres", "in": "inches",
}  # fmt: skip

register({
    kinds.Slipped.POINT_LEFT_OUT: "a decimal point left out",
    kinds.Slipped.POINT_MOVED: "a decimal point slipped",
    kinds.Slipped.DIGITS_EXCHANGED: "two adjacent digits exchanged",
    kinds.Slipped.OUNCES_AS_TENTHS: "ounces entered as tenths of a pound",
    kinds.Slipped.TENTHS_AS_OUNCES: "tenths of a pound entered as ounces",
    kinds.Slipped.SUBJECTS_EXCHANGED: "two subjects exchanged",
    kinds.Slipped.MEASURES_EXCHANGED: "two measures exchanged",
    kinds.Slipped.TARE_FORGOTTEN: "the tare forgotten",
    kinds.Slipped.TARE_TWICE: "the tare taken twice",
    kinds.Slipped.ANOTHER_TARE: "the tare of another caregiver",
    kinds.Slipped.CARRIED_FORWARD: "a value carried forward",
    kinds.Slipped.SHEET_SHIFTED: "a sheet shifted by a row",
    kinds.OtherUnit: lambda n: f"{_UNITS[n.written]} written for {_UNITS[n.meant]}",
    kinds.Notch: "one {n.amount} {n.unit} notch of the poise",
    kinds.Misread: lambda n: f"misread by {Step(n.amount, n.unit).in_larger()}",
    kinds.WouldBe: lambda n: f"{n.slip} (near {nearest_mark(n.meant, Step(n.size, n.unit))})",
})  # fmt: skip
