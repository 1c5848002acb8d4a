"""What is read, seen and set during anaesthesia, and what goes wrong. A surprising number is asked about; an impossible one
is refused; nothing is smoothed."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.animal import described
from spiracle.case.decide_people import need_words, person
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.from_device import from_device
from spiracle.case.questions import asking
from spiracle.case.ruling import Rules
from spiracle.case.standing import dosing_weight_kg, in_arrest, species
from spiracle.case.tube import went_in
from spiracle.quantity import figure, round_significant
from spiracle.refusals import AskAgain, Contradiction, Missing, NotOneOf, OutOfRange, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

# A unit and the one it is taken for, with the factor between: 7.50062 mmHg in a kPa (NIST SP 811), 18.016 mg/dL of glucose in
# a mmol/L (its molar mass, 180.16 g/mol).
SLIPS = {("", "mmHg"): ("kPa", Decimal("7.50062")), ("glucose", "mg/dL"): ("mmol/L", Decimal("18.016"))}
COMPARE = timedelta(hours=1)  # an older value says nothing about a surprise


def reading_taken(case: Case, event: ev.ReadingTaken, facts: Facts, _now: datetime) -> None:
    if not event.unit:
        raise Missing("unit", "is not given.", f"Give it, like {facts.circulation.bounds(event.reading).unit}.")
    if event.source == "device":
        from_device(case, event, ((event.value, event.unit),), facts)
    # An invalid value of a device is kept as such and acted on by nothing; one that cannot be is no value, whatever its quality.
    facts.circulation.check_reading(
        event.reading,
        event.value,
        str(species(case)),
        last=_last(case, event),
        confirmed=event.confirmed or event.source == "device",
        unit=event.unit,
    )
    if not event.confirmed and event.source == "hand":
        _other_unit(case, event.reading, event.value, event.unit, facts)


def _other_unit(case: Case, reading: str, value: Decimal, unit: str, facts: Facts) -> None:
    """A number that would be usual in the other unit of its kind is asked about, whether or not there is one before it."""
    if in_arrest(case):
        return
    slip = SLIPS.get((reading, unit)) or SLIPS.get(("", unit))
    kind, kg = str(species(case)), dosing_weight_kg(case)
    size = (
        facts.patient.size_class(kind, kg, described(case, "breed"))
        if kg is not None
        else "cat"
        if kind == "cat"
        else "medium"
    )
    limit = facts.circulation.limit(reading, kind, size)
    if slip is None or limit is None or limit.low is None or limit.high is None or value == 0:
        return
    other, factor = slip
    if value < limit.low / 2 and limit.low * Decimal("0.7") <= value * factor <= limit.high * Decimal("1.5"):
        raise AskAgain(facts.circulation.bounds(reading).title, f"{figure(value)} {unit}: read in {other}?",
                       f"Give it in {unit}, or confirm it.", use=f"{figure(value * factor, 2)} {unit}")  # fmt: skip


def _last(case: Case, event: ev.ReadingTaken) -> Decimal | None:
    """The value before it, of the last hour, not struck, no artefact, in the same unit."""
    for line in reversed(case.every(ev.ReadingTaken)):
        past = line.event
        if not isinstance(past, ev.ReadingTaken) or line.struck or line.artefact or past.quality == "invalid":
            continue
        same = past.reading == event.reading and past.unit == event.unit
        if same and event.happened_at - COMPARE <= past.happened_at <= event.happened_at:
            return past.value
    return None


def pressure_taken(case: Case, event: ev.PressureTaken, facts: Facts, _now: datetime) -> None:
    if event.sap is None and event.map is None and event.dap is None:
        raise Missing("pressure", "no number is given.", "Give systolic, mean or diastolic.")
    if event.method == "Doppler" and (event.map is not None or event.dap is not None):
        raise Contradiction("method", "a Doppler gives one number.", "Give the systolic alone, or name the method.")
    if event.source == "device":
        given = (value for value in (event.sap, event.map, event.dap) if value is not None)
        from_device(case, event, tuple((value, "mmHg") for value in given), facts)
    _in_order(event, facts)
    for name in ("sap", "map", "dap"):
        value = getattr(event, name)
        if value is not None:
            facts.circulation.check_reading(name, value, str(species(case)), last=_last_pressure(case, event, name),
                                            confirmed=event.confirmed or event.source == "device")  # fmt: skip
            if not event.confirmed and event.source == "hand":
                _other_unit(case, name, value, "mmHg", facts)


def _in_order(event: ev.PressureTaken, facts: Facts) -> None:
    """Systolic, mean, diastolic from high to low: only what a device itself calls invalid may stand otherwise, as it was sent."""
    if event.source != "device" or event.quality != "invalid":
        facts.circulation.check_pressure(event.sap, event.map, event.dap)


def _last_pressure(case: Case, event: ev.PressureTaken, name: str) -> Decimal | None:
    for line in reversed(case.every(ev.PressureTaken)):
        past = line.event
        if not isinstance(past, ev.PressureTaken) or line.struck or line.artefact or past.quality == "invalid":
            continue
        value: Decimal | None = getattr(past, name)
        same = past.method == event.method and value is not None
        if same and event.happened_at - COMPARE <= past.happened_at <= event.happened_at:
            return value
    return None


def sign_seen(_case: Case, event: ev.SignSeen, _facts: Facts, _now: datetime) -> None:
    need_words(event.finding, "finding", "Say what was seen.")


def _enough_gas(case: Case, event: ev.GasSet, facts: Facts) -> None:
    """Under what any source takes for this system and weight CO2 is breathed again: asked while a tube lies on it."""
    machine, kg = case.last(ev.MachineAssigned), dosing_weight_kg(case)
    if machine is None or not machine.circuit or kg is None or went_in(case) is None:
        return
    circuit = facts.breathing.circuit(machine.circuit)
    row = facts.breathing.gas(circuit.id, str(species(case)), "maintenance")
    total = event.oxygen_l_min + (event.other_l_min or Decimal(0))
    if circuit.rebreathing or total * 1000 >= kg * row.low or total == 0:
        return
    each = round_significant(total * 1000 / kg, 3)
    raise AskAgain("fresh gas", f"is {figure(each)} mL/kg/min on a {circuit.name}, under the {row.low} that is taken at least: CO2 is "
                   "breathed again.", "Turn it up, or confirm what was read.")  # fmt: skip


def gas_set(case: Case, event: ev.GasSet, facts: Facts, _now: datetime) -> None:
    inside("oxygen flow", event.oxygen_l_min)
    inside("other gas flow", event.other_l_min)
    if event.other_l_min and not event.other:
        raise Missing("other gas", "is not named.", "Name the gas.")
    other = event.other_l_min or Decimal(0)
    with asking(event):
        if event.oxygen_l_min == 0 and (other or went_in(case) is not None):
            raise AskAgain(
                "oxygen flow", "zero, with an animal on the system.", "Turn it on, or confirm that it is off."
            )
    least = Decimal(facts.breathing.setting("mixture-oxygen-ask").value)
    with asking(event):
        if other and event.oxygen_l_min * 100 < (event.oxygen_l_min + other) * least:
            share = event.oxygen_l_min * 100 / (event.oxygen_l_min + other)
            raise AskAgain(
                "oxygen flow", f"is {figure(share, 2)} % of the mixture.", "Give more oxygen, or confirm what was read."
            )
    with asking(event):
        _enough_gas(case, event, facts)


def vaporiser_set(_case: Case, event: ev.VaporiserSet, facts: Facts, _now: datetime) -> None:
    known = facts.hospital.agents
    if known and event.agent not in known:
        raise NotOneOf("agent", f"{event.agent!r} is not used here.", "One of: " + ", ".join(known) + ".")
    inside("vaporiser", event.percent)
    top = facts.breathing.last_mark(event.agent)
    if top is not None and event.percent > top:
        raise OutOfRange("vaporiser", f"{event.percent} % is past the last mark of a dial for {event.agent}.",
                         f"Give 0 to {top} %.")  # fmt: skip


def warming_set(_case: Case, event: ev.WarmingSet, _facts: Facts, _now: datetime) -> None:
    need_words(event.device_used, "device", "Name it.")


def sample_analysed(_case: Case, event: ev.SampleAnalysed, _facts: Facts, _now: datetime) -> None:
    need_words(event.kind, "kind", "Name the sample.")
    if not event.results or any(not name.strip() or not value.strip() for name, value, _ in event.results):
        raise Missing("results", "a name or value is empty.", "Give each as printed.")


def positioned(case: Case, event: ev.Positioned, _facts: Facts, _now: datetime) -> None:
    if not (event.position.strip() or event.to_room.strip() or event.pads.strip() or event.eyes_lubricated):
        raise Missing("position", "is not given, nor what else was done.", "Say how the animal lies, or where it went.")
    moved = bool(event.position.strip() or event.to_room.strip())
    if moved and event.disconnected_first is None and went_in(case) is not None and not in_arrest(case):
        raise Missing(
            "turn", "whether the tube was off the circuit is not said.", "Say yes or no: was it disconnected first?"
        )


def preoxygenation_began(_case: Case, event: ev.PreoxygenationBegan, _facts: Facts, _now: datetime) -> None:
    inside("oxygen flow", event.flow_l_min)


def time_marked(_case: Case, event: ev.TimeMarked, _facts: Facts, _now: datetime) -> None:
    if event.mark in {"packs in", "packs out"} and event.detail and not event.detail.isdecimal():
        raise OutOfRange("packs", f"{event.detail[:20]!r} is not a count.", "Give how many, as a whole number.")


# ---- trouble, help, arrest


def trouble_began(case: Case, event: ev.TroubleBegan, _facts: Facts, _now: datetime) -> None:
    need_words(event.trouble, "trouble", "Give the trouble an id.")
    need_words(event.kind, "kind", "Say what kind of trouble.")
    if any(t.trouble == event.trouble for t in case.live(ev.TroubleBegan)):
        raise Contradiction("trouble", f"{event.trouble} began already.", "Give a new trouble a new id.")


def _open_trouble(case: Case, name: str) -> None:
    if not any(t.trouble == name for t in case.live(ev.TroubleBegan)):
        raise Unknown("trouble", f"{name!r} was not noted.", "Note when it began.")


def trouble_treated(case: Case, event: ev.TroubleTreated, _facts: Facts, _now: datetime) -> None:
    _open_trouble(case, event.trouble)
    need_words(event.action, "action", "Say what was done.")


def trouble_ended(case: Case, event: ev.TroubleEnded, _facts: Facts, _now: datetime) -> None:
    _open_trouble(case, event.trouble)
    if any(t.trouble == event.trouble for t in case.live(ev.TroubleEnded)):
        raise Contradiction("trouble", f"{event.trouble} ended already.", "Begin a new one if it came back.")


def arrest_step_done(_case: Case, event: ev.ArrestStepDone, _facts: Facts, _now: datetime) -> None:
    inside("energy", event.joules)


def recovery_watch_began(_case: Case, event: ev.RecoveryWatchBegan, facts: Facts, _now: datetime) -> None:
    person(facts, event.watcher, "watcher")
    inside("every", event.every_min)


def recovery_looked(case: Case, event: ev.RecoveryLooked, facts: Facts, _now: datetime) -> None:
    for name, value in (("heart_rate", event.heart_rate), ("respiratory_rate", event.respiratory_rate),
                        ("spo2", event.spo2), ("temperature", event.temperature_c)):  # fmt: skip
        if value is not None:
            facts.circulation.check_reading(name, Decimal(value), str(species(case)), confirmed=True)


RULES: Rules = {
    ev.ReadingTaken: reading_taken,
    ev.PressureTaken: pressure_taken,
    ev.SignSeen: sign_seen,
    ev.GasSet: gas_set,
    ev.VaporiserSet: vaporiser_set,
    ev.WarmingSet: warming_set,
    ev.SampleAnalysed: sample_analysed,
    ev.Positioned: positioned,
    ev.PreoxygenationBegan: preoxygenation_began,
    ev.TimeMarked: time_marked,
    ev.TroubleBegan: trouble_began,
    ev.TroubleTreated: trouble_treated,
    ev.TroubleEnded: trouble_ended,
    ev.ArrestStepDone: arrest_step_done,
    ev.RecoveryWatchBegan: recovery_watch_began,
    ev.RecoveryLooked: recovery_looked,
}
