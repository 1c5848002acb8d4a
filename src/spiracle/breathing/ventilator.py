"""The ventilator: what to set first for a lean weight, which alarms, what typed settings mean, what a change does to CO2.

First settings are a start, not an order: the pressure that is read and the CO2 that is measured change them. Everything
hangs on lean weight, because fat is not ventilated.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal
from typing import Literal

from spiracle.breathing.burden import check_paco2
from spiracle.breathing.tables import BreathingTables
from spiracle.breathing.ventilation import dynamic_compliance_ml_cmh2o, expiration_per_inspiration, paco2_after
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.refusals import Missing, NotOneOf, OutOfRange, OverLimit
from spiracle.source import Guardrail, Input, Mark, Worked, Working, Zone

Mode = Literal["volume", "pressure"]
MODES: tuple[Mode, ...] = ("volume", "pressure")
LEAN, TIDAL, PEEP, COMPLIANCE = "lean weight", "tidal volume", "end-expiratory pressure", "compliance"


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """One alarm to set. `memory` marks it wherever it is shown."""

    name: str
    value: Quantity
    says: str
    memory: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """First settings. `set_pressure` is what is set in pressure mode (over nothing, PEEP included); None in volume mode."""

    mode: Mode
    tidal: Worked[Quantity]
    rate: Worked[Quantity]
    inspiration: Worked[Quantity]
    ratio: str
    peep: Quantity
    peak: Worked[Quantity]
    set_pressure: Quantity | None
    minute_volume: Worked[Quantity]
    compliance: Worked[Quantity]
    alarms: tuple[Alarm, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A typed setting beside its limits: `usual`, `unusual` is to be asked about, `forbidden` needs a reason.

    `says` leaves the name away, for a refusal that names its field itself.
    """

    name: str
    value: Quantity
    zone: Zone
    limit: Guardrail
    says: str

    @property
    def words(self) -> str:
        return f"{self.name}: {self.says}"


def settings(
    facts: BreathingTables, species: str, lean: Quantity | None, mode: str, *, compliance: Quantity | None = None,
    peep: Quantity | None = None, tidal: Quantity | None = None, rate: Quantity | None = None,
) -> Settings:  # fmt: skip
    """What to set first. `compliance` [mL/cmH2O] is the animal's own as measured; without it the species' row is used, marked.

    Raises Missing (lean weight), NotOneOf (mode), Unknown (species), OutOfRange (weight, compliance, PEEP, breath, rate) and
    OverLimit when the breath would need more than the species' hardest pressure: it says which breath would not.
    """
    kg = _lean(facts, species, lean)
    if mode not in MODES:
        raise NotOneOf("ventilator mode", f"{mode!r} is not a mode.", "Say volume or pressure.")
    breath = _tidal(facts, species, kg) if tidal is None else Worked(_typed_tidal(tidal), Working(f"{tidal}, as typed"))
    beats = _rate(facts, species) if rate is None else Worked(_typed_rate(rate), Working(f"{rate}, as typed"))
    base = _peep(facts, peep)
    gives = _compliance(facts, species, kg, compliance)
    peak = _expected_peak(breath.value, gives, base)
    limit = peak_limit(facts, species)
    hard = facts.ventilator(species).peak_hard
    if limit.zone(peak.value) is Zone.FORBIDDEN:
        room = (hard - base.number("cmH2O")) * gives.value.number("mL/cmH2O")
        raise OverLimit(TIDAL, f"{breath.value} would need {peak.value}, over the hard {hard} cmH2O of a {species}.",
                        f"At most {figure(_down(room, 2))} mL at this compliance; find out why the chest is stiff.")  # fmt: skip
    inspiration, ratio = _inspiration(facts, beats.value)
    minute = Quantity.of(round_significant(breath.value.number("mL") * beats.value.number("/min") / 1000, 3), "L/min")
    return Settings(
        mode=next(m for m in MODES if m == mode),
        tidal=breath,
        rate=beats,
        inspiration=inspiration,
        ratio=ratio,
        peep=base,
        peak=peak,
        set_pressure=_whole(peak.value) if mode == "pressure" else None,
        minute_volume=Worked(
            minute,
            Working(
                f"{breath.value} x {beats.value} = {minute}", sources=("b_definition",), memory=breath.working.memory
            ),
        ),
        compliance=gives,
        alarms=_alarms(facts, breath.value, peak.value, base, hard),
        cautions=_cautions(facts, species, kg, breath.value, beats.value, peak.value, gives, mode),
    )


