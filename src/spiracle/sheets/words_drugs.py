"""Words for protocols, bags and drugs given before the case."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from spiracle.case import events as ev
from spiracle.quantity import figure
from spiracle.sheets.names import Names, joined, ml


def _written(e: ev.ProtocolWritten, n: Names) -> str:
    return f"protocol {e.title}, version {e.version}, written for the {e.species}"


def _approved(e: ev.ProtocolApproved, n: Names) -> str:
    return joined((f"protocol {e.protocol}, version {e.version}, approved", e.note))


def _retired(e: ev.ProtocolRetired, n: Names) -> str:
    return f"protocol {e.protocol} retired: {e.reason}"


def _started(e: ev.ProtocolStarted, n: Names) -> str:
    out = joined(n.drug(d) for d in e.left_out)
    word = f"on the word of {n.person(e.said_by)}: {e.reason}" if e.said_by else ""
    return joined((f"plan started from {e.title}, version {e.version}", out and f"left out: {out}", word), "; ")


def _bag(e: ev.BagMixed, n: Names) -> str:
    parts = joined(f"{ml(p.drug_volume_ml)} {n.drug(p.drug)} {p.vial_concentration}" for p in e.parts)
    taken = f" less {ml(e.removed_ml)}" if e.removed_ml else ""
    return f"bag {e.bag} mixed: {ml(e.bag_ml)} {n.drug(e.fluid)}{taken} with {parts}, {ml(e.volume_ml)} in all"


def _before(e: ev.GivenBefore, n: Names) -> str:
    at = n.day_clock(e.given_at)
    return joined((f"given before: {n.drug(e.drug)} {figure(e.amount)} {e.unit} {e.route}, {at}", e.where, e.by_whom))


SAYS: Mapping[type[ev.Event], Callable[[Any, Names], str]] = {
    ev.ProtocolWritten: _written,
    ev.ProtocolApproved: _approved,
    ev.ProtocolRetired: _retired,
    ev.ProtocolStarted: _started,
    ev.BagMixed: _bag,
    ev.GivenBefore: _before,
}
