"""When an attempt ends, what comes next, and what is still lacking before the airway may be called proven."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from spiracle.airway.tables import AirwayTables, ProofRow
from spiracle.refusals import Unknown
from spiracle.source import Working


@dataclass(frozen=True, slots=True)
class AttemptRules:
    """The clock, the saturation floor, how many tries, and what is done after each."""

    limit_s: int
    spo2_floor: int
    attempts: int
    next_steps: tuple[str, ...]
    working: Working


def attempt_rules(facts: AirwayTables) -> AttemptRules:
    seconds, floor, tries = (facts.setting(i) for i in ("attempt-seconds", "attempt-spo2", "attempts"))
    says = f"Stop at {seconds.value} s or SpO2 {floor.value} %, whichever comes first; {tries.value} tries in all."
    sources = tuple(dict.fromkeys((*seconds.source, *floor.source, *tries.source)))
    return AttemptRules(int(seconds.value), int(floor.value), int(tries.value), tuple(t.says for t in facts.tries),
                        Working(says, held=(seconds.note, floor.note), sources=sources, memory=floor.memory))  # fmt: skip


def breaths_needed(facts: AirwayTables) -> int:
    return int(facts.setting("breaths-needed").value)


def proofs(facts: AirwayTables) -> tuple[ProofRow, ...]:
    return facts.proofs


def proof_lacking(facts: AirwayTables, seen: Mapping[str, int | None], second_person: bool) -> tuple[str, ...]:
    """What is still lacking; empty when the airway may be declared proven. `seen` maps a sign to the breaths counted.

    Proven is either a CO2 trace over the needed breaths, or two signs of the stronger kind seen together with a second person.
    A hint (mist, a moving bag, a hand on the neck) never proves.
    """
    known = {row.sign: row for row in facts.proofs}
    for sign in seen:
        if sign not in known:
            raise Unknown("sign", f"{sign!r} is not a sign on the card.", "Known: " + ", ".join(known) + ".")
    needed = breaths_needed(facts)
    breaths = (seen.get("co2") or 0) if "co2" in seen else 0
    if breaths >= needed:
        return ()
    signs = [s for s in seen if known[s].part == "sign"]
    if len(signs) >= 2 and second_person:
        return ()
    lacking = [f"CO2 trace on {needed - breaths} more of {needed} breaths"]
    without = []
    if len(signs) < 2:
        without.append(f"{2 - len(signs)} more of: " + ", ".join(r.label for r in facts.proofs
                                                                 if r.part == "sign" and r.sign not in seen))  # fmt: skip
    if not second_person:
        without.append("a second person who sees it")
    return (*lacking, "or, without CO2: " + " and ".join(without))