def alarms_for(
    facts: BreathingTables, species: str, lean: Quantity | None, *, peak: Quantity | None = None,
    peep: Quantity | None = None, tidal: Quantity | None = None,
) -> tuple[Alarm, ...]:  # fmt: skip
    """Alarms for what is set: round the typed peak, else round the peak a typed breath would need; none of volume without a breath.

    Raises Missing (neither peak nor breath; lean weight where it is needed), OutOfRange (weight, breath), Unknown (species) and
    OverLimit when the peak is over the species' hardest pressure: no alarm is set over that.
    """
    hard = facts.ventilator(species).peak_hard
    base = facts.setting("peep").quantity if peep is None else peep
    if peak is None:
        if tidal is None:
            raise Missing(
                "alarms", "cannot be worked: neither a peak pressure nor a breath is set.", "Read one of them."
            )
        peak = _expected_peak(tidal, _compliance(facts, species, _lean(facts, species, lean), None), base).value
    if peak.number("cmH2O") > hard:
        raise OverLimit("alarms", f"cannot be worked: {peak} is over the hard {hard} cmH2O of a {species}.",
                        "Stay beside it, and lower the pressure.")  # fmt: skip
    return _alarms(facts, None if tidal is None else _typed_tidal(tidal), peak, base, hard)


def judge(
    facts: BreathingTables, species: str, lean: Quantity | None, *, tidal: Quantity | None = None,
    peak: Quantity | None = None, rate: Quantity | None = None, peep: Quantity | None = None, weight: str = LEAN,
    scored: bool = True,
) -> tuple[Judged, ...]:  # fmt: skip
    """Typed settings beside the species' limits, in the order breath, pressure, rate, PEEP. A breath needs a lean weight.

    `weight` names the weight in the words. Without a scored condition nobody knows how much of it is fat: then a breath over
    the species' first breath is unusual already.
    Raises Missing (lean weight for a breath), Unknown (species), OutOfRange (weight, a breath that is none).
    """
    facts.span(species)
    found = []
    if tidal is not None:
        kg = _lean(facts, species, lean)
        per_kg = Quantity.of(round_significant(_typed_tidal(tidal).number("mL") / kg, 3), "mL/kg")
        one = _judged(TIDAL, per_kg, tidal_limit(facts, species), f"{tidal} is {per_kg} of {weight}")
        found.append(one if scored else _unscored(facts, species, one, tidal, weight))
    if peak is not None:
        found.append(_judged("peak pressure", peak, peak_limit(facts, species), f"{peak}, chest closed"))
    if rate is not None:
        row = facts.ventilator(species)
        limit = Guardrail("ventilator rate", Quantity.of(row.rate_low, "/min"), Quantity.of(row.rate_high, "/min"),
                          sources=row.source)  # fmt: skip
        found.append(_judged("ventilator rate", rate, limit, str(rate)))
    if peep is not None:
        top = facts.setting("peep-high")
        limit = Guardrail("PEEP", facts.setting("peep").quantity, top.quantity, sources=top.source)
        found.append(_judged("PEEP", peep, limit, str(peep)))
    return tuple(found)


def weighable(facts: BreathingTables, species: str, weight: Quantity) -> bool:
    """Whether a breath can be worked from this weight: within what an animal of the species weighs. Raises Unknown."""
    span = facts.span(species)
    return Decimal(span.weight_low_kg) <= weight.number("kg") <= Decimal(span.weight_high_kg)


