"""Labels ordered for paper: syringes, bags, pump strips, vials of a first dilution, lines. Doses come worked; only what a
syringe holds in all (volume times strength) is multiplied here.

The class of a drug is told three times: by colour, by a printed word, and by a hatch that a copier keeps.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, tzinfo
from decimal import Decimal, InvalidOperation

from spiracle.quantity import Quantity, figure, read
from spiracle.refusals import OutOfRange, Refusal, Unknown
from spiracle.sheets.names import capital
from spiracle.sheets.printed import Data, clock, common, shown
from spiracle.sheets.shapes import BagRecipe, CaseView, DilutionShape, DrawnSyringe, DrugLine, InfusionCard

Code = Callable[[str], str]

# How many labels a sheet holds: across, down.
SHEET = {"a4": (3, 9), "letter": (3, 8), "62x29": (1, 1)}

# One word for each class and one hatch: in grey two classes are still two.
CLASS_WORDS = {
    "induction": "INDUCTION", "opioid": "OPIOID", "hypnotic": "SEDATIVE", "relaxant": "RELAXANT",
    "vasopressor": "PRESSOR", "anticholinergic": "ANTICHOLINERGIC", "local": "LOCAL", "other": "OTHER",
}  # fmt: skip
REVERSES = {"opioid": "REVERSES OPIOID", "hypnotic": "REVERSES SEDATIVE", "relaxant": "REVERSES RELAXANT"}
_INK = "fill='none' stroke='#1A221E' stroke-width='1.1'"
HATCHES = {
    "induction": f"<path d='M0 4H8' {_INK}/>",
    "hypnotic": f"<path d='M4 0V8' {_INK}/>",
    "opioid": "<circle cx='4' cy='4' r='1.7' fill='#1A221E'/>",
    "relaxant": "<path d='M0 0H4V4H0zM4 4H8V8H4z' fill='#1A221E'/>",
    "vasopressor": f"<path d='M4 0V8M0 4H8' {_INK}/>",
    "anticholinergic": f"<path d='M0 6L4 2L8 6' {_INK}/>",
    "local": f"<path d='M-2 -2L10 10M-2 6L2 10M6 -2L10 2' {_INK}/>",
    "other": "",
    "line": f"<path d='M-2 -2L10 10M10 -2L-2 10' {_INK}/>",
}
LINES = {
    "line:epidural": ("Epidural line", "EPIDURAL ONLY", "Nothing by vein goes in here."),
    "line:arterial": ("Arterial line", "ARTERY: NO DRUGS", "Sampling and pressure only."),
}


def hatch(class_: str) -> str:
    """The hatch of a class as one tile of SVG."""
    return (f"<svg xmlns='http://www.w3.org/2000/svg' width='8' height='8' viewBox='0 0 8 8'>"
            f"<rect width='8' height='8' fill='#FFFFFF'/>{HATCHES[class_]}</svg>")  # fmt: skip


def class_word(class_: str, reversal: bool) -> str:
    return REVERSES.get(class_, f"REVERSES {CLASS_WORDS[class_]}") if reversal else CLASS_WORDS[class_]


def address(base: str, case: str, what: str, id_: str) -> str:
    """What the scannable code holds: the page of the case at that syringe, bag or infusion.

    >>> address("https://house.example/", "c1", "syringe", "s1")
    'https://house.example/#/case/c1/syringe/s1'
    """
    return f"{base}#/case/{case}/{what}/{id_}"


def labels_data(
    view: CaseView, hospital: str, paper: str, now: datetime, zone: tzinfo, code: Code,
    *, only: Iterable[str] = (), start: int = 1, base: str = "spiracle:",
) -> Data:  # fmt: skip
    """Labels for all that stands, or for the ids in `only`. `start`: the first free place of a partly used sheet."""
    across, down = SHEET[paper]
    if not 1 <= start <= across * down:
        raise OutOfRange("from", f"there is no place {start} on this sheet.", f"Give 1 to {across * down}.")
    wanted = list(dict.fromkeys(only))
    made = _made(view, zone, code, base)
    if wanted:
        made |= _by_name(view, zone, now)
        for id_ in wanted:
            if id_ not in made:
                raise _no_label(id_, view, made)
        labels = [made[id_] for id_ in wanted]
    else:
        labels = list(made.values())
    c = view.collar
    data = common(f"Labels: {c.name or 'unnamed'}", "", view.versions, "a4", now, zone, hospital)
    return {**data, "paper": paper, "across": across, "down": down, "skip": start - 1, "labels": labels,
            "hatches": {name: hatch(name) for name in HATCHES}}  # fmt: skip


def _no_label(id_: str, view: CaseView, made: Iterable[str]) -> Refusal:
    void = next((s.void for s in view.prepare.drawn if s.syringe == id_ and s.void), "")
    if void:
        return Unknown("syringe", f"{id_[:60]!r} gets no label: {void.rstrip('.')}.", "Draw it anew.")
    known = ", ".join(made)
    return Unknown("syringe", f"{id_[:60]!r} has no label in this case.", f"Give one or more of: {known}.")


def _made(view: CaseView, zone: tzinfo, code: Code, base: str) -> dict[str, Data]:
    """Every label by its id, in the order they are printed."""
    case = view.collar.case
    cards = {c.order: c for c in _cards(view)}
    found = {
        s.syringe: _syringe(s, view, zone, code(address(base, case, "syringe", s.syringe)), cards.get(s.order))
        for s in view.prepare.drawn
        if not s.void
    }
    for bag in view.plan.bags:
        if bag.mixed and bag.bag and bag.refusal is None:
            found[bag.bag] = _bag(bag, view, zone, code(address(base, case, "bag", bag.bag)))
    for card in _cards(view):
        if card.infusion and not card.void and card.infusion not in found:
            found[card.infusion] = _strip(card, view, zone, code(address(base, case, "infusion", card.infusion)))
    return found


def _by_name(view: CaseView, zone: tzinfo, now: datetime) -> dict[str, Data]:
    """Labels that are printed only when asked for: vials of a dilution on the plan, and lines."""
    found = {
        f"vial:{line.order}": _vial(line, line.dilution, view)
        for line in view.plan.lines
        if line.dilution is not None and line.refusal is None
    }
    return found | {id_: _line(id_, view, zone, now) for id_ in LINES}


def _cards(view: CaseView) -> Iterator[InfusionCard]:
    for r in view.maintain.running:
        if not r.fluid:
            yield from r.parts or ((r.card,) if r.card is not None else ())


def _marks(view: CaseView, estimated: bool, controlled: str) -> list[str]:
    c, plan = view.collar, view.plan
    found = []
    if c.practice:
        found.append("PRACTICE")
    if controlled:
        found.append("CONTROLLED")
    if estimated or c.estimated:
        found.append("ESTIMATED WEIGHT")
    basis = f"{plan.weight_basis}; {c.weight_basis}".lower()
    if "lean" in basis:
        found.append("ON LEAN WEIGHT, ESTIMATE")
    elif dosed := re.search(r"(?:dosing weight|doses on) ([\d.]+ kg)", basis):
        found.append(f"DOSED ON {dosed.group(1)}")
    return found


def _whose(view: CaseView) -> Data:
    c = view.collar
    return {"patient": c.name or f"unnamed {c.species}", "case": c.case[:8], "weight": shown(c.weight, "not weighed")}


def _syringe(s: DrawnSyringe, view: CaseView, zone: tzinfo, code: str, card: InfusionCard | None) -> Data:
    hands = f"{s.drawn_by} drew" + (f", {s.seen_by} saw" if s.seen_by else ", not yet seen")
    holds = _holds(s.concentration, s.drawn.text)
    lines = [f"{shown(s.drawn)}" + (f" = {holds}" if holds else "")]
    if s.diluted:
        lines.append(s.diluted)
    if card is not None and card.rate is not None and not card.void:
        lines.append(f"pump {shown(card.rate)}: {card.ordered}")
    return {
        **_whose(view), "kind": "syringe", "name": capital(s.name), "class": s.syringe_class, "reversal": s.reversal,
        "word": class_word(s.syringe_class, s.reversal), "big": s.concentration, "route": s.route, "lines": lines,
        "hands": f"{clock(s.at, zone, day=True)} · {hands}",
        "small": f"vial expires {s.expires}" if s.expires else "",
        "marks": _marks(view, s.estimated, s.controlled), "code": code,
    }  # fmt: skip


def _holds(strength: str, ml: str) -> str:
    """Milligrams in the syringe: strength times volume. Nothing where the strength is not an amount per volume."""
    try:
        held = read(strength, "strength", "concentration") * Quantity.of(Decimal(ml), "mL")
        kind = strength.split("/", maxsplit=1)[0].rsplit(maxsplit=1)[-1]
        amount = held.to(Quantity.of(1, kind).unit)
    except (Refusal, InvalidOperation, IndexError):
        return ""
    return f"{figure(amount.value, 4)} {kind}"


def _bag(bag: BagRecipe, view: CaseView, zone: tzinfo, code: str) -> Data:
    controlled = next((p.controlled for p in bag.parts if p.controlled), "")
    lines = [f"{capital(p.name)} {shown(p.amount)} = {p.strength}" for p in bag.parts]
    lines.append(f"made for {shown(bag.rate)}, holds {shown(bag.total)}")
    return {
        **_whose(view), "kind": "bag", "name": " + ".join(capital(p.name) for p in bag.parts), "class": _one(bag),
        "reversal": False, "word": "DRUG ADDED", "big": bag.fluid_name or bag.fluid, "route": "", "lines": lines,
        "hands": clock(view.as_of, zone, day=True) + " printed", "small": "void if weight or rate changes",
        "marks": _marks(view, False, controlled), "code": code,
    }  # fmt: skip


def _one(bag: BagRecipe) -> str:
    classes = {p.syringe_class for p in bag.parts}
    return classes.pop() if len(classes) == 1 else "other"


def _strip(card: InfusionCard, view: CaseView, zone: tzinfo, code: str) -> Data:
    bases = " = ".join(shown(n) for n in (card.per_min, card.per_hour) if n is not None)
    lines = [x for x in (f"{card.strength}" + (f", {card.diluted}" if card.diluted else ""), bases) if x]
    return {
        **_whose(view), "kind": "strip", "name": capital(card.name), "class": card.syringe_class, "reversal": False,
        "word": class_word(card.syringe_class, False), "big": shown(card.rate), "route": "pump", "lines": lines,
        "hands": clock(view.as_of, zone, day=True) + " printed", "small": "void if weight or strength changes",
        "marks": _marks(view, card.estimated, card.controlled), "code": code,
    }  # fmt: skip


def _vial(line: DrugLine, d: DilutionShape, view: CaseView) -> Data:
    return {
        **_whose(view), "kind": "vial", "name": capital(line.name), "class": line.syringe_class, "reversal": line.reversal,
        "word": class_word(line.syringe_class, line.reversal), "big": d.concentration, "route": "diluted",
        "lines": [f"{shown(d.drug_volume)} of {line.strength}", f"+ {shown(d.diluent_volume)} {d.diluent} = {shown(d.total)}"],
        "hands": "made ____ : ____  drew ____  saw ____", "small": "this patient only",
        "marks": _marks(view, False, line.controlled), "code": "",
    }  # fmt: skip


def _line(id_: str, view: CaseView, zone: tzinfo, now: datetime) -> Data:
    name, word, says = LINES[id_]
    return {
        **_whose(view), "kind": "line", "name": name, "class": "line", "reversal": False, "word": word, "big": says,
        "route": "", "lines": [], "hands": f"{clock(now, zone, day=True)} · placed by ____", "small": "",
        "marks": ["PRACTICE"] if view.collar.practice else [], "code": "",
    }  # fmt: skip
