"""What the project makes of each row of `infusions.toml`, and where that differs from the stored answer.

Everything of the project is imported inside `differences`, so that a changed copy of it can be held against the same table.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

CLOSE = Decimal("1e-12")
# As in infusions_by_pint.py: six syringes, the least volume and marks, the errors, the pump's step.
SYRINGES = (("1", "0.01"), ("3", "0.1"), ("5", "0.2"), ("10", "0.2"), ("20", "1"), ("60", "1"))
SHARE = Decimal(10)


def differences(table: dict[str, Any]) -> list[str]:
    """One sentence for each figure that is not the table's; empty where all agree."""
    found: list[str] = []
    for kind, check in (("rate", _rate), ("drops", _drops), ("bag", _bag)):
        for row in table[kind]:
            for name, ours, theirs, close in check(row):
                if not _same(ours, Decimal(theirs), close):
                    found.append(f"{kind} {row}: {name} {ours}, not {theirs}")
    return found


def _same(ours: Decimal, theirs: Decimal, close: Decimal) -> bool:
    return abs(ours - theirs) <= close * abs(theirs)


def _rate(row: dict[str, Any]) -> list[tuple[str, Decimal, str, Decimal]]:
    from spiracle.drugs.infusion import dose_rate_of, minutes_left, per, rate_ml_h
    from spiracle.drugs.order import DosingWeight
    from spiracle.drugs.rows import in_unit
    from spiracle.quantity import Quantity, unit

    weight = DosingWeight(Decimal(row["kg"]))
    dose = Quantity.of(row["dose"], row["unit"])
    strength = Quantity.of(*row["strength"].split(" ")) if row["strength"] else None
    rate = rate_ml_h(dose, weight, strength)
    back = dose_rate_of(rate, weight, strength, row["unit"])
    beside = in_unit(dose, unit(row["beside"]), weight.kg)
    words = per(dose, row["beside"].rsplit("/", 1)[1])
    left = minutes_left(Quantity.of(row["holds"], "mL"), rate)
    return [
        ("mL/h", rate.value, row["ml_h"], CLOSE),
        ("dose from the pump", back.value, row["dose"], CLOSE),
        ("other base", beside.value, row["other"], CLOSE),
        ("other base as shown", in_unit(words, unit(row["beside"]), weight.kg).value, row["other"], CLOSE),
        ("minutes", left, str(row["minutes"]), CLOSE),
    ]


def _drops(row: dict[str, Any]) -> list[tuple[str, Decimal, str, Decimal]]:
    from spiracle.drugs.drops import drops
    from spiracle.quantity import Quantity

    ours = drops(Quantity.of(row["ml_h"], "mL/h"), row["set"])
    return [
        ("drops a minute", Decimal(ours.per_min), str(row["per_min"]), CLOSE),
        ("seconds between", ours.seconds_between, row["seconds"], CLOSE),
        ("gives", ours.rate.value, row["gives"], CLOSE),
        ("error", ours.error_percent, row["error"], CLOSE),
    ]


def _bag(row: dict[str, Any]) -> list[tuple[str, Decimal, str, Decimal]]:
    from spiracle.drugs.bags import Wanted, bag_rate, mix
    from spiracle.drugs.syringe import Barrel, Fineness
    from spiracle.quantity import Quantity

    def q(figure: str, symbol: str) -> Quantity:
        return Quantity.of(figure, symbol)

    fineness = Fineness(q("0.05", "mL"), Decimal(3), Decimal(5), Decimal(10), q("0.1", "mL/h"), q("1", "mL/h"))
    barrels = tuple(Barrel(f"{h} mL", f"{h} mL syringe", q(h, "mL"), q(m, "mL")) for h, m in SYRINGES)
    kg = Decimal(row["kg"])
    wanted = [Wanted(p["drug"], p["drug"], q(p["dose"], p["unit"]), q(*p["vial"].split(" "))) for p in row["parts"]]
    rate = bag_rate(q(row["rate"], "mL/kg/h"), kg, fineness)
    bag = mix(wanted, rate, q(row["bag_ml"], "mL"), kg, barrels, fineness, SHARE)
    removed = bag.remove.value if bag.remove is not None else Decimal(0)
    return [
        ("mL/h", bag.rate.value, row["ml_h"], CLOSE),
        ("taken out", removed, row["removed"], CLOSE),
        ("total", bag.total.value, row["total"], CLOSE),
        ("hours", bag.hours, row["hours"], CLOSE),
        *(
            (f"{p.wanted.drug} to add", p.volume.value, r["add_ml"], CLOSE)
            for p, r in zip(bag.parts, row["parts"], strict=True)
        ),
        *(
            (f"{p.wanted.drug} gives", p.gives.value, r["gives"], CLOSE)
            for p, r in zip(bag.parts, row["parts"], strict=True)
        ),
        *(
            (f"{p.wanted.drug} error", p.error_percent, r["error"], CLOSE)
            for p, r in zip(bag.parts, row["parts"], strict=True)
        ),
    ]
