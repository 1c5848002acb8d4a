"""What one hospital lays over Spiracle's tables: its people, rooms, stock and stricter limits. Strict TOML, text units."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.quantity import read
from spiracle.refusals import BadTable, Refusal, Unknown
from spiracle.source import read_table

Role = Literal["technician", "veterinarian", "head of anaesthesia", "controlled-drug officer", "student", "assistant"]


Naming = Literal["INN", "USAN", "BAN"]  # whose names of drugs the hospital reads
LabelPaper = Literal["a4", "letter", "62x29"]  # what its labels are printed on unless told otherwise


DrawAsk = Literal["expiry", "lot of controlled drugs", "signed plan for controlled drugs"]


class Strict(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Root of the overlay's rows: an unknown key is refused."""


class Person(Strict, frozen=True, kw_only=True):
    id: str
    initials: str
    name: str
    role: Role


class StockedVial(Strict, frozen=True, kw_only=True):
    """A lot that stands on the shelf. Offered at the draw only while it is the one of its strength."""

    strength: str
    lot: str = ""
    expires: str = ""


class StockedDrug(Strict, frozen=True, kw_only=True):
    """A drug on the shelf with each strength that stands there, as printed on the vial."""

    drug: str
    strengths: tuple[str, ...]
    note: str = ""
    vials: tuple[StockedVial, ...] = ()


class StockedBag(Strict, frozen=True, kw_only=True):
    """A bag of fluid as it stands on the shelf."""

    fluid: str
    volumes: tuple[str, ...]


class StockedTube(Strict, frozen=True, kw_only=True):
    id: str
    od: str = ""
    cuffed: bool = True
    length: str = ""
    tip_to_cuff_top: str = ""  # from the tip to the end of the cuff nearest the larynx
    cuff_length: str = ""
    side_hole: str = ""  # from the tip to the upper edge of the hole in its side


class StockedCylinder(Strict, frozen=True, kw_only=True):
    name: str
    contents: str
    full: str


class StockedAgent(Strict, frozen=True, kw_only=True):
    """What a bottle of volatile agent holds and costs here; without it no cost is shown."""

    agent: str
    bottle: str
    price: Decimal
    currency: str


class MachineAtHand(Strict, frozen=True, kw_only=True):
    """A machine's own figures, measured once: the gas its circle holds, and how far its walls give without a bag."""

    name: str
    volume: str = ""
    wall_ml_cmh2o: Decimal | None = None


class StockedPart(Strict, frozen=True, kw_only=True):
    """Something between tube and breathing system, with its inner volume."""

    name: str
    volume: str


class OwnLimit(Strict, frozen=True, kw_only=True):
    """A hospital's own band for one dose row. It may be stricter than ours; who signed it and why stay visible."""

    row: str
    usual_low: Decimal
    usual_high: Decimal
    hard: Decimal | None = None
    reason: str
    signed_by: str


class Hospital(Strict, frozen=True, kw_only=True):
    name: str
    practice: bool = False
    zone: str = "UTC"
    weight_hours: int = 24
    weight_hours_small: int = 12
    error_percent: Decimal | None = None  # most that rounding to a mark may take away; None: the table's own figure
    attempt_limit: int = 3
    people: tuple[Person, ...] = ()
    rooms: tuple[str, ...] = ()
    machines: tuple[str, ...] = ()
    scales: tuple[str, ...] = ()
    monitors: tuple[str, ...] = ()
    agents: tuple[str, ...] = ("isoflurane", "sevoflurane")
    circuits: tuple[str, ...] = ()
    breathing_bags: tuple[int, ...] = ()  # millilitres
    machine_figures: tuple[MachineAtHand, ...] = ()
    agent_bottles: tuple[StockedAgent, ...] = ()
    barrels: tuple[str, ...] = ()
    drugs: tuple[StockedDrug, ...] = ()
    tubes: tuple[StockedTube, ...] = ()
    cylinders: tuple[StockedCylinder, ...] = ()
    parts: tuple[StockedPart, ...] = ()
    limits: tuple[OwnLimit, ...] = ()
    bags: tuple[StockedBag, ...] = ()
    drop_sets: tuple[int, ...] = ()
    names: Naming = "INN"
    shown: dict[str, str] = {}
    label: LabelPaper = "a4"
    draw_asks: tuple[DrawAsk, ...] = ()  # what no syringe is drawn without, but in an emergency

    def person(self, id_: str) -> Person:
        """A person by id; an unknown hand is refused."""
        found = next((p for p in self.people if p.id == id_), None)
        if found is None:
            raise Unknown("hand", f"{id_!r} is not one of the hospital's people.", "Choose who is acting.")
        return found

    def is_veterinarian(self, id_: str) -> bool:
        return any(p.id == id_ and p.role in {"veterinarian", "head of anaesthesia"} for p in self.people)


NO_HOSPITAL = Hospital(name="no hospital set")


def read_hospital(text: str, name: str = "hospital.toml") -> Hospital:
    """The overlay, or a refusal naming the row. Ids of people are unique."""
    found = read_table(text, Hospital, name)
    ids = [p.id for p in found.people]
    if len(ids) != len(set(ids)):
        raise BadTable(name, "two people share one id.", "Give each person an id of their own.")
    for machine in found.machine_figures:
        if found.machines and machine.name not in found.machines:
            raise BadTable(
                name, f"machine_figures: {machine.name!r} is not in machines.", "Write it as it stands there."
            )
        try:
            read(machine.volume or "0 L", f"machine_figures, {machine.name}", "volume")
        except Refusal as refusal:
            raise BadTable(name, f"{refusal.field}: {refusal.says}", refusal.accepts) from refusal
    return found