def _unscored(facts: BreathingTables, species: str, one: Judged, tidal: Quantity, weight: str) -> Judged:
    """The same breath where nobody scored a condition: a fat animal's breath is at most the first one until somebody does."""
    basis = f"No body condition was scored: judged on {weight}."
    first = facts.setting(f"tidal-start-{species}").quantity
    if one.zone is not Zone.USUAL or one.value <= first:
        return replace(one, says=f"{one.says} {basis}")
    return replace(
        one,
        zone=Zone.UNUSUAL,
        says=f"{tidal} is {one.value} of {weight}, over the first breath of {first} ({one.limit.sentence}). {basis}",
    )


def tidal_limit(facts: BreathingTables, species: str) -> Guardrail:
    """Breath per kilogram of lean weight: usual band of the species, and where the lung is over-distended."""
    row, hard = facts.ventilator(species), facts.setting("tidal-hard")
    return Guardrail("tidal volume", Quantity.of(row.tidal_low, "mL/kg"), Quantity.of(row.tidal_high, "mL/kg"), hard.quantity,
                     sources=(*row.source, *hard.source))  # fmt: skip


def peak_limit(facts: BreathingTables, species: str) -> Guardrail:
    """Peak pressure with a closed chest: usual up to the row's usual, never over its hard stop. A low one is no fault by itself."""
    row = facts.ventilator(species)
    return Guardrail("peak pressure, closed chest", Quantity.of(0, "cmH2O"), Quantity.of(row.peak_usual, "cmH2O"),
                     Quantity.of(row.peak_hard, "cmH2O"), sources=(*row.source, "memory"), memory=row.peak_memory,
                     hard_memory=row.peak_memory)  # fmt: skip


def predicted_paco2(
    facts: BreathingTables, now: Quantity, *, rate_from: Quantity, tidal_from: Quantity, rate_to: Quantity,
    tidal_to: Quantity, dead: Quantity | None = None,
) -> Worked[Quantity]:  # fmt: skip
    """Arterial CO2 after a change of rate or breath, once it has settled. `dead` is all dead space [mL], apparatus included.

    Without `dead` the animal's own share of the first breath is taken and marked. CO2 made by the body is taken as unchanged.
    Raises OutOfRange (CO2, a breath that does not pass the dead space).
    """
    check_paco2(facts, now)
    share = facts.setting("own-dead-space")
    lost = (
        Quantity.of(_typed_tidal(tidal_from).number("mL") * Decimal(share.value) / 100, "mL") if dead is None else dead
    )
    numbers = [float(x) for x in (now.number("mmHg"), _typed_rate(rate_from).number("/min"), tidal_from.number("mL"),
                                  _typed_rate(rate_to).number("/min"), _typed_tidal(tidal_to).number("mL"), lost.number("mL"))]  # fmt: skip
    value = Quantity.of(round_significant(Decimal(str(paco2_after(*numbers))), 2), "mmHg")
    return Worked(value, Working(
        f"{now} x {rate_from} x ({tidal_from} - {lost}) / ({rate_to} x ({tidal_to} - {lost})) = {value}, predicted",
        (Input("arterial CO2 now", str(now), Mark.MEASURED),
         Input("dead space", str(lost), Mark.TABLE if dead is None else Mark.TYPED, share.note if dead is None else "")),
        held=("once settled, with the same CO2 made by the body and the same dead space in millilitres",),
        sources=("b_definition", *(share.source if dead is None else ())), estimated=True))  # fmt: skip


def measured_compliance(
    tidal: Quantity, pressure: Quantity, peep: Quantity, mark: Mark = Mark.MEASURED
) -> Worked[Quantity]:
    """Dynamic compliance [mL/cmH2O] of this animal: breath over plateau (or, marked lower, peak) less PEEP. Raises OutOfRange.

    `mark`: whether its three figures were measured, or typed as they are set.
    """
    numbers = [float(x) for x in (_typed_tidal(tidal).number("mL"), pressure.number("cmH2O"), peep.number("cmH2O"))]
    value = Quantity.of(round_significant(Decimal(str(dynamic_compliance_ml_cmh2o(*numbers))), 3), "mL/cmH2O")
    return Worked(value, Working(f"{tidal} / ({pressure} - {peep}) = {value}",
                                 (Input("tidal volume", str(tidal), mark), Input("pressure", str(pressure), mark),
                                  Input("PEEP", str(peep), mark)), sources=("b_definition",)))  # fmt: skip


