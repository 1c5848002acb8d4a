"""What a tablet must know of the hospital before any case is open."""

from __future__ import annotations

from decimal import Decimal

from spiracle.case.facts import Facts
from spiracle.case.hospital import StockedCylinder
from spiracle.case.ledger import LEDGER
from spiracle.case.running import FLUID_GROUPS
from spiracle.quantity import figure, read
from spiracle.refusals import Refusal
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.shapes import CylinderAtHand, Hand, Hospital


def hospital(facts: Facts) -> Hospital:
    """People, rooms, machines and lists to choose from. Emergency weights open a case in two touches."""
    own = facts.hospital
    return Hospital(
        name=own.name,
        practice=own.practice,
        staff=tuple(Hand(id=p.id, initials=p.initials, name=p.name, role=p.role) for p in own.people),
        rooms=own.rooms,
        machines=own.machines,
        circuits=own.circuits or tuple(c.name for c in facts.breathing.circuits),
        scales=own.scales,
        monitors=own.monitors,
        conditions=tuple(facts.patient.hospital_conditions()),
        agents=own.agents,
        fluids=tuple(d.id for d in facts.drugs.drugs if d.group in FLUID_GROUPS),
        pain_scales=tuple((s.name, float(s.high)) for s in facts.recovery.scales("pain")),
        trouble_kinds=tuple(id_ for id_, _ in facts.emergency.troubles()),
        emergency_weights={s: tuple(float(w) for w in facts.emergency.quick_weights(s)) for s in ("dog", "cat")},
        cautions=STANDING,
        version=facts.version.split(",")[0],
        tables=facts.version.split(",")[-1].strip().removeprefix("tables "),
        ledger=LEDGER,
        label_paper=own.label,
        bags=tuple((_fluid(b.fluid, facts), b.volumes) for b in own.bags),
        breathing_bags=tuple(_bag(ml) for ml in own.breathing_bags or (b.ml for b in facts.breathing.bags)),
        cylinders=tuple(_cylinder(c) for c in own.cylinders),
    )


def _bag(ml: int) -> tuple[str, str]:
    """A bag's millilitres as an entry holds them, and as they are said."""
    return str(ml), f"{figure(Decimal(ml) / 1000)} L"


def _cylinder(row: StockedCylinder) -> CylinderAtHand:
    litres = read(row.contents, f"hospital, cylinder {row.name}", "volume").number("L")
    return CylinderAtHand(name=row.name, contents_l=figure(litres), full=row.full)


def _fluid(name: str, facts: Facts) -> str:
    """A stocked bag by the id of its fluid; one that is only a diluent by its listed name."""
    try:
        return facts.drugs.drug(name).id
    except Refusal:
        return facts.drugs.diluent(name)
