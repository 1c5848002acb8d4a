"""Infusion cards ordered for paper: one card for each infusion that is ordered or runs, one for each bag."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, tzinfo

from spiracle.sheets.names import capital
from spiracle.sheets.printed import Data, clock, common, footnotes, shown
from spiracle.sheets.printed_labels import HATCHES, class_word, hatch
from spiracle.sheets.shapes import BagRecipe, CaseView, DropRate, InfusionCard

VOID = "Void if the weight or the strength changes."


def infusions_data(view: CaseView, hospital: str, paper: str, now: datetime, zone: tzinfo) -> Data:
    """What runs first, then what is ordered and does not run, then the bags."""
    c = view.collar
    cards = list(cards_of(view))
    notes = footnotes((*cards, *view.plan.bags))
    tags = [
        word for word, on in (("ESTIMATED WEIGHT", c.estimated), ("DRAFT", c.draft), ("PRACTICE", c.practice)) if on
    ]
    return {
        **common(f"Infusion cards: {c.name or 'unnamed'}", hospital, view.versions, paper, now, zone, hospital),
        "patient": c.name or f"unnamed {c.species}", "about": ", ".join(w for w in (c.species, c.breed, c.age) if w),
        "case": c.case[:8], "weight": shown(c.weight, "not weighed"),
        "basis": view.plan.weight_basis or c.weight_basis, "tags": tags, "void": VOID,
        "cards": [_card(x, zone) for x in cards], "bags": [_bag(b) for b in view.plan.bags],
        "hatches": {name: hatch(name) for name in HATCHES}, "figures": notes.figures, "sources": notes.sources,
    }  # fmt: skip


def cards_of(view: CaseView) -> Iterator[InfusionCard]:
    running: set[str] = set()
    for r in view.maintain.running:
        for card in r.parts or ((r.card,) if r.card is not None else ()):
            if card.order:
                running.add(card.order)
            yield card
    for line in view.plan.lines:
        if line.card is not None and line.order not in running:
            yield line.card


def _card(x: InfusionCard, zone: tzinfo) -> Data:
    rows = [("ordered", x.ordered)]
    bases = " = ".join(shown(n) for n in (x.per_min, x.per_hour) if n is not None)
    rows.append(("dose", bases))
    rows.append(("strength", x.strength + (f" · {x.diluted}" if x.diluted else "")))
    rows.append(("first", " · ".join(w for w in (x.loading, shown(x.loading_volume, "")) if w)))
    lasts = " · ".join(
        w for w in (shown(x.minutes, ""), f"empty at {clock(x.empty_at, zone, day=True)}" if x.empty_at else "") if w
    )
    rows.append(
        (
            "lasts",
            " in ".join(w for w in (lasts, "") if w) + (f", holding {shown(x.holds)}" if x.holds and lasts else ""),
        )
    )
    rows.append(("drops", "; ".join(map(drops, x.drops)) or x.no_drops))
    return {
        "name": capital(x.name), "class": x.syringe_class, "word": class_word(x.syringe_class, False),
        "state": "running" if x.infusion else "ordered", "rate": x.rate.text if x.rate else "—",
        "unit": x.rate.unit if x.rate else "no rate", "rows": [[k, v] for k, v in rows if v], "void": x.void,
        "marks": [w for w, on in (("CONTROLLED", bool(x.controlled)), ("ESTIMATED WEIGHT", x.estimated),
                                  ("from memory", x.memory)) if on],
    }  # fmt: skip


def drops(d: DropRate) -> str:
    gives = f", gives {shown(d.gives)}" if d.gives is not None else ""
    return f"{d.drops_per_ml} drops/mL set: {shown(d.per_min)}, one every {shown(d.seconds_between)}{gives}"


def _bag(b: BagRecipe) -> Data:
    return {
        "name": b.fluid_name or b.fluid, "holds": shown(b.holds), "state": "mixed" if b.mixed else "to mix",
        "remove": shown(b.remove, ""), "total": shown(b.total), "rate": b.rate.text, "unit": b.rate.unit,
        "lasts": shown(b.lasts, ""), "cautions": list(b.cautions), "refusal": b.refusal.says if b.refusal else "",
        "drops": "; ".join(map(drops, b.drops)) or b.no_drops,
        "parts": [{"name": capital(p.name), "class": p.syringe_class, "vial": p.vial, "add": shown(p.add),
                   "amount": shown(p.amount), "strength": p.strength, "gives": shown(p.gives), "memory": p.memory,
                   "controlled": bool(p.controlled)} for p in b.parts],
    }  # fmt: skip
