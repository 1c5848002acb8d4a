"""Advice on what runs: another weight, or another order, can make a rate too fast that nobody touched."""

from __future__ import annotations

from collections.abc import Iterable

from spiracle.case import events as ev
from spiracle.case.running import over_now
from spiracle.case.syringes import Infusion
from spiracle.sheets.calling import call_act
from spiracle.sheets.shapes import Advice
from spiracle.sheets.told import Told


def rate_advice(t: Told) -> Iterable[Advice]:
    """Something runs faster than its order, its row or the ceiling allows on the weight of now, and nobody said so for it."""
    for i in t.infusions:
        over = over_now(t.case, t.facts, i, t.now)
        if not over or _said_for_this_weight(t, i):
            continue
        weighed = t.weight.at if t.weight is not None and t.weight.at > i.since else None
        name = t.names.drug(i.started.drug)
        body = f"Weighed at {t.names.clock(weighed)}, the rate is from before. " if weighed else ""
        yield Advice(
            id=f"rate {i.started.infusion}",
            priority="medium",
            title=f"Bag {i.started.bag}: {over}." if i.started.bag else f"{name} runs at {over}.",
            since=weighed or i.since,
            body=f"{body}Run it slower, or have it ordered.",
            acts=call_act(t, f"{name} runs over its order"),
        )


def _said_for_this_weight(t: Told, i: Infusion) -> bool:
    """Whether a veterinarian's word stands behind the present rate, given on the weight in use."""
    changes = [c for c in t.case.live(ev.InfusionChanged) if c.infusion == i.started.infusion]
    last = changes[-1] if changes else i.started
    return bool(last.said_by) and (t.weight is None or t.weight.at <= last.happened_at)
