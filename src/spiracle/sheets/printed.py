"""Plain words and lists for the printed sheets, taken from what the page already got: nothing is computed here twice.

Every number is already text with its unit in `CaseView`; this module orders it for paper and collects the workings of
all figures on the sheet into one list of footnotes.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Any

import msgspec

from spiracle.case import standing
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.chart_svg import chart_svg, stretches
from spiracle.sheets.names import capital
from spiracle.sheets.shapes import (
    BagRecipe,
    Budget,
    CaseView,
    Chart,
    DrugLine,
    EmergencyDrug,
    EmergencySheet,
    Inhaled,
    Level,
    LogLine,
    Num,
    WorkingShape,
)

Data = dict[str, Any]
NO_BREAK = "\u00a0"


def shown(num: Num | None, missing: str = "—") -> str:
    """A figure with its unit; memory and estimate are said in words wherever the number stands."""
    if num is None:
        return missing
    words = f"{num.text}{NO_BREAK}{num.unit}".strip()
    if num.mark == "predicted":
        words = f"≈ {words} est."
    if num.memory:
        words += " (from memory)"
    return words


def clock(at: datetime | None, zone: tzinfo, day: bool = False) -> str:
    if at is None:
        return "—"
    return at.astimezone(zone).strftime("%a %d %b %H:%M" if day else "%H:%M")


def workings(shape: object) -> Iterator[WorkingShape]:
    """Every working inside a shape, in reading order. What a model expects is left out: a record tells what happened."""
    if isinstance(shape, Level | Inhaled):
        return
    if isinstance(shape, WorkingShape):
        yield shape
    elif isinstance(shape, msgspec.Struct):
        for name in shape.__struct_fields__:
            yield from workings(getattr(shape, name))
    elif isinstance(shape, tuple):
        for part in shape:
            yield from workings(part)


@dataclass
class Footnotes:
    """Workings of a sheet, each different one once, and the sources they rest on, numbered in order of first use."""

    figures: list[Data] = field(default_factory=list)
    sources: list[str] = field(default_factory=list)

    def add(self, title: str, says: str, held: str, memory: bool, cited: Iterable[str]) -> None:
        if any(f["title"] == title and f["says"] == says for f in self.figures):
            return
        numbers = []
        for words in cited:
            if words not in self.sources:
                self.sources.append(words)
            numbers.append(self.sources.index(words) + 1)
        at = ", ".join(map(str, sorted(set(numbers)))) or "arithmetic"
        self.figures.append({"title": title, "says": says, "held": held, "memory": memory, "cited": at})


def footnotes(shapes: Iterable[object]) -> Footnotes:
    """The footnotes of all workings inside some shapes."""
    found = Footnotes()
    for shape in shapes:
        for w in workings(shape):
            found.add(w.title, w.says, "; ".join(w.held), w.memory, (f"{c.citation} ({c.seen})" for c in w.cited))
    return found


def brief(citation: str) -> str:
    """A citation cut to what finds it in the manual's list of figures: one page has no room for more."""
    head = citation.split(". ", maxsplit=1)[0].split(" (", maxsplit=1)[0]
    return head if len(head) <= 48 else head[:47].rstrip(" ,;:") + "…"


def common(
    title: str, subtitle: str, versions: Iterable[str], paper: str, now: datetime, zone: tzinfo, hospital: str
) -> Data:
    local = now.astimezone(zone)
    return {
        "title": title,
        "subtitle": subtitle,
        "versions": list(versions),
        "date": [local.year, local.month, local.day],
        "paper": {"a4": "a4", "letter": "us-letter"}[paper],
        "cautions": list(STANDING),
        "foot": f"{hospital} · printed {local:%Y-%m-%d %H:%M}",
        "printed": f"{local:%Y-%m-%d %H:%M}",
    }