def _lean(facts: BreathingTables, species: str, lean: Quantity | None) -> Decimal:
    span = facts.span(species)
    if lean is None:
        raise Missing(
            LEAN, "is not known, and a breath is not worked from any other weight.", "Give weight and body condition."
        )
    kg = lean.number("kg")
    if not weighable(facts, species, lean):
        raise OutOfRange(LEAN, f"{lean} is not the weight of a {species}.",
                         f"Give {span.weight_low_kg} to {span.weight_high_kg} kg.")  # fmt: skip
    return kg


def _tidal(facts: BreathingTables, species: str, kg: Decimal) -> Worked[Quantity]:
    row = facts.setting(f"tidal-start-{species}")
    # Not rounded: a breath rounded down would fall under the usual band it was taken from.
    value = Quantity.of(kg * Decimal(row.value), "mL")
    return Worked(value, Working(f"{row.quantity} x {figure(kg)} kg lean = {value}", (Input(LEAN, f"{figure(kg)} kg"),),
                                 held=(row.note, tidal_limit(facts, species).sentence), limit=tidal_limit(facts, species),
                                 sources=row.source, memory=row.memory))  # fmt: skip


def _rate(facts: BreathingTables, species: str) -> Worked[Quantity]:
    row = facts.ventilator(species)
    middle = (row.rate_low + row.rate_high) // 2
    return Worked(Quantity.of(middle, "/min"), Working(f"the middle of {row.rate_low} to {row.rate_high} /min, then by CO2",
                                                       sources=row.source))  # fmt: skip


def _inspiration(facts: BreathingTables, rate: Quantity) -> tuple[Worked[Quantity], str]:
    """The usual second, or less where the rate leaves too little time to breathe out: then the working says so."""
    row, least = facts.setting("inspiration"), facts.setting("expiration-least")
    cycle = 60 / rate.number("/min")
    longest = cycle / (1 + Decimal(least.value))
    seconds = min(Decimal(row.value), _down(longest, 2))
    out = Decimal(str(expiration_per_inspiration(float(rate.number("/min")), float(seconds))))
    value = Quantity.of(seconds, "s")
    why = (
        ""
        if seconds == row.value
        else f", shorter than {row.quantity} so that breathing out lasts {least.value} times as long"
    )
    return Worked(value, Working(f"{value} of {figure(round_significant(cycle, 3))} s{why}", sources=row.source)), (
        f"1:{figure(out.quantize(Decimal('0.1'), rounding=ROUND_FLOOR))}"
    )


def _peep(facts: BreathingTables, peep: Quantity | None) -> Quantity:
    value = facts.setting("peep").quantity if peep is None else peep
    if not 0 <= value.number("cmH2O") <= facts.setting("peep-high").value:
        raise OutOfRange(PEEP, f"{value} is not a usual one.", f"Give 0 to {facts.setting('peep-high').quantity}.")
    return value


def _compliance(facts: BreathingTables, species: str, kg: Decimal, own: Quantity | None) -> Worked[Quantity]:
    if own is None:
        row = facts.setting(f"compliance-{species}")
        value = Quantity.of(round_significant(kg * Decimal(row.value), 3), "mL/cmH2O")
        return Worked(value, Working(f"{row.quantity} x {figure(kg)} kg = {value}", held=(row.says, row.note),
                                     sources=row.source, memory=row.memory, estimated=True))  # fmt: skip
    low, high = (Decimal(facts.setting(f"compliance-{end}").value) * kg for end in ("low", "high"))
    if not low <= own.number("mL/cmH2O") <= high:
        raise OutOfRange(COMPLIANCE, f"{own} is not that of an animal of {figure(kg)} kg; mL/cmH2O of the whole animal is meant.",
                         f"Give {figure(low, 2)} to {figure(high, 2)} mL/cmH2O.")  # fmt: skip
    return Worked(own, Working(f"{own}, as measured", (Input(COMPLIANCE, str(own), Mark.MEASURED),)))


