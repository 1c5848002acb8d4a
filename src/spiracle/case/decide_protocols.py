"""Named protocols of the hospital: written by one, approved by a veterinarian who did not write it, and started from.

Carries D20, D31, U13, U14, U30. The ledger's own entries are decided on the ledger; what a patient's case says of a protocol is
decided on the versions in `facts.protocols`, which the door that holds the log reads from the ledger.
"""

from __future__ import annotations

import re
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.animal import conditions
from spiracle.case.decide_people import need_words, said, veterinarian
from spiracle.case.fold import Case
from spiracle.case.protocols import Version, changes, dose_words, protocols, read_reference, started
from spiracle.case.ruling import Rules
from spiracle.case.standing import species
from spiracle.drugs import DosingWeight, OrderedDose, judge
from spiracle.drugs.order import far_over
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, Missing, NotAllowed, OutOfRange, OverLimit, Refusal, Unknown
from spiracle.source import Zone

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
MOST_LINES = 40
PUBLISHED = "A protocol holds no dose over what is published, in any animal of the species; write it per kg, or less."
# Weights a line is tried on: a protocol has no animal yet, and a cap per animal binds only in a large one.
TRIED = {"dog": tuple(map(Decimal, ("1", "3", "6", "10", "20", "30", "45", "60", "80"))),
         "cat": tuple(map(Decimal, ("0.4", "1", "2", "3", "4", "5", "7", "9")))}  # fmt: skip


# ---- in the ledger


def protocol_written(ledger: Case, event: ev.ProtocolWritten, facts: Facts, _now: datetime) -> None:
    if not SLUG.fullmatch(event.protocol):
        raise Unknown("protocol", f"{event.protocol[:40]!r} is no id of a protocol.",
                      "Use small letters, digits and hyphens, like cat-dental.")  # fmt: skip
    need_words(event.title, "title", "Give the protocol a name.")
    _next_version(ledger, event, facts)
    if not event.lines:
        raise Missing("lines", "there are none.", "Give at least one drug.")
    if len(event.lines) > MOST_LINES:
        raise OutOfRange("lines", f"{len(event.lines)} are too many.", f"Give at most {MOST_LINES}.")
    _conditions_known(event, facts)
    seen: set[tuple[str, str, str]] = set()
    for number, line in enumerate(event.lines, 1):
        drug = _line(number, line, event, facts)
        same = (drug, facts.drugs.purpose(line.purpose), facts.drugs.route(line.route))
        if same in seen and not line.optional:
            raise Contradiction(_at(number, line, "drug", facts), "stands in an earlier line for the same purpose and route.",
                                "Keep one of the two, or mark one as optional.")  # fmt: skip
        seen.add(same)
    for limit in event.limits:
        check_limit(limit.reading, limit.below, limit.above, facts)


def _next_version(ledger: Case, event: ev.ProtocolWritten, facts: Facts) -> None:
    known = protocols(ledger)
    wanted = known.next_number(event.protocol, event.id)
    before = known.of(event.protocol)
    if before and before[-1].state == "retired":
        raise NotAllowed("protocol", f"{event.protocol} was retired.", "Write it under an id of its own.")
    if event.version != wanted:
        raise Contradiction(
            "version", f"{event.version} is not the next one.", f"Look at the latest version; the next is {wanted}."
        )
    if not before:
        return
    last = before[-1].written
    if last.species != event.species:
        raise Contradiction(
            "species", f"{event.protocol} is for a {last.species}.", "Give the other species a protocol of its own."
        )
    if not changes(last, event):
        raise Contradiction("version", f"changes nothing of version {last.version}.", "Change something, or leave it.")


def _conditions_known(event: ev.ProtocolWritten, facts: Facts) -> None:
    known = {c.id for c in facts.patient.conditions}
    for field, ids in (("conditions", event.conditions), ("unless", event.unless)):
        for id_ in ids:
            if id_ not in known:
                raise Unknown(field, f"{id_[:40]!r} is not a condition of the list.", "Choose one of the list.")
    both = sorted(set(event.conditions) & set(event.unless))
    if both:
        raise Contradiction("conditions", f"{both[0]} is asked for and ruled out at once.", "Keep it in one place.")


def _line(number: int, line: ev.ProtocolLine, event: ev.ProtocolWritten, facts: Facts) -> str:
    """One line held against its rows as far as that goes without an animal; the refusal names the line. Gives the drug's id."""
    try:
        drug = facts.drugs.drug(line.drug, event.species)
        low, high = Quantity.of(line.low, line.unit), Quantity.of(line.high, line.unit)
        if low > high:
            raise Contradiction("dose", f"{low} to {high} runs backwards.", "Write the lower figure first.")
        if line.low <= 0:
            raise OutOfRange("dose", "is zero.", "Give the dose, or leave the line out.")
        _held(line, low, high, event, facts)
    except Refusal as refusal:
        raise type(refusal)(
            _at(number, line, refusal.field, facts), refusal.says, refusal.accepts, refusal.use
        ) from refusal
    return drug.id


