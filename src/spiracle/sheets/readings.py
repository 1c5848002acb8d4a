"""How each reading is named, in which unit it is charted and with how many decimals it is printed."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from spiracle.sheets.names import convert, observed, unit_text


@dataclass(frozen=True, slots=True)
class ReadingShape:
    """`places` is the number of decimals always shown: a reading's precision is part of it."""

    reading: str
    title: str
    unit: str
    places: int = 0
    spoken: str = ""

    def text(self, value: Decimal, unit: str) -> str:
        """The bare figure in this reading's own unit, or with its unit where it cannot be turned into it."""
        if unit == self.unit or not unit:
            return observed(value, self.places)
        turned = convert(value, unit, self.unit)
        if turned is None:
            return f"{observed(value, self.places)} {unit_text(unit)}"
        return observed(turned.quantize(Decimal(1).scaleb(-self.places)), self.places)

    def number(self, value: Decimal, unit: str) -> Decimal | None:
        """The number in this reading's unit; None where the unit measures something else."""
        return value if not unit else convert(value, unit, self.unit)

    @property
    def printed_unit(self) -> str:
        return unit_text(self.unit)


READINGS: dict[str, ReadingShape] = {
    s.reading: s
    for s in (
        ReadingShape("heart_rate", "HR", "/min", spoken="heart rate"),
        ReadingShape("pulse_rate", "Pulse", "/min", spoken="pulse rate"),
        ReadingShape("respiratory_rate", "Resp", "/min", spoken="breaths"),
        ReadingShape("spo2", "SpO₂", "%", spoken="oxygen saturation"),
        ReadingShape("perfusion_index", "Perfusion index", "%", 1, "perfusion index"),
        ReadingShape("etco2", "CO₂", "mmHg", spoken="end-tidal CO₂"),
        ReadingShape("fico2", "CO₂ in", "mmHg", spoken="inspired CO₂"),
        ReadingShape("fio2", "O₂ in", "%", spoken="inspired oxygen"),
        ReadingShape("agent_et", "Agent Et", "%", 1, "end-tidal agent"),
        ReadingShape("agent_in", "Agent in", "%", 1, "inspired agent"),
        ReadingShape("temperature", "T", "Cel", 1, "temperature"),
        ReadingShape("sap", "Systolic", "mmHg", spoken="systolic pressure"),
        ReadingShape("map", "Mean", "mmHg", spoken="mean pressure"),
        ReadingShape("dap", "Diastolic", "mmHg", spoken="diastolic pressure"),
        ReadingShape("tidal_volume", "Breath", "mL", spoken="tidal volume"),
        ReadingShape("peak_pressure", "Peak", "cmH2O", spoken="peak pressure"),
        ReadingShape("peep", "PEEP", "cmH2O", spoken="end-expiratory pressure"),
        ReadingShape("glucose", "Glucose", "mmol/L", 1, "glucose"),
        ReadingShape("train_of_four", "Train of four", "", spoken="train of four"),
    )
}
RIBBON = ("heart_rate", "spo2", "map", "etco2", "respiratory_rate", "temperature", "agent_et")
CHART_ROWS = ("spo2", "etco2", "respiratory_rate", "temperature", "agent_et")
