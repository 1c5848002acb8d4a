"""What was measured on this animal for its tube, each figure from the latest entry that holds it."""

from __future__ import annotations

from spiracle.airway import Measured
from spiracle.case.events import AirwayMeasured, PreviousAnaesthesiaNoted
from spiracle.case.fold import Case
from spiracle.quantity import Quantity

MEASURES: tuple[tuple[str, str, str], ...] = (
    ("incisors_to_inlet_cm", "incisors_to_inlet", "cm"), ("tracheal_diameter_mm", "tracheal_diameter", "mm"),
    ("incisors_to_larynx_cm", "larynx_depth", "cm"), ("ultrasound_diameter_mm", "ultrasound_diameter", "mm"),
    ("palpated_diameter_mm", "palpated_outer", "mm"), ("septum_width_mm", "septum_width", "mm"),
    ("occiput_to_tail_cm", "occiput_to_tail", "cm"), ("tube_id_mm", "previous_tube_id", "mm"),
)  # fmt: skip


def measured_of(case: Case) -> Measured:
    """Unknown stays None. A size of another entry is another tube: how the earlier one served is not said of it."""
    found: dict[str, object] = {}
    for earlier in case.live(PreviousAnaesthesiaNoted):
        if earlier.tube_id_mm is not None:
            found["previous_tube_id"] = Quantity.of(earlier.tube_id_mm, "mm")
            found["previous_outcome"] = earlier.tube_outcome or None
            found["previous_full_grown"] = earlier.full_grown
    for event in case.live(AirwayMeasured):
        for field, name, unit in MEASURES:
            value = getattr(event, field)
            if value is not None:
                found[name] = Quantity.of(value, unit)
        if event.tube_id_mm is not None:
            found["previous_outcome"], found["previous_full_grown"] = None, None
        if event.trachea_to_inlet is not None:
            found["trachea_to_inlet"] = event.trachea_to_inlet
    return Measured(**found)  # type: ignore[arg-type]
