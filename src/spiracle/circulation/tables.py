"""The circulation's tables, read once, and what is asked of them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal
from itertools import pairwise

from spiracle.circulation import blood, fluids, pressure
from spiracle.circulation.fluids import Bolus, FluidTotal
from spiracle.circulation.rows import BloodVolume, Bounds, Caution, FluidRow, Limit, Table
from spiracle.quantity import Quantity, figure, reading
from spiracle.refusals import AskAgain, BadTable, OutOfRange, Unknown
from spiracle.source import Sources, Worked, need_sources, read_table
from spiracle.source.stated import Facts, read_stated


class CirculationTables:
    """Limits, bounds, blood and fluids. Pure answers; a refusal names the field."""

    def __init__(self, table: Table, facts: Facts) -> None:
        self.table, self.facts = table, facts
        self._bounds = {(b.reading, b.unit): b for b in table.bounds}
        for row in table.rows():
            for fact in row.facts:
                facts[fact]
        for limit in table.limit:
            _ordered(limit.id, (limit.severe_low, limit.low, limit.high, limit.severe_high))
        for bound in table.bounds:
            _ordered(f"bounds of {bound.reading}", (bound.low, bound.high))

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> CirculationTables:
        if "circulation" not in files:
            raise BadTable("circulation", "is not among the tables.")
        table = read_table(files["circulation"], Table, "circulation")
        for row in table.rows():
            need_sources(getattr(row, "id", type(row).__name__), row.source)
            sources.of(row.source)
        return cls(table, read_stated(files, "-facts", sources))

    # ---- limits and bounds

    def limits(self, species: str, size: str) -> tuple[Limit, ...]:
        """The limits for a species and a size (the patient's size class)."""
        return tuple(row for row in self.table.limit if row.suits(species, size))

    def limit(self, reading: str, species: str, size: str) -> Limit | None:
        return next((row for row in self.limits(species, size) if row.reading == reading), None)

    def readings(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(b.reading for b in self.table.bounds))

    def bounds(self, reading: str, species: str = "", unit: str = "") -> Bounds:
        """The bounds of a reading; `unit` chooses where two are in use (glucose), else the first stands.

        Species is taken for symmetry with the limits: an animal of either kind can show any of these numbers.
        """
        found = [b for b in self.table.bounds if b.reading == reading]
        if not found:
            raise Unknown(reading, "is not a reading the chart has.", "Readings: " + ", ".join(self.readings()) + ".")
        if not unit:
            return found[0]
        chosen = self._bounds.get((reading, _written(unit)))
        if chosen is None:
            raise Unknown(
                found[0].title, f"is not charted in {unit}.", "Use " + " or ".join(b.unit for b in found) + "."
            )
        return chosen

    def places(self, reading: str) -> int:
        return self.bounds(reading).places

    def check_reading(
        self,
        reading_name: str,
        value: Decimal,
        species: str,
        *,
        last: Decimal | None = None,
        confirmed: bool = False,
        unit: str = "",
        field: str = "",
    ) -> None:
        """Passes, refuses what cannot be, or asks again about a jump. A confirmed value passes all but the bounds."""
        row = self.bounds(reading_name, species, unit)
        name = field or row.title
        if not value.is_finite() or not row.low <= value <= row.high:
            raise OutOfRange(
                name, f"{value} {row.unit} cannot be.", f"Give {figure(row.low)} to {figure(row.high)} {row.unit}."
            )
        low, high = row.ask(last)
        if confirmed or last is None or low is None or high is None or low <= value <= high:
            return
        raise AskAgain(name, f"{reading(value, row.places)} {row.unit} is far from the last {reading(last, row.places)}.",
                       "Look at the animal and the probe; enter it again if it is right.")  # fmt: skip

    def check_pressure(self, sap: Decimal | None, mean: Decimal | None, dap: Decimal | None) -> None:
        pressure.check_order(sap, mean, dap)

    def map_from(self, sap: Decimal, dap: Decimal) -> Worked[Quantity]:
        """An estimate to look at; never filled into the chart."""
        return pressure.mean_estimate(sap, dap)

    def cuff_width(self, species: str, circumference_cm: Decimal) -> Worked[Quantity]:
        row = next((c for c in self.table.cuff if c.species == species), None)
        if row is None:
            raise Unknown("species", f"{species!r} has no cuff row.", 'Say "dog" or "cat".')
        return pressure.cuff_width(row, circumference_cm)

    # ---- blood

    def _blood(self, species: str) -> BloodVolume:
        row = next((b for b in self.table.blood_volume if b.species == species), None)
        if row is None:
            raise Unknown("species", f"{species!r} has no blood volume row.", 'Say "dog" or "cat".')
        return row

    def blood_volume(self, species: str, kg: Decimal) -> Worked[Quantity]:
        return blood.volume(self._blood(species), kg)

    def allowable_loss(
        self, species: str, kg: Decimal, pcv: Decimal, lowest: Decimal | None = None
    ) -> Worked[Quantity]:
        """Linear form. Without a lowest PCV the table's is used, and the working says it is from memory."""
        rule = self.table.loss
        return blood.allowable_loss(self._blood(species), rule, kg, pcv, rule.lowest_pcv if lowest is None else lowest)

    def loss_percent(self, species: str, kg: Decimal, lost_ml: Decimal) -> Worked[Quantity]:
        return blood.loss_percent(self._blood(species), self.table.loss, kg, lost_ml)

    def transfusion(
        self, species: str, kg: Decimal, pcv: Decimal, target: Decimal, donor_pcv: Decimal, *, confirmed: bool = False
    ) -> Worked[Quantity]:
        pcvs = (pcv, target, donor_pcv)
        return blood.transfusion(self._blood(species), self.table.transfusion, kg, pcvs, confirmed)

    def transfusion_cautions(self, species: str = "") -> tuple[Caution, ...]:
        return self.table.transfusion_caution

    # ---- fluids

    def fluid_row(self, species: str) -> FluidRow:
        row = next((f for f in self.table.fluid if f.species == species), None)
        if row is None:
            raise Unknown("species", f"{species!r} has no fluid row.", 'Say "dog" or "cat".')
        return row

    def fluid_rate(
        self, species: str, kg: Decimal, *, hours_done: int = 0, conditions: Collection[str] = ()
    ) -> Worked[Quantity]:
        lower = [w for w in self.table.fluid_with if w.species == species and w.condition in conditions]
        return fluids.start_rate(self.fluid_row(species), kg, hours_done, lower)

    def rate_ceiling(self, species: str, kg: Decimal) -> Worked[Quantity]:
        return fluids.rate_ceiling(self.fluid_row(species), kg)

    def maintenance(self, species: str, kg: Decimal) -> Worked[Quantity]:
        return fluids.maintenance(self.fluid_row(species), kg)

    def bolus(self, species: str, kg: Decimal) -> Bolus:
        return fluids.bolus(self.fluid_row(species), kg)

    def bolus_total(self, species: str, kg: Decimal, given_ml: Iterable[Decimal]) -> FluidTotal:
        return fluids.bolus_total(self.fluid_row(species), kg, given_ml)

    def check_bolus(
        self,
        species: str,
        kg: Decimal,
        given_ml: Iterable[Decimal],
        volume_ml: Decimal,
        *,
        said_by: str = "",
        reason: str = "",
        emergency: bool = False,
    ) -> None:
        row = self.fluid_row(species)
        fluids.check_bolus(row, fluids.bolus_total(row, kg, given_ml), volume_ml, (said_by, reason), emergency)

    def running_total(self, kg: Decimal, volumes_ml: Collection[Decimal]) -> Worked[Quantity]:
        return fluids.running_total(kg, volumes_ml)


def _written(unit: str) -> str:
    """The spelling the tables use for a unit of the chart."""
    return {"Cel": "°C", "degC": "°C", "bpm": "/min", "1/min": "/min", "": ""}.get(unit, unit)


def _ordered(name: str, values: Iterable[Decimal | None]) -> None:
    given = [v for v in values if v is not None]
    if any(a > b for a, b in pairwise(given)):
        raise BadTable(name, "runs backwards: " + ", ".join(figure(v) for v in given) + ".")
