"""How one sees that an element of the record is there, or that this case called for it. Struck entries count for nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.events import Event
from spiracle.case.streams import streams_of

if TYPE_CHECKING:
    from spiracle.case.syringes import Infusion
    from spiracle.sheets.told import Seen, Told

Test = Callable[["Told"], bool]


def there(*kinds: type[Event]) -> Test:
    """At least one event of these kinds stands."""
    return lambda t: any(t.case.live(k) for k in kinds)


def never(t: Told) -> bool:
    return False


def always(t: Told) -> bool:
    return True


def asleep_once(t: Told) -> bool:
    return t.induced_at is not None


def tubed(t: Told) -> bool:
    return bool(t.case.live(ev.TubePlaced))


def controlled(t: Told) -> bool:
    return any(t.facts.drugs.controlled_class(d.drug) for d in t.case.live(ev.SyringeDrawn))


def seen(*readings: str) -> Test:
    """A usable value of one of these while the animal was asleep."""
    return lambda t: any(s.current and _asleep_at(t, s) for r in readings for s in t.seen.get(r, ()))


def _asleep_at(t: Told, s: Seen) -> bool:
    if t.induced_at is None:
        return True
    return s.at >= t.induced_at and (t.woken_at is None or s.at <= t.woken_at)


def signed_by(role: str) -> Test:
    return lambda t: any(s.role == role for s in t.case.live(ev.RecordSigned))


def sign(*kinds: str) -> Test:
    return lambda t: any(s.sign in kinds for s in t.case.live(ev.SignSeen))


def list_done(*names: str) -> Test:
    return lambda t: any(c.list in names for c in t.case.live(ev.CheckLineDone))


def part_taken(part: str) -> Test:
    return lambda t: any(p.part == part for p in t.case.live(ev.PersonJoined))


def named(t: Told) -> bool:
    return bool(t.name and (t.breed or t.case.live(ev.PatientDescribed)))


def fluid_running(t: Told) -> bool:
    return any(i.started.fluid for i in t.infusions) or bool(t.case.live(ev.FluidGiven))


def procedure_timed(t: Told) -> bool:
    return t.mark("procedure start") is not None and t.mark("procedure end") is not None


def had_procedure(t: Told) -> bool:
    return t.mark("procedure start") is not None or bool(t.case.live(ev.ProcedurePlanned))


def cuffed(t: Told) -> bool:
    return any(p.cuffed for p in t.case.live(ev.TubePlaced))


def locals_given(t: Told) -> bool:
    return any(t.facts.drugs.class_of(g.drug) == "local" for g in t.given)


def sited(t: Told) -> bool:
    return all(g.site or g.side for g in t.given if t.facts.drugs.class_of(g.drug) == "local")


def lots_known(t: Told) -> bool:
    return all(s.lot for s in t.case.live(ev.SyringeDrawn))


def witnessed(t: Told) -> bool:
    wasted = [w for w in t.case.live(ev.DrugWasted) if t.facts.drugs.controlled_class(w.drug)]
    return all(w.witness and w.witness != w.by for w in wasted)


def troubled(t: Told) -> bool:
    return bool(t.case.live(ev.TroubleBegan))


def troubles_answered(t: Told) -> bool:
    ended = {e.trouble for e in t.case.live(ev.TroubleEnded)}
    return all(b.trouble in ended for b in t.case.live(ev.TroubleBegan))


def arrest_closed(t: Told) -> bool:
    return len(t.case.live(ev.ArrestEnded)) >= len(t.case.live(ev.ArrestBegan))


def watched(t: Told) -> bool:
    return bool(t.case.live(ev.AnalgesiaPlanned)) and bool(t.case.live(ev.RecoveryWatchBegan))


def watch_lacking(t: Told) -> str:
    """Which of the two is missing: the pain relief to come, or the one who watches."""
    relief, watcher = t.case.live(ev.AnalgesiaPlanned), t.case.live(ev.RecoveryWatchBegan)
    return " and ".join(w for w, there_ in (("pain relief after", relief), ("a named watcher", watcher)) if not there_)


def pain_after(t: Told) -> bool:
    return any(p.phase in {"recover", "record"} for p in t.case.live(ev.PainScored))


def pain_before(t: Told) -> bool:
    return any(p.phase in {"assess", "plan", "prepare"} for p in t.case.live(ev.PainScored))


def infusing(t: Told) -> bool:
    return any(_drug_in(t, i) for i in t.infusions)


def infusions_closed(t: Told) -> bool:
    return not any(i.running for i in t.infusions if _drug_in(t, i))


def _drug_in(t: Told, infusion: Infusion) -> bool:
    """A bag with drugs in it runs as a fluid and is an infusion of its drugs all the same."""
    return not infusion.started.fluid or any(s.part is not None for s in streams_of(t.case, t.facts, infusion))


def relaxed(t: Told) -> bool:
    return any(t.facts.drugs.class_of(g.drug) == "relaxant" for g in t.given)


def ventilated(t: Told) -> bool:
    return any(v.mode == "ventilator" for v in t.case.live(ev.VentilationSet))


def sampled(t: Told) -> bool:
    return bool(t.case.live(ev.SampleAnalysed))


def relieved(t: Told) -> bool:
    return any(p.part == "relief" for p in t.case.live(ev.PersonJoined))


def baseline(t: Told) -> bool:
    """Temperature, pulse and breaths of one examination."""
    return any(
        e.heart_rate is not None and e.respiratory_rate is not None and e.temperature_c is not None
        for e in t.case.live(ev.Examined)
    )


def infusions_to_close(t: Told) -> bool:
    return infusing(t) and t.extubated_at is not None


def procedure_to_time(t: Told) -> bool:
    return had_procedure(t) and t.extubated_at is not None


def block_watched(t: Told) -> bool:
    return seen("train_of_four")(t) or sign("block")(t)


def signed_by_both(t: Told) -> bool:
    return signed_by("technician")(t) and signed_by("veterinarian")(t)