def record_data(view: CaseView, hospital: str, paper: str, now: datetime, zone: tzinfo) -> Data:
    c = view.collar
    notes = footnotes((view.plan, view.induce, view.maintain, view.collar))
    about = ", ".join(w for w in (c.species, c.breed, c.age, c.sex) if w)
    weight = shown(c.weight, "not weighed")
    tags = [
        t
        for t, on in (
            ("ESTIMATED WEIGHT", c.estimated),
            ("DRAFT: " + "; ".join(c.draft_reasons), c.draft and not view.record.signatures),
            ("PRACTICE", c.practice),
        )
        if on
    ]
    return {
        **common(
            f"Anaesthetic record: {c.name or 'unnamed'}",
            f"{hospital} · {clock(view.as_of, zone, day=True)} · case {c.case}",
            (*view.versions, f"log whole to entry {view.seq}"),
            paper,
            now,
            zone,
            hospital,
        ),
        "practice": c.practice,
        "tags": tags,
        "identity": _identity(view, about, weight, zone),
        "charts": _charts(view, zone),
        "chart_note": "",
        "orders": [_order(line) for line in view.plan.lines],
        "given": [_given(g, zone) for g in view.record.given],
        "log": [_log(x, zone) for x in written(view.record.log, zone)],
        "amendments": [_log(x, zone) for x in view.record.amendments],
        "totals": [[name, " ".join(w for w in rest if w)] for name, *rest in view.record.drug_totals],
        "balances": [
            {
                "name": capital(b.name),
                "strength": b.concentration,
                "sum": f"{b.drawn} drawn = {b.given} given + {b.wasted} wasted + {b.returned} returned"
                + ("" if b.closed else f"; {b.left} not accounted"),
            }
            for b in view.record.balances
        ],
        "airway": _airway(view, zone),
        "recovery": _recovery(view, zone),
        "differences": [
            {"name": capital(x.name), "ordered": x.ordered, "given": x.given, "says": x.difference, "why": x.why}
            for x in view.record.differences
        ],
        "budgets": budgets(view.plan.budgets),
        "bags": [bag_words(b) for b in view.plan.bags],
        "gaps": [f"{g.title}: {g.explained or 'not in the record, not explained'}" for g in view.record.gaps],
        "figures": notes.figures,
        "sources": notes.sources,
        "signatures": _signatures(view, zone),
    }


def _identity(view: CaseView, about: str, weight: str, zone: tzinfo) -> list[str]:
    c, a = view.collar, view.assess
    allergies = {"not asked": "Allergies: not asked", "none known": "Allergies: none known"}.get(c.allergies.state)
    lines = [
        about,
        f"ASA {c.asa or 'not assigned'}" + (f" by {a.asa_by}" if a.asa_by else ""),
        a.procedure or "procedure not named",
        f"{weight}, {c.weight_basis or 'no weight'}, {clock(c.weight_at, zone)} {c.weight_by}",
        allergies or f"Allergies: {c.allergies.text}",
        f"Resuscitation wish: {a.resuscitation}",
    ]
    protocol = view.record.protocol or view.plan.protocol
    if protocol:
        lines.append(f"Protocol: {protocol}")
    return lines + [f"{f.label}: {f.value}" for f in a.facts if f.value]


def budgets(found: Iterable[Budget]) -> list[list[str]]:
    """Each shared ceiling: how much of it is used, and what is left of each drug in mL."""
    rows = []
    for b in found:
        left = "; ".join(
            f"{capital(x.name)} {shown(x.amount)}" + (f" = {shown(x.volume)} of {x.strength}" if x.volume else "")
            for x in b.left
        )
        says = b.text + (f". Left: {left}" if left else "") + (" (from memory)" if b.memory else "")
        rows.append([b.title, says.lstrip(". "), "; ".join((*b.exempt, *b.expired))])
    return rows


def bag_words(b: BagRecipe) -> str:
    """A bag in one sentence: what it is, what goes in, the rate it is made for."""
    name = f"{capital(b.fluid_name or b.fluid)} {shown(b.holds)}, {'mixed' if b.mixed else 'to mix'}"
    if b.refusal is not None:
        return f"{name}: {b.refusal.says}"
    parts = "; ".join(f"{p.name} {shown(p.add)} of {p.vial} = {p.strength}" for p in b.parts)
    out = f", take out {shown(b.remove)}" if b.remove else ""
    return f"{name}{out}: {parts}; in all {shown(b.total)} at {shown(b.rate)}" + (
        f", lasts {shown(b.lasts)}" if b.lasts else ""
    )


def other_bases(line: DrugLine) -> str:
    """The same order on another weight, beside the one in use."""
    words = []
    for o in line.other_bases:
        worked = shown(o.volume, "") or shown(o.rate, "") or shown(o.amount, "")
        words.append(f"on {o.basis} {shown(o.weight)}: {worked or 'not worked'}")
    return "; ".join(words)


def _charts(view: CaseView, zone: tzinfo) -> list[Data]:
    chart = view.maintain.chart
    if not (chart.rate or chart.pressures or any(r.points for r in chart.rows) or chart.bands):
        return []
    last = max((p.at for p in _charted(chart)), default=chart.to_at)
    return [
        {"svg": chart_svg(chart, a, b, zone, view.as_of), "from": clock(a, zone), "to": clock(b, zone)}
        for a, b in stretches(chart)
        if a <= last
    ]


