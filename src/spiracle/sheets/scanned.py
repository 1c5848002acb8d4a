"""What a label's code stands for: the syringe, bag or infusion, whether it may still be given to this animal, and what is said
at its push.

Carries U21, U22. A label of another patient is refused by both names; nothing here writes.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Literal, get_args

from spiracle.case import events as ev
from spiracle.case.drawing import last_day
from spiracle.case.fold import Line
from spiracle.case.pushes import drug_id
from spiracle.case.streams import Stream, part_holds, streams_of
from spiracle.case.syringes import Syringe, bag_of, infusion, syringe
from spiracle.quantity import Quantity, figure
from spiracle.refusals import NotAllowed, Refusal, Unknown
from spiracle.sheets import infusion_cards
from spiracle.sheets.at_push import Board, at_push
from spiracle.sheets.names import capital, joined, quantity_text
from spiracle.sheets.shapes import Num, Scanned, ScannedPart
from spiracle.sheets.syringes import dose_row, void
from spiracle.sheets.told import Told

Kind = Literal["syringe", "bag", "infusion"]
State = Literal["stands", "void", "expired", "empty", "thrown away", "given back", "stopped", "struck"]
KINDS: tuple[Kind, ...] = get_args(Kind)
_EVENTS: dict[Kind, type[ev.Event]] = {
    "syringe": ev.SyringeDrawn,
    "bag": ev.BagMixed,
    "infusion": ev.InfusionStarted,
}
_WORDS: dict[State, str] = {
    "empty": "Nothing is left in it.",
    "thrown away": "It was thrown away.",
    "given back": "It was given back.",
}


def scanned(t: Told, kind: Kind, id_: str) -> Scanned | None:
    """The thing as it stands in this case; None where this case has none of that id."""
    line = _line(t, kind, id_)
    if line is None:
        return None
    if line.struck is not None:
        why = f"Its entry was struck by {t.names.hand(line.struck.by)}: {line.struck.reason}."
        return _made(t, kind, id_, line, ("struck", why), name=_name(t, line))
    found = {"syringe": _syringe, "bag": _bag, "infusion": _infusion}[kind](t, id_, line)
    assert found is not None  # noqa: S101 - its line stands, so the fold has it
    return found


def of_another(here: Told, owner: Told, kind: Kind, id_: str) -> Refusal:
    """The refusal of a label that is another patient's: by the names of the drug and of both patients."""
    found = _line(owner, kind, id_)
    what = f"{_name(owner, found)}, a {kind}," if found is not None else f"this {kind}"
    return NotAllowed(
        "label",
        f"{what} is {_patient(owner)}’s, not {_patient(here)}’s.",
        f"Put it away from this table, or open the case of {_patient(owner)}.",
    )


def unknown(here: Told, kind: Kind, id_: str) -> Refusal:
    return Unknown(
        "label",
        f"{id_[:60]!r} is no {kind} of {_patient(here)}.",
        "Do not give it. Read the label, then draw it again.",
    )


def has(t: Told, kind: Kind, id_: str) -> bool:
    return _line(t, kind, id_) is not None


def _line(t: Told, kind: Kind, id_: str) -> Line | None:
    """The entry that made it: the one that stands before a struck one."""
    lines = [n for n in t.case.every(_EVENTS[kind]) if getattr(n.event, kind) == id_]
    standing = [n for n in lines if n.struck is None]
    return next(reversed(standing or lines), None)


def _patient(t: Told) -> str:
    return t.name or f"the {t.species} without a name"


def _name(t: Told, line: Line) -> str:
    e = line.event
    if isinstance(e, ev.BagMixed):
        return _bag_name(t, e)
    return joined((capital(t.names.drug(getattr(e, "drug", ""))), getattr(e, "concentration", "")), " ")


def _bag_name(t: Told, mixed: ev.BagMixed) -> str:
    drugs = joined((t.names.drug(p.drug) for p in mixed.parts), " + ")
    return capital(f"{drugs} in {t.names.drug(mixed.fluid)}")


def _made(
    t: Told, kind: Kind, id_: str, line: Line, now: tuple[State, str], *, name: str, left: Decimal | None = None,
    told: str = "", parts: tuple[ScannedPart, ...] = (),
) -> Scanned:  # fmt: skip
    state, why = now
    by = f"{t.names.clock(line.event.happened_at)} by {t.names.hand(line.event.by)} for {_patient(t)}"
    return Scanned(
        kind=kind,
        id=id_,
        case=t.opened.case,
        patient=t.name,
        event_id=line.event.id,
        name=name,
        state=state,
        says=joined((name, by, told), ", "),
        may_give=state == "stands",
        why_not=why,
        left=None if left is None else Num(text=figure(left), unit="mL"),
        parts=parts,
    )


# ---- a syringe