def _expected_peak(tidal: Quantity, compliance: Worked[Quantity], peep: Quantity) -> Worked[Quantity]:
    need = tidal.number("mL") / compliance.value.number("mL/cmH2O") + peep.number("cmH2O")
    value = Quantity.of(round_significant(need, 2), "cmH2O")
    return Worked(value, Working(
        f"{tidal} / {compliance.value} + {peep} = {value}, predicted", compliance.working.inputs,
        held=("resistance of the tube comes on top",), sources=compliance.working.sources,
        memory=compliance.working.memory, estimated=True))  # fmt: skip


def _alarms(
    facts: BreathingTables, tidal: Quantity | None, peak: Quantity, peep: Quantity, hard: int
) -> tuple[Alarm, ...]:
    pressure, volume, apnoea = (facts.setting(f"alarm-{kind}") for kind in ("pressure", "volume", "apnoea"))
    top, base, step = peak.number("cmH2O"), peep.number("cmH2O"), Decimal(pressure.value)
    high = min(top + step, Decimal(hard))
    low = max(top - step, base + (top - base) / 2)
    part = Decimal(volume.value) / 100

    def alarm(name: str, value: Decimal, symbol: str, says: str) -> Alarm:
        return Alarm(name=name, value=Quantity.of(round_significant(value, 2), symbol), says=says, memory=True)

    volumes = () if tidal is None else (
        alarm("volume high", tidal.number("mL") * (1 + part), "mL", "set for another animal"),
        alarm("volume low", tidal.number("mL") * (1 - part), "mL", "leak, or a stiffer chest"),
    )  # fmt: skip
    return (
        alarm("pressure high", high, "cmH2O", "cough, kinked tube, shut valve"),
        alarm("pressure low", low, "cmH2O", "disconnection or leak"),
        *volumes,
        alarm("apnoea", Decimal(apnoea.value), "s", "no breath for so long"),
    )


def _cautions(
    facts: BreathingTables, species: str, kg: Decimal, tidal: Quantity, rate: Quantity, peak: Quantity,
    compliance: Worked[Quantity], mode: str,
) -> tuple[str, ...]:  # fmt: skip
    lean = Quantity.of(kg, "kg")
    words = [
        j.words for j in judge(facts, species, lean, tidal=tidal, peak=peak, rate=rate) if j.zone is not Zone.USUAL
    ]
    if compliance.working.memory:
        words.append("Compliance is a dog's, from memory for a cat: begin lower and read pressure and chest.")
    if mode == "pressure":
        words.append("Pressure mode: the breath changes with the chest. Read the volume that is breathed out.")
    return tuple(words)


def _judged(name: str, value: Quantity, limit: Guardrail, shown: str) -> Judged:
    zone = limit.zone(value)
    said = {Zone.USUAL: "within the usual", Zone.UNUSUAL: "outside the usual", Zone.FORBIDDEN: "over the hard stop"}[
        zone
    ]
    return Judged(name=name, value=value, zone=zone, limit=limit, says=f"{shown}, {said} ({limit.sentence}).")


def _typed_tidal(tidal: Quantity) -> Quantity:
    if tidal.number("mL") <= 0:
        raise OutOfRange(TIDAL, f"{tidal} is no breath.", "Give mL, like 26 mL.")
    return tidal


def _typed_rate(rate: Quantity) -> Quantity:
    if rate.number("/min") <= 0:
        raise OutOfRange("ventilator rate", f"{rate} is no rate.", "Give breaths a minute, like 12 /min.")
    return rate


def _whole(pressure: Quantity) -> Quantity:
    """Down to a whole centimetre: pressure mode begins low."""
    return Quantity.of(_down(pressure.number("cmH2O"), 0), "cmH2O")


def _down(value: Decimal, places: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_FLOOR)
