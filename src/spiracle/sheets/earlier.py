"""What this hospital's own log knows of the same animal: its earlier anaesthetics, and above all which tube served.

The chip's number says that it is the same animal; names and owners do not. Nothing is taken over by itself.
"""

from __future__ import annotations

from collections.abc import Mapping

from spiracle.airway.measured import full_grown
from spiracle.case import events as ev
from spiracle.case.animal import age_days, described
from spiracle.case.attempts import AttemptStory, story
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.standing import induced_at, opened, species
from spiracle.quantity import figure, printed_size
from spiracle.sheets.names import joined, plain
from spiracle.sheets.shapes import Earlier, EarlierHere


def chip_of(case: Case) -> str:
    """The chip's number without the blanks that people write into it; empty where none was read."""
    return "".join(described(case, "chip").split())


def chip_as_written(case: Case) -> tuple[str, ...]:
    """The ways in which the same number may stand in another entry: as it was typed here, without blanks, and in threes."""
    number = chip_of(case)
    if not number:
        return ()
    threes = " ".join(number[i : i + 3] for i in range(0, len(number), 3))
    return tuple(dict.fromkeys((described(case, "chip").strip(), number, threes)))


def earlier_here(case: Case, others: Mapping[str, Case], facts: Facts) -> EarlierHere:
    """Earlier cases of the animal with this chip, the latest first. `others` are the cases that name the chip, by id."""
    chip = chip_of(case)
    if not chip:
        return EarlierHere(found=())
    own = opened(case)
    same = [(id_, c) for id_, c in others.items() if chip_of(c) == chip and species(c) == species(case)]
    found = [e for id_, c in same if own is None or id_ != own.case if (e := _earlier(id_, c, facts)) is not None]
    return EarlierHere(chip=chip, found=tuple(sorted(found, key=lambda e: e.at, reverse=True)))


def _earlier(id_: str, case: Case, facts: Facts) -> Earlier | None:
    """One earlier anaesthetic; None for a case in which nobody tried a tube and nothing went wrong."""
    tries = story(case)
    trouble = tuple(plain(t.kind) for t in case.live(ev.TroubleBegan))
    if not tries and not trouble:
        return None
    first = opened(case)
    at = induced_at(case) or (first.happened_at if first is not None else tries[0].began.happened_at)
    served = next((t for t in reversed(tries) if t.ended is not None and t.ended.outcome == "in"), None)
    age = age_days(case, at)
    return Earlier(
        case=id_,
        at=at,
        when=f"{at.astimezone(facts.zone):%Y-%m-%d}",
        tube_id=printed_size(served.began.tube_id_mm) if served is not None else "",
        tube_outcome=_outcome(served),
        full_grown=None if age is None else full_grown(facts.airway, age),
        airway=joined((_tries(tries), *(_try_words(t) for t in tries)), "; "),
        trouble=joined(dict.fromkeys(trouble)),
    )


def _outcome(served: AttemptStory | None) -> str:
    """How the last tube that went in did: it stayed, or it came out for one of the two reasons a size can have."""
    if served is None:
        return ""
    if served.withdrawn is None:
        return "served"
    return {"leak": "leaked", "tight": "tight"}.get(served.withdrawn.reason, "")


def _tries(tries: tuple[AttemptStory, ...]) -> str:
    return f"{len(tries)} {'try' if len(tries) == 1 else 'tries'}" if tries else ""


def _try_words(t: AttemptStory) -> str:
    how = t.ended.outcome if t.ended is not None else "not ended"
    out = t.withdrawn
    came = f"came out: {out.reason}" if out is not None else ""
    at = f"at {figure(out.leak_cmh2o)} cmH₂O" if out is not None and out.leak_cmh2o is not None else ""
    view = f"view {t.ended.view}" if t.ended is not None and t.ended.view else ""
    return joined((f"{printed_size(t.began.tube_id_mm)} {how}", joined((came, at), " "), view))