def _syringe(t: Told, id_: str, line: Line) -> Scanned | None:
    s = syringe(t.case, id_, t.now)
    if s is None:
        return None
    e = s.drawn
    order = t.orders.get(e.order)
    part = ScannedPart(
        drug=e.drug,
        name=capital(t.names.drug(e.drug)),
        strength=e.concentration,
        order=e.order,
        at_push=at_push(Board(t), e.drug, order, dose_row(t, order)),
    )
    return _made(t, "syringe", id_, line, _syringe_now(t, s), name=_name(t, line), left=s.left_ml, parts=(part,),
                 told=f"{figure(s.left_ml)} of {figure(e.volume_ml)} mL left")  # fmt: skip


def _syringe_now(t: Told, s: Syringe) -> tuple[State, str]:
    """What is wrong with it, the gravest first."""
    if s.left_ml <= 0:
        gone: State = "thrown away" if s.wasted_ml else "given back" if s.returned_ml else "empty"
        return gone, _WORDS[gone]
    if why := void(t, s.drawn):
        return "void", f"Its label does not hold: {why}."
    if why := _expired(t, [s.drawn.expires]):
        return "expired", why
    return "stands", ""


def _expired(t: Told, dates: Iterable[str]) -> str:
    today = t.now.astimezone(t.names.zone).date()
    for text in dates:
        try:
            over = bool(text) and last_day(text) < (today.year, today.month, today.day)
        except Refusal:  # an entry of another time that nobody can read as a date
            continue
        if over:
            return f"Its vial expired {text}."
    return ""


# ---- a bag


def _bag(t: Told, id_: str, line: Line) -> Scanned | None:
    bag = bag_of(t.case, id_, t.now)
    if bag is None:
        return None
    board = Board(t)
    parts = tuple(_bag_part(t, board, bag.mixed, p) for p in bag.mixed.parts)
    left = bag.left_ml.quantize(Decimal(1))
    return _made(t, "bag", id_, line, _bag_now(t, bag.mixed, left), name=_bag_name(t, bag.mixed), left=left, parts=parts,
                 told=f"about {figure(left)} of {figure(bag.mixed.volume_ml)} mL left")  # fmt: skip


def _bag_part(t: Told, board: Board, mixed: ev.BagMixed, part: ev.BagPart) -> ScannedPart:
    order = t.orders.get(part.order)
    holds = part_holds(mixed, part, t.facts)
    return ScannedPart(
        drug=part.drug,
        name=capital(t.names.drug(part.drug)),
        strength="" if holds is None else quantity_text(holds, 4),
        order=part.order,
        at_push=at_push(board, part.drug, order, dose_row(t, order)),
    )


def _bag_now(t: Told, mixed: ev.BagMixed, left: Decimal) -> tuple[State, str]:
    if left <= 0:
        return "empty", _WORDS["empty"]
    gone = [t.names.drug(p.drug) for p in mixed.parts if p.order and p.order not in t.orders]
    if gone:
        return "void", f"The order of {' and '.join(gone)} was withdrawn."
    if why := _expired(t, [p.expires for p in mixed.parts]):
        return "expired", why
    return "stands", ""


# ---- what runs by a pump


def _infusion(t: Told, id_: str, line: Line) -> Scanned | None:
    runs = infusion(t.case, id_)
    if runs is None:
        return None
    board = Board(t)
    flows = streams_of(t.case, t.facts, runs)
    drugs = [s for s in flows if s.holds is not None] or list(flows)
    left = infusion_cards.left_of(t, runs)
    name = capital(joined((t.names.drug(s.drug) for s in drugs), " + "))
    return _made(
        t, "infusion", id_, line, _infusion_now(t, flows, left), name=name, left=None if left is None else left.value,
        told=f"{figure(runs.rate_ml_h)} mL/h", parts=tuple(_flow(t, board, s) for s in drugs),
    )  # fmt: skip


def _flow(t: Told, board: Board, s: Stream) -> ScannedPart:
    order = t.orders.get(s.order)
    return ScannedPart(
        drug=s.drug,
        name=capital(t.names.drug(s.drug)),
        strength="" if s.holds is None else quantity_text(s.holds, 4),
        order=s.order,
        at_push=at_push(board, s.drug, order, dose_row(t, order)) if drug_id(s.drug, t.facts) else None,
    )


def _infusion_now(t: Told, flows: tuple[Stream, ...], left: Quantity | None) -> tuple[State, str]:
    stopped = flows[0].infusion.stopped
    if stopped is not None:
        return "stopped", f"It was stopped {t.names.clock(stopped.happened_at)} by {t.names.hand(stopped.by)}."
    if left is not None and left.value <= 0:
        return "empty", _WORDS["empty"]
    for s in flows:
        if s.order and s.order not in t.orders:
            return "void", f"The order of {t.names.drug(s.drug)} was withdrawn."
        if why := infusion_cards.void(t, s, t.orders.get(s.order)):
            return "void", why
    return "stands", ""