def _charted(chart: Chart) -> Iterator[Any]:
    yield from chart.rate
    yield from chart.pressures
    for row in chart.rows:
        yield from row.points
    yield from chart.given


def _order(line: DrugLine) -> Data:
    note = ""
    if line.refusal is not None:
        note = line.refusal.says
    elif line.dilution is not None:
        note = f"dilute to {line.dilution.concentration}"
    return {
        "name": capital(line.name),
        "strength": line.strength,
        "order": line.order_text,
        "purpose": f"{line.purpose}, {line.route}",
        "amount": shown(line.amount),
        "per_kg": f"delivers {shown(line.delivered)}" if line.delivered else "",
        "volume": shown(line.volume) if line.volume else shown(line.rate),
        "note": "; ".join(w for w in (note, other_bases(line)) if w),
        "by": line.ordered_by + (f", {line.given_as}" if line.given_as else ""),
    }


def _given(g: Any, zone: tzinfo) -> Data:
    return {
        "at": clock(g.at, zone),
        "name": capital(g.name),
        "amount": g.amount_text,
        "volume": g.volume_text,
        "per_kg": g.per_kg_text,
        "route": g.route,
        "by": g.by,
        "struck": g.struck,
        "note": g.note,
    }


ROW_KINDS = {"ReadingTaken", "PressureTaken", "SignSeen"}


def written(log: Iterable[LogLine], zone: tzinfo) -> list[LogLine]:
    """The log for paper: the values of one moment by one hand on one line, a list read aloud on one line.

    What was struck, marked an artefact or entered late keeps a line of its own, so that it can be seen.
    """
    out: list[LogLine] = []
    for x in log:
        plain = not (x.struck or x.artefact or x.late_min)
        last = out[-1] if out else None
        alike = last is not None and not (last.struck or last.artefact or last.late_min) and last.by == x.by
        if plain and alike and last is not None and _joins(last, x, zone):
            words = f"{last.text}; {x.text}" if x.kind in ROW_KINDS else last.text
            out[-1] = msgspec.structs.replace(last, text=words, seq=x.seq)
            continue
        out.append(x)
    return [_list_words(x, log) if x.kind == "CheckLineDone" else x for x in out]


def _joins(last: LogLine, x: LogLine, zone: tzinfo) -> bool:
    if x.kind in ROW_KINDS and last.kind in ROW_KINDS:
        return clock(last.at, zone) == clock(x.at, zone)
    return (
        x.kind == last.kind == "CheckLineDone" and _list_of(x) == _list_of(last) and "fault" not in x.text + last.text
    )


def _list_of(x: LogLine) -> str:
    return x.text.split(":", 1)[0]


def _list_words(first: LogLine, log: Iterable[LogLine]) -> LogLine:
    """How many lines of a list one printed line stands for."""
    count = sum(
        x.kind == "CheckLineDone" and _list_of(x) == _list_of(first) and x.by == first.by and not x.struck for x in log
    )
    return first if count < 2 else msgspec.structs.replace(first, text=f"{_list_of(first)}: {count} lines read aloud")


def _log(x: Any, zone: tzinfo) -> Data:
    late = f"entered {clock(x.recorded_at, zone)}, {x.late_min} min late" if x.late_min else ""
    return {
        "at": clock(x.at, zone),
        "text": x.text,
        "by": x.by,
        "struck": x.struck,
        "struck_at": clock(x.struck_at, zone),
        "struck_by": x.struck_by,
        "struck_reason": x.struck_reason,
        "artefact": x.artefact,
        "late": late,
    }


def _airway(view: CaseView, zone: tzinfo) -> list[str]:
    i = view.induce
    lines = []
    for a in i.attempts:
        how = (a.tube, a.operator, ", ".join(a.aids), f"new: {a.changed}" if a.changed else "", a.outcome or "not ended",
               f"{a.seconds} s" if a.seconds is not None else "", clock(a.began_at, zone), f"view {a.view}" if a.view else "",
               f"lowest SpO₂ {a.lowest_spo2}" if a.lowest_spo2 else "")  # fmt: skip
        lines.append(f"Attempt {a.number}: {', '.join(w for w in how if w)}")
        if a.came_out and a.came_out_at:
            lines.append(f"Tube out, animal asleep, {clock(a.came_out_at, zone)}: {a.came_out}")
    if i.placed_text:
        lines.append(i.placed_text)
    lines += [f"{p.label}: {p.detail or 'yes'}, {clock(p.seen_at, zone)} {p.by}" for p in i.proofs if p.seen_at]
    lines.append(f"Proven {clock(i.proven_at, zone)} by {i.proven_by}" if i.proven_at else "Not declared proven")
    cuff = (f"Cuff {shown(i.cuff)}" if i.cuff else "", f"leaks at {shown(i.leak)}" if i.leak else "",
            f"{shown(i.cuff_volume)} of air" if i.cuff_volume else "")  # fmt: skip
    if any(cuff):
        lines.append(", ".join(c for c in cuff if c))
    lines.append(f"Machine: {view.prepare.machine or 'not named'}")
    lines += [f"{x.title}: {x.done} of {x.of} lines" for x in view.prepare.lists]
    return lines


