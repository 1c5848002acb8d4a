"""What apparatus dead space costs the animal: how much more it would have to breathe, or how far its CO2 would rise.

Takes plain millilitres: which tube and parts they come from is another room's business.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from spiracle.breathing.tables import BreathingTables
from spiracle.breathing.ventilation import co2_with_added_dead_space
from spiracle.quantity import Quantity, round_significant
from spiracle.refusals import Contradiction, OutOfRange
from spiracle.source import Input, Mark, Worked, Working

NO_ANSWER = "No answer by the animal assumed: one that breathes for itself breathes more, so the true rise is smaller."
ADDED, OWN, BREATH = "apparatus dead space", "the animal's own dead space", "tidal volume"


def rise_by_deeper(tidal_ml: float, added_ml: float) -> float:
    """Rise of the minute volume, as a share, when every breath grows by what the apparatus takes and the rate stays.

    Source: alveolar ventilation equation with rate and alveolar volume kept.
    >>> round(rise_by_deeper(26, 5), 3)
    0.192
    """
    return added_ml / tidal_ml


def rise_by_faster(tidal_ml: float, own_dead_ml: float, added_ml: float) -> float:
    """Rise of the minute volume, as a share, when the breath stays and only the rate rises.

    Source: alveolar ventilation equation. Refused when the whole breath would be dead space: no rate makes up for that.
    >>> round(rise_by_faster(26, 9.1, 5), 3)
    0.42
    """
    return co2_with_added_dead_space(1, tidal_ml, own_dead_ml, added_ml) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Burden:
    """`deeper` and `faster` are what would make up for the apparatus [% of the minute volume]; `paco2` is without either.

    `paco2_times` is the factor on arterial CO2; `before` the CO2 it was shown from, measured or an example.
    """

    deeper: Worked[Quantity]
    faster: Worked[Quantity]
    paco2_times: Decimal
    paco2: Worked[Quantity]
    before: Quantity
    share_of_breath: Quantity
    words: str


def burden(
    facts: BreathingTables, tidal: Quantity, added: Quantity, *, own_dead: Quantity | None = None,
    paco2: Quantity | None = None,
) -> Burden:  # fmt: skip
    """What so many millilitres of added dead space do to a breath of so many. Without `paco2` an example stands in, and is named.

    Raises OutOfRange (a breath that is nothing, dead space that fills it, an impossible CO2) and Contradiction (own dead space).
    """
    vt, extra = tidal.number("mL"), added.number("mL")
    if vt <= 0:
        raise OutOfRange(BREATH, f"{tidal} is no breath.", "Give mL, like 26 mL.")
    if extra < 0:
        raise OutOfRange(ADDED, f"{added} is less than nothing.", "Give mL, like 5 mL.")
    share = facts.setting("own-dead-space")
    own = Quantity.of(vt * Decimal(share.value) / 100, "mL") if own_dead is None else own_dead
    if not 0 < own.number("mL") < vt:
        raise Contradiction(OWN, f"{own} does not lie within a breath of {tidal}.", "Measure one of them again.")
    before = facts.setting("paco2-example").quantity if paco2 is None else paco2
    check_paco2(facts, before)
    now, dead = before.number("mmHg"), own.number("mL")
    times = Decimal(str(1 + rise_by_faster(float(vt), float(dead), float(extra))))
    inputs = (Input(BREATH, str(tidal), Mark.TYPED), Input(ADDED, str(added), Mark.TYPED),
              Input(OWN, str(own), Mark.TABLE if own_dead is None else Mark.MEASURED, share.note if own_dead is None else ""),
              Input("arterial CO2 now", str(before), Mark.TABLE if paco2 is None else Mark.MEASURED,
                    "an example" if paco2 is None else ""))  # fmt: skip
    sources = ("b_definition", *(share.source if own_dead is None else ()))

    def shown(value: Decimal, symbol: str, says: str, memory: bool = False) -> Worked[Quantity]:
        result = Quantity.of(round_significant(value, 2), symbol)
        return Worked(result, Working(f"{says} = {result}", inputs, held=(NO_ANSWER,), sources=sources,
                                      memory=memory, estimated=True))  # fmt: skip

    deeper = shown(Decimal(str(rise_by_deeper(float(vt), float(extra)))) * 100, "%", f"{added} / {tidal}")
    faster = shown((times - 1) * 100, "%", f"({tidal} - {own}) / ({tidal} - {own} - {added}) - 1")
    risen = shown(now * times, "mmHg", f"{before} x {round_significant(times, 3)}", paco2 is None)
    start = f"{before} would become {risen.value}" if paco2 is not None else f"say {before} would become {risen.value}"
    return Burden(
        deeper=deeper,
        faster=faster,
        paco2_times=round_significant(times, 3),
        paco2=risen,
        before=before,
        share_of_breath=Quantity.of(round_significant(extra / vt * 100, 3), "%"),
        words=f"{added} more: breathe {deeper.value} more by deeper or {faster.value} more by faster breaths, or CO2 rises: "
        f"{start}. {NO_ANSWER}",
    )


def check_paco2(facts: BreathingTables, paco2: Quantity) -> None:
    """Refuses what no arterial CO2 is: mostly kPa that were read as mmHg."""
    low, high = (facts.setting(f"paco2-{end}").quantity for end in ("low", "high"))
    if not low <= paco2 <= high:
        raise OutOfRange(
            "arterial CO2", f"{paco2} is not an arterial CO2; was another unit meant?", f"Give {low} to {high}."
        )
