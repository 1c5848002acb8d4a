"""Words for the time asleep: airway, readings, signs, settings, moments, trouble, arrest."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.case import events as ev
from spiracle.quantity import figure, printed_size
from spiracle.sheets.names import Names, joined, ml, observed, plain, unit_text
from spiracle.sheets.readings import READINGS

SIGNS = {
    "co2": "CO₂ breaths", "left chest": "left chest heard", "right chest": "right chest heard",
    "chest moves": "chest moves with the bag", "bag moves": "bag moves with the breath", "mist": "mist in the tube",
    "palpation": "one tube felt in the neck", "stylet out": "no stylet inside", "depth": "depth at the teeth",
    "valve open": "relief valve OPEN", "oxygen flows": "oxygen flows", "tied": "tied",
    "direct view": "seen between the folds",
}  # fmt: skip


def _attempt(e: ev.AttemptBegan, n: Names) -> str:
    who = f"by {n.hand(e.operator)}" if e.operator else ""
    new = f"changed: {e.changed}" if e.changed else ""
    size = f"tube attempt began, ID {printed_size(e.tube_id_mm)} mm"
    return joined((size, who, e.blade and f"blade {e.blade}", *e.aids, new))


def _attempt_end(e: ev.AttemptEnded, n: Names) -> str:
    how = {"in": "tube in", "out": "tube came out", "oesophagus": "tube was in the oesophagus, taken out"}[e.outcome]
    low = f"lowest SpO₂ {figure(e.lowest_spo2)} %" if e.lowest_spo2 is not None else ""
    return joined((f"tube attempt ended: {how}", e.view and f"view {e.view}", e.difficulty, low))


def _withdrawn(e: ev.TubeWithdrawn, n: Names) -> str:
    at = f"at {figure(e.leak_cmh2o)} cmH₂O" if e.leak_cmh2o is not None else ""
    return joined((joined((f"tube taken out, animal still asleep: {e.reason}", at), " "), e.note))


def tube_words(e: ev.TubePlaced) -> str:
    """The tube that stayed: size as printed on it, cuff, length, mark at the teeth."""
    return joined((
        f"{e.kind} ID {printed_size(e.id_mm)} mm", f"OD {printed_size(e.od_mm)} mm" if e.od_mm is not None else "",
        "cuffed" if e.cuffed else "uncuffed",
        f"cut to {figure(e.cut_length_cm)} cm" if e.cut_length_cm is not None else "",
        f"{figure(e.depth_cm)} cm at the teeth" if e.depth_cm is not None else "",
    ))  # fmt: skip


def _tube(e: ev.TubePlaced, n: Names) -> str:
    return tube_words(e)


def _proof(e: ev.ProofNoted, n: Names) -> str:
    name = f"CO₂ on {e.breaths} breaths" if e.sign == "co2" and e.breaths is not None else SIGNS[e.sign]
    depth = f"{figure(e.depth_cm)} cm" if e.depth_cm is not None else ""
    return joined((name if e.seen else f"not so: {name}", depth, e.detail))


def _proven(e: ev.AirwayProven, n: Names) -> str:
    second = f"second person {n.hand(e.second_person)}" if e.second_person else ""
    return joined((f"airway proven by {e.method}", second))


def _cuff_pressure(e: ev.CuffChecked) -> str:
    """In the unit of the gauge that was read: the record keeps what was seen."""
    if e.pressure_mmhg is not None:
        return f"cuff {figure(e.pressure_mmhg)} mmHg"
    return f"cuff {figure(e.pressure_cmh2o)} cmH₂O" if e.pressure_cmh2o is not None else "cuff"


def _cuff(e: ev.CuffChecked, n: Names) -> str:
    return joined((
        _cuff_pressure(e),
        f"{ml(e.volume_ml)} of air" if e.volume_ml is not None else "",
        f"leaks at {figure(e.leak_cmh2o)} cmH₂O" if e.leak_cmh2o is not None else "",
    ))  # fmt: skip


def quality_words(quality: str) -> str:
    return {"questionable": "signal questionable", "invalid": "signal invalid"}.get(quality, "")


def _reading(e: ev.ReadingTaken, n: Names) -> str:
    shape = READINGS[e.reading]
    figure_ = f"{shape.title} {observed(e.value, shape.places)} {unit_text(e.unit)}".rstrip()
    return joined((figure_, e.site, e.method, e.monitor, raw_words(e.raw, e.value), quality_words(e.quality)))


def raw_words(raw: str, *values: Decimal | None) -> str:
    """What a device sent, where the entry does not say it already: another unit, or a value it did not vouch for.

    >>> raw_words("5.5 kPa", Decimal(41)), raw_words("97 %", Decimal(97))
    ('sent as 5.5 kPa', '')
    """
    said = {figure(v) for v in values if v is not None}
    return f"sent as {raw}" if raw and raw.split(" ", maxsplit=1)[0] not in said else ""


def pressure_figures(e: ev.PressureTaken) -> str:
    """Systolic over diastolic, mean in brackets: only what was measured stands.

    A Doppler gives a systolic figure alone and stays so.
    """
    sap = observed(e.sap, 0) if e.sap is not None else "—"
    pair = f"{sap}/{observed(e.dap, 0)}" if e.dap is not None else sap
    if e.map is None:
        return pair
    return f"({observed(e.map, 0)})" if pair == "—" else f"{pair} ({observed(e.map, 0)})"


def _pressure(e: ev.PressureTaken, n: Names) -> str:
    cuff = f"cuff {figure(e.cuff_cm)} cm" if e.cuff_cm is not None else ""
    return joined((f"pressure {pressure_figures(e)} mmHg", e.method, cuff, e.site, e.monitor,
                   raw_words(e.raw.split("; ")[0], e.sap, e.map, e.dap), quality_words(e.quality)))  # fmt: skip


def _sign(e: ev.SignSeen, n: Names) -> str:
    name = {"pulse": "pulse by finger", "palpebral": "palpebral reflex", "effort": "breathing effort"}.get(
        e.sign, e.sign
    )
    return f"{name}: {e.finding}"


def _gas(e: ev.GasSet, n: Names) -> str:
    other = f"{e.other} {figure(e.other_l_min)} L/min" if e.other and e.other_l_min is not None else e.other
    return joined((f"oxygen {figure(e.oxygen_l_min)} L/min", other))


def _vaporiser(e: ev.VaporiserSet, n: Names) -> str:
    return f"{n.drug(e.agent)} off" if not e.percent else f"{n.drug(e.agent)} dial to {figure(e.percent)} %"


def _ventilation(e: ev.VentilationSet, n: Names) -> str:
    return joined((
        joined((f"breathing {e.mode}", e.held_by and f"held to {e.held_by}"), ", "), f"{e.rate} /min" if e.rate is not None else "",
        ml(e.tidal_ml) if e.tidal_ml is not None else "",
        f"peak {figure(e.peak_cmh2o)} cmH₂O" if e.peak_cmh2o is not None else "",
        f"PEEP {figure(e.peep_cmh2o)} cmH₂O" if e.peep_cmh2o is not None else "",
        f"breath in {figure(e.inspiration_s)} s" if e.inspiration_s is not None else "", e.reason,
    ))  # fmt: skip


def _warming(e: ev.WarmingSet, n: Names) -> str:
    return joined((f"warming: {e.device_used}", e.setting))


def _sample(e: ev.SampleAnalysed, n: Names) -> str:
    said = joined(f"{name} {value} {unit_text(unit)}".rstrip() for name, value, unit in e.results)
    return f"{e.kind}: {said or 'no result noted'}"


def _artefact(e: ev.ArtefactMarked, n: Names) -> str:
    return joined(("a value was judged an artefact", e.reason))


def _mark(e: ev.TimeMarked, n: Names) -> str:
    return joined((e.mark, e.detail))


def _position(e: ev.Positioned, n: Names) -> str:
    apart = {True: "disconnected first", False: "NOT disconnected first", None: ""}[e.disconnected_first]
    eyes = "eyes lubricated" if e.eyes_lubricated else ""
    return joined(
        (
            e.position and f"position: {e.position}",
            apart,
            eyes,
            e.pads and f"pads: {e.pads}",
            e.to_room and f"to {e.to_room}",
        )
    )


def _trouble(e: ev.TroubleBegan, n: Names) -> str:
    return joined((f"trouble: {plain(e.kind)}", e.seen))


def _treated(e: ev.TroubleTreated, n: Names) -> str:
    return joined((f"done about it: {e.action}", e.order and f"by order: {n.order(e.order)}"))


def _trouble_end(e: ev.TroubleEnded, n: Names) -> str:
    return joined(("trouble over", e.response))


def _help(e: ev.HelpCalled, n: Names) -> str:
    return joined((f"{n.hand(e.whom)} called", e.why))


def _came(e: ev.HelpArrived, n: Names) -> str:
    return f"{n.hand(e.whom)} came"


def _arrest(e: ev.ArrestBegan, n: Names) -> str:
    lead = f"led by {n.hand(e.leader)}" if e.leader else ""
    return joined(("arrest called", e.first_rhythm and f"first rhythm {e.first_rhythm}", lead))


def _arrest_step(e: ev.ArrestStepDone, n: Names) -> str:
    name = {"rhythm": "rhythm at the pause", "shock": "shock", "compressor": "change of who presses", "airway": "airway",
            "agent off": "agent off", "etco2": "end-tidal CO₂", "other": "step"}[e.step]  # fmt: skip
    return joined((name, f"{figure(e.joules)} J" if e.joules is not None else "", e.detail))


def _arrest_end(e: ev.ArrestEnded, n: Names) -> str:
    how = "pulse is back" if e.outcome == "pulse back" else "resuscitation stopped"
    return joined((how, e.detail))


def _paired(e: ev.MonitorPaired, n: Names) -> str:
    names = f"it names {e.patient}" if e.patient else ""
    return joined((f"monitor on: {e.name or e.monitor}", e.place, names, e.seen))


def _unpaired(e: ev.MonitorUnpaired, n: Names) -> str:
    return joined((f"monitor off: {e.monitor}", e.reason))


SAYS: Mapping[type[ev.Event], Callable[[Any, Names], str]] = {
    ev.AttemptBegan: _attempt, ev.AttemptEnded: _attempt_end, ev.TubePlaced: _tube, ev.ProofNoted: _proof,
    ev.TubeWithdrawn: _withdrawn, ev.AirwayProven: _proven, ev.CuffChecked: _cuff, ev.ReadingTaken: _reading, ev.PressureTaken: _pressure,
    ev.SignSeen: _sign, ev.GasSet: _gas, ev.VaporiserSet: _vaporiser, ev.VentilationSet: _ventilation,
    ev.WarmingSet: _warming, ev.SampleAnalysed: _sample, ev.ArtefactMarked: _artefact, ev.TimeMarked: _mark,
    ev.Positioned: _position, ev.TroubleBegan: _trouble, ev.TroubleTreated: _treated, ev.TroubleEnded: _trouble_end,
    ev.HelpCalled: _help, ev.HelpArrived: _came, ev.ArrestBegan: _arrest, ev.ArrestStepDone: _arrest_step,
    ev.ArrestEnded: _arrest_end, ev.MonitorPaired: _paired, ev.MonitorUnpaired: _unpaired,
}  # fmt: skip