def _at(number: int, line: ev.ProtocolLine, field: str, facts: Facts) -> str:
    return f"line {number}, {facts.drugs.name(line.drug)[:40]}, {field}"


def _held(line: ev.ProtocolLine, low: Quantity, high: Quantity, event: ev.ProtocolWritten, facts: Facts) -> None:
    """Tried on weights across the species: a slip or a stop per kg refuses it at once, a cap per animal only where it binds at
    every weight; what binds in a large animal is held again when the order is written."""
    asked = OrderedDose(
        drug=line.drug, species=event.species, purpose=line.purpose, route=line.route, low=low, high=high, row=line.row,
        conditions=event.conditions,
    )  # fmt: skip
    rows, over = 0, 0
    last: Refusal | None = None
    for kg in TRIED[event.species]:
        try:
            row = facts.drugs.choose(asked, DosingWeight(kg))
        except OutOfRange as refusal:  # no band of the drug's rows holds this weight
            last = refusal
            continue
        if row.pick == "never":
            raise OverLimit("row", f"{row.id} is not given: {row.pick_why}.", "Pick another row.")
        judged = judge(asked, row, DosingWeight(kg))
        rows += 1
        if row.emergency:
            continue
        if far_over(judged, row):
            raise OverLimit("dose", f"{judged.slip}{_in_one_of(kg, high)}.", PUBLISHED)
        per_kg = [s for s in row.stops if not s.ask and s.at.unit.dimension == high.unit.dimension and high > s.at]
        if per_kg:
            raise OverLimit(
                "dose", f"{asked.dose_text} is over the {per_kg[0].words}.", f"Write at most {per_kg[0].at}."
            )
        over += judged.zone is Zone.FORBIDDEN
        last = OverLimit("dose", f"{asked.dose_text} is over a stop at every weight.", "Write less.")
    if last is not None and (not rows or over == rows):
        raise last


def _in_one_of(kg: Decimal, dose: Quantity) -> str:
    """A total is judged in one animal after the other: the one in which it looks wrong is named."""
    return "" if any(s in {"kg", "lb"} for s, _ in dose.unit.parts) else f", in an animal of {kg} kg"


def check_limit(reading: str, below: Decimal | None, above: Decimal | None, facts: Facts) -> None:
    """A reading that can be watched, and a number on at least one side of it."""
    need_words(reading, "reading", "Name the reading.")
    facts.circulation.bounds(reading)
    if below is None and above is None:
        raise Missing("limit", "no number is given.", "Give below, above, or both.")
    if below is not None and above is not None and below >= above:
        raise Contradiction("limit", f"below {below} and above {above} leave no room.", "Give below under above.")


def protocol_approved(ledger: Case, event: ev.ProtocolApproved, facts: Facts, _now: datetime) -> None:
    """By the own hand of a veterinarian who did not write it; the version that waits, and no other."""
    veterinarian(facts, event.by, "hand")
    found = _version(ledger, event.protocol, event.version)
    if found.state != "waiting":
        raise Contradiction("version", f"{found.reference} is {_became(found)}.", "Approve the one that waits.")
    if found.written.by == event.by:
        raise NotAllowed("hand", "wrote this version.", "Let another veterinarian read and approve it.")
    latest = protocols(ledger).of(event.protocol)[-1].written.version
    if event.version != latest:
        raise Contradiction("version", f"{latest} was written since.", f"Read version {latest} and approve that one.")
    if event.happened_at < found.written.happened_at:
        raise Contradiction("happened at", "is before the version was written.", "Give the time it was approved.")


def protocol_retired(ledger: Case, event: ev.ProtocolRetired, facts: Facts, _now: datetime) -> None:
    veterinarian(facts, event.by, "hand")
    need_words(event.reason, "reason", "Write in a few words why.")
    every = protocols(ledger).of(event.protocol)
    if not every:
        raise Unknown("protocol", f"{event.protocol[:40]!r} is not in the ledger.", "Choose one of the list.")
    if every[-1].state == "retired":
        raise Contradiction("protocol", f"{event.protocol} is retired already.", "Nothing more is needed.")


def _version(ledger: Case, protocol: str, number: int) -> Version:
    found = protocols(ledger).version(protocol, number)
    if found is None:
        raise Unknown("version", f"{protocol[:40]} {number} is not in the ledger.", "Choose one of the list.")
    return found


def _became(found: Version) -> str:
    return {"waiting": "not approved yet", "in use": "in use already", "replaced": "replaced by a newer one",
            "retired": "retired"}[found.state]  # fmt: skip


