"""The seven phases: how far the case has come, and what each phase still lacks."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable

from spiracle.case import events as ev
from spiracle.sheets.shapes import PhaseName, PhaseState, RecordGap
from spiracle.sheets.told import Told, purpose_of

PHASES: tuple[PhaseName, ...] = ("assess", "plan", "prepare", "induce", "maintain", "recover", "record")


def phases(t: Told, gaps: Iterable[RecordGap]) -> tuple[PhaseState, ...]:
    """Phases before the present one are done, with their gaps counted; those ahead are ahead, gaps not yet counted."""
    here = PHASES.index(present(t))
    closed = both_signed(t)
    words: dict[str, list[str]] = defaultdict(list)
    for gap in gaps:
        if not gap.explained:
            words[gap.phase].append(gap.title)
    count = Counter({p: len(w) for p, w in words.items()})
    return tuple(
        PhaseState(
            phase=phase,
            state="done" if place < here or closed else "open" if place == here else "ahead",
            gaps=count[phase] if place <= here else 0,
            gap_words=tuple(words[phase]) if place <= here else (),
        )
        for place, phase in enumerate(PHASES)
    )


def present(t: Told) -> PhaseName:
    """The furthest phase that has begun: an emergency may be asleep with its plan unsigned."""
    begun: dict[PhaseName, Callable[[Told], bool]] = {
        "record": _record_began,
        "recover": _recovery_began,
        "maintain": _maintenance_began,
        "induce": _induction_began,
        "prepare": _preparation_began,
        "plan": _planning_began,
    }
    return next((phase for phase, test in begun.items() if test(t)), "assess")


def both_signed(t: Told) -> bool:
    roles = {s.role for s in t.case.live(ev.RecordSigned)}
    return roles == {"technician", "veterinarian"}


def _record_began(t: Told) -> bool:
    return t.ended_at is not None or bool(t.case.live(ev.Discharged) or t.case.live(ev.RecordSigned))


def _recovery_began(t: Told) -> bool:
    return t.extubated_at is not None or t.mark("agent off") is not None or bool(t.case.live(ev.RecoveryWatchBegan))


def _maintenance_began(t: Told) -> bool:
    if t.case.live(ev.AirwayProven) or t.mark("procedure start"):
        return True
    return any(v.percent for v in t.case.live(ev.VaporiserSet))


def _induction_began(t: Told) -> bool:
    return t.induced_at is not None or bool(t.case.live(ev.AttemptBegan) or t.case.live(ev.TubePlaced))


def _preparation_began(t: Told) -> bool:
    prepared: tuple[type[ev.Event], ...] = (ev.PlanApproved, ev.SyringeDrawn, ev.CatheterPlaced)
    if any(t.case.live(kind) for kind in prepared):
        return True
    lists = any(c.list in {"machine", "patient"} for c in t.case.live(ev.CheckLineDone))
    return lists or any(purpose_of(g, t.orders) == "premedication" for g in t.given)


def _planning_began(t: Told) -> bool:
    return bool(t.orders) or (t.weight is not None and t.case.last(ev.AsaAssigned) is not None)