def _recovery(view: CaseView, zone: tzinfo) -> list[str]:
    r = view.recover
    lines = [f"Tube out {clock(r.extubated_at, zone)}" if r.extubated_at else "Tube not out"]
    lines += [f"{name} {clock(at, zone)}" for name, at in r.milestones if at]
    if r.watcher:
        lines.append(f"Watched by {r.watcher} every {r.every_min} min" + (f", {r.place}" if r.place else ""))
    lines += [f"{clock(x.at, zone)} {x.text} {x.by}" for x in r.looks if not x.struck]
    for label, value in (
        ("Pain relief", r.analgesia),
        ("Handed to", r.handed_to),
        ("Left", r.discharge),
        ("After two days", r.outcome),
    ):
        if value:
            lines.append(f"{label}: {value}")
    return lines


ABOUT_THE_RECORD = {kind.__name__ for kind in standing.ABOUT_THE_RECORD}


def _since_technician(log: Iterable[LogLine]) -> int:
    """Entries that reached the log after the technician signed: the signature does not cover them."""
    places = [x.seq for x in log if x.kind == "RecordSigned" and not x.struck and "technician" in x.text]
    return sum(x.seq > max(places) and x.kind not in ABOUT_THE_RECORD for x in log) if places else 0


def _signatures(view: CaseView, zone: tzinfo) -> list[str]:
    signed = {s.role: f"{s.role}: {s.by}, signed {clock(s.at, zone, day=True)}" for s in view.record.signatures}
    since = _since_technician(view.record.log)
    if since and "technician" in signed:
        signed["technician"] += f", before {since} of the entries"
    return [signed.get(role, f"{role}: not signed") for role in ("technician", "veterinarian")]


# ---- the emergency sheet


def emergency_data(
    sheet: EmergencySheet, patient: str, hospital: str, versions: Iterable[str], paper: str, now: datetime, zone: tzinfo
) -> Data:
    had = list(itertools.takewhile(lambda x: x.group == "reversal", sheet.drugs))
    rest = sheet.drugs[len(had) :]
    groups = [
        {"title": words, "rows": [_emergency(x) for x in drugs]}
        for words, drugs in (
            ("Reverse what this patient had or is ordered", had),
            ("In arrest", [x for x in rest if x.group == "arrest"]),
            ("Reversals", [x for x in rest if x.group == "reversal"]),
            ("Heart beating", [x for x in rest if x.group == "other"]),
            ("Pressors to start by syringe pump, heart beating", sheet.pumps),
        )
    ]
    return {
        **common(f"Emergency sheet{': ' + patient if patient else ''}", "", versions, paper, now, zone, hospital),
        "species": sheet.species,
        "weight": shown(sheet.weight),
        "basis": "estimated" if sheet.estimated else "",
        "estimated": sheet.estimated,
        "sheet_id": sheet.sheet_id,
        "groups": groups,
        "shocks": [_emergency(x) for x in sheet.shocks if "internal" not in x.name.lower()],
        "inside": "; ".join(f"{x.name} {shown(x.volume)}" for x in sheet.shocks if "internal" in x.name.lower()),
        "steps": [
            f"One breath every {sheet.breath_every_s} s, {shown(sheet.breath)}.",
            *sheet.steps,
            *([f"CO₂ to aim for: {sheet.etco2_aim}"] if sheet.etco2_aim else []),
        ],
        "notes": list(sheet.notes),
        "cautions": list(sheet.cautions),
        "cited": [brief(c.citation) for c in sheet.cited],
    }


def _emergency(x: EmergencyDrug) -> Data:
    return {
        "name": capital(x.name),
        "class": x.syringe_class,
        "reversal": x.group == "reversal",
        "strength": x.strength,
        "volume": x.volume.text if x.volume else "",
        "unit": x.volume.unit if x.volume else "",
        "dose": " ".join(w for w in (x.dose_text, f"= {x.amount_text}" if x.amount_text else "", x.route) if w),
        "when": x.refusal.says if x.refusal else f"{x.what_for}; {x.when}".strip("; "),
        "note": x.note,
        "memory": x.memory,
    }
