"""The hospital's ledger, told entry by entry for a test, and a patient decided with what it says."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from small_house import NINE, Telling, d, house
from spiracle.case import events as ev
from spiracle.case.ledger import LEDGER
from spiracle.case.protocols import Protocols, protocols
from spiracle.refusals import Refusal


def line(drug: str = "methadone", dose: str = "0.2", unit: str = "mg/kg", **more: Any) -> ev.ProtocolLine:
    low, _, high = dose.partition("-")
    told = {"purpose": "premedication", "route": "IM", **more}
    return ev.ProtocolLine(drug=drug, low=d(low), high=d(high or low), unit=unit, **told)


METHADONE, PROPOFOL = line(), line("propofol", "2-4", purpose="induction", route="IV")


class Ledger(Telling):
    """The hospital's ledger, told entry by entry: nobody opens it."""

    def __init__(self) -> None:
        self.facts, self.id, self.now, self.entries = house(), LEDGER, NINE, []

    def write(self, version: int = 1, **more: Any) -> str:
        fields = {
            "protocol": "dog-plain",
            "title": "Plain dog",
            "species": "dog",
            "lines": (METHADONE, PROPOFOL),
            **more,
        }
        return self.tell(ev.ProtocolWritten, version=version, **fields)

    def wrong(self, name: type[Refusal], field: str, /, version: int = 1, **more: Any) -> Refusal:
        fields = {"protocol": "dog-plain", "title": "Plain dog", "species": "dog", "lines": (METHADONE,), **more}
        return self.refused(name, field, ev.ProtocolWritten, version=version, **fields)

    def approve(self, version: int = 1, by: str = "vet", **more: Any) -> str:
        return self.tell(ev.ProtocolApproved, protocol="dog-plain", version=version, by=by, **more)

    @property
    def known(self) -> Protocols:
        return protocols(self.case)


def in_use(**more: Any) -> Ledger:
    ledger = Ledger()
    ledger.write(**more)
    ledger.approve()
    return ledger


def patient(ledger: Ledger, species: str = "dog", kg: str = "10", **more: Any) -> Telling:
    """A case decided as the door decides it: with the ledger's protocols laid into the facts."""
    t = Telling(species, kg, **more)
    t.facts = replace(t.facts, protocols=ledger.known)
    return t


START = {"protocol": "dog-plain", "version": 1, "title": "Plain dog"}
ORDER = {"order": "o1", "drug": "methadone", "purpose": "premedication", "route": "IM", "low": d("0.2"), "high": d("0.2"),
         "unit": "mg/kg", "ordered_by": "vet", "protocol": "dog-plain 1"}  # fmt: skip
