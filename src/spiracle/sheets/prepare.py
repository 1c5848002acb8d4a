"""Preparation: lists read aloud line by line, what is still to draw, what is drawn, what was given before induction."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from spiracle import breathing
from spiracle.case import events as ev
from spiracle.case.machines import day_check, day_of
from spiracle.quantity import figure
from spiracle.sheets.given import given_line
from spiracle.sheets.machines import state_words
from spiracle.sheets.names import joined
from spiracle.sheets.oxygen_now import oxygen_now
from spiracle.sheets.shapes import CheckList, DrugLine, GivenLine, ListLine, Num, PrepareSheet
from spiracle.sheets.syringes import drawn_syringes
from spiracle.sheets.told import Told, purpose_of
from spiracle.sheets.words import words

ListName = Literal["machine", "patient", "sign-in", "time-out", "recovery"]
LISTS: tuple[tuple[ListName, str], ...] = (
    ("machine", "Machine, read aloud"),
    ("patient", "Before induction, read aloud"),
    ("sign-in", "Sign-in"),
    ("time-out", "Time-out"),
    ("recovery", "Before recovery"),
)
BOOKED = ("patient.machine-today", "sign-in.machine")
State = Literal["done", "fault", "skipped", "now", "ahead"]


def prepare(t: Told, lines: tuple[DrugLine, ...]) -> PrepareSheet:
    began = t.case.last(ev.PreoxygenationBegan)
    ended = t.case.last(ev.PreoxygenationEnded)
    catheter = t.case.last(ev.CatheterPlaced)
    machine = t.case.last(ev.MachineAssigned)
    return PrepareSheet(
        lists=tuple(check_list(t, name, title) for name, title in LISTS),
        to_draw=to_draw(t, lines),
        drawn=drawn_syringes(t, lines),
        premedication=premedication(t),
        sedation=_sedation(t),
        premedicated_at=premedicated_at(t),
        preoxygenation_from=began.happened_at if began else None,
        preoxygenation_ended=began is not None and ended is not None and ended.happened_at >= began.happened_at,
        catheter=words(catheter, t.names) if catheter else "",
        machine=joined((machine.machine, machine.circuit)) if machine else "",
        oxygen_left=oxygen_now(t),
    )


def check_list(t: Told, name: ListName, title: str) -> CheckList:
    """Lines in their order: those answered, the one to read now, those to come. The last answer to a line counts."""
    machine = t.case.last(ev.MachineAssigned)
    answered = {c.line: c for c in t.case.live(ev.CheckLineDone) if c.list == name}
    lines: list[ListLine] = []
    now_shown = False
    for row in breathing.lists(t.facts.breathing, name):
        done = answered.get(row.id)
        state: State = done.outcome if done is not None else "ahead" if now_shown else "now"
        now_shown = now_shown or done is None
        lines.append(
            ListLine(
                id=row.id,
                says=row.says,
                detail=joined((row.detail, _by_the_book(t, machine)), "; ") if row.id in BOOKED else row.detail,
                state=state,
                at=done.happened_at if done is not None else None,
                by=t.names.hand(done.spoken_by or done.by) if done is not None else "",
                note=done.detail if done is not None else "",
            )
        )
    good = sum(line.state in {"done", "skipped"} for line in lines)
    return CheckList(list=name, title=title, lines=tuple(lines), done=good, of=len(lines))


def _by_the_book(t: Told, machine: ev.MachineAssigned | None) -> str:
    """What the machine's own book says, beside the line that asks whether it was checked."""
    if machine is None:
        return "no machine chosen yet"
    check = day_check(t.facts.machines, t.facts, machine.machine, day_of(t.now, t.facts))
    return f"{machine.machine}: {state_words(check, t.facts)}"


def to_draw(t: Told, lines: tuple[DrugLine, ...]) -> tuple[DrugLine, ...]:
    """Orders with no syringe yet, nothing given on them, and no pump running on them."""
    drawn = {s.drawn.order for s in t.syringes}
    given = {g.order for g in t.given if g.order}
    running = {i.started.order for i in t.infusions if i.started.order}
    return tuple(line for line in lines if line.order not in drawn | given | running)


def premedication(t: Told) -> tuple[GivenLine, ...]:
    """Struck ones too: they stay with a line through them."""
    lines = []
    for line in t.case.every(ev.DrugGiven):
        e = line.event
        if isinstance(e, ev.DrugGiven) and "premedication" in purpose_of(e, t.orders):
            lines.append(given_line(t, line))
    return tuple(lines)


def premedicated_at(t: Told) -> datetime | None:
    first = [g.happened_at for g in t.given if "premedication" in purpose_of(g, t.orders)]
    return t.mark("premedicated") or (first[0] if first else None)


def _sedation(t: Told) -> Num | None:
    score = t.case.last(ev.SedationScored)
    if score is None:
        return None
    return Num(text=f"{figure(score.score)} of {figure(score.out_of)}", unit=score.scale, mark="typed",
               at=score.happened_at, by=t.names.hand(score.by))  # fmt: skip