def may_be_struck(ledger: Case, strike: ev.EntryStruck, target: ev.Event, facts: Facts) -> None:
    """A version somebody approved is retired or replaced, never struck: cases may rest on it. An approval or a retirement is
    taken back by a veterinarian, for it changes what others start from."""
    if isinstance(target, ev.ProtocolApproved | ev.ProtocolRetired):
        veterinarian(facts, strike.by, "hand")
    if not isinstance(target, ev.ProtocolWritten):
        return
    version = (target.protocol, target.version)
    if any((a.protocol, a.version) == version for a in ledger.live(ev.ProtocolApproved)):
        raise NotAllowed(
            "target", "was approved, and cases may rest on it.", "Retire the protocol, or write a new version."
        )


# ---- in a patient's case


def protocol_started(case: Case, event: ev.ProtocolStarted, facts: Facts, _now: datetime) -> None:
    """From the version in use, for this species; against its own conditions only on a veterinarian's word."""
    found = facts.protocols.version(event.protocol, event.version)
    if found is None:
        raise Unknown("protocol", f"{event.protocol[:40]!r}, version {event.version}, is not one of the hospital's.",
                      "Choose one of the list.")  # fmt: skip
    if found.state != "in use":
        now = facts.protocols.in_use(event.protocol)
        raise Contradiction("version", f"{found.reference} is {_became(found)}.",
                            f"Start from version {now.written.version}." if now else "Choose another protocol.")  # fmt: skip
    written = found.written
    if written.species != species(case):
        raise Contradiction("species", f"{written.title} is for a {written.species}, not a {species(case)}.",
                            "Choose a protocol of this species.")  # fmt: skip
    if event.title != written.title:
        raise Contradiction(
            "title", f"{event.protocol} {event.version} is called {written.title}.", "Choose it again from the list."
        )
    if started(case, event.protocol, event.version) is not None:
        raise Contradiction("protocol", f"the plan started from {found.reference} already.", "Change its orders.")
    _left_out(event, written)
    why = why_not(case, written, facts, event.happened_at)
    if why and not facts.hospital.is_veterinarian(event.by) and not said(facts, event.said_by, event.reason):
        raise NotAllowed("protocol", why, "Choose another, or a named veterinarian says so with a reason.")


def _left_out(event: ev.ProtocolStarted, written: ev.ProtocolWritten) -> None:
    there = {line.drug for line in written.lines}
    strange = [drug for drug in event.left_out if drug not in there]
    if strange:
        raise Unknown(
            "left out", f"{strange[0][:40]!r} is not a line of {written.title}.", "Name lines of the protocol."
        )


def why_not(case: Case, written: ev.ProtocolWritten, facts: Facts, at: datetime) -> str:
    """Why a protocol is not for this animal; empty where it is."""
    found = conditions(case, facts, at)
    named = {c.id: c.words for c in facts.patient.conditions}
    against = [named.get(c, c) for c in written.unless if c in found]
    if against:
        return f"is not for an animal with: {', '.join(against)}."
    if written.conditions and not found & set(written.conditions):
        return f"is for an animal with: {', '.join(named.get(c, c) for c in written.conditions)}. None is noted here."
    return ""


def from_protocol(case: Case, event: ev.DrugOrdered, facts: Facts) -> None:
    """An order that names a version: the case started from it, and the order says what the line says."""
    if not event.protocol:
        return
    read = read_reference(event.protocol)
    if read is None or started(case, *read) is None:
        raise Unknown("protocol", f"this plan did not start from {event.protocol[:40]!r}.",
                      "Start from the protocol first, or leave its name out.")  # fmt: skip
    found = facts.protocols.version(*read)
    if found is None:
        raise Unknown("protocol", f"{event.protocol} is not one of the hospital's.", "Leave its name out.")
    drug = facts.drugs.drug(event.drug).id
    mine = [x for x in found.written.lines if facts.drugs.drug(x.drug).id == drug]
    if not any(_same(x, event, facts) for x in mine):
        says = "; ".join(f"{dose_words(x.low, x.high, x.unit)} {x.route} for {x.purpose}" for x in mine)
        told = f"says {says}" if says else "has no such line"
        raise Contradiction(
            "protocol", f"{event.protocol} {told}.", "Order it as it stands there, or without naming the protocol."
        )


def _same(line: ev.ProtocolLine, event: ev.DrugOrdered, facts: Facts) -> bool:
    ways = facts.drugs
    return (
        (line.low, line.high, line.unit, line.row) == (event.low, event.high, event.unit, event.row)
        and ways.purpose(line.purpose) == ways.purpose(event.purpose)
        and ways.route(line.route) == ways.route(event.route)
    )


RULES: Rules = {
    ev.ProtocolWritten: protocol_written,
    ev.ProtocolApproved: protocol_approved,
    ev.ProtocolRetired: protocol_retired,
    ev.ProtocolStarted: protocol_started,
}
