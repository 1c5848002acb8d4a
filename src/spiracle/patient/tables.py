"""The patient's tables, read once, and what is asked of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.patient.breeds import Breed, Breeds, Size
from spiracle.patient.conditions import Condition, Conditions, Derived, Flag
from spiracle.patient.signalment import read_asa, read_body_condition, read_species
from spiracle.patient.weighing import (
    Bound,
    Entry,
    LeanRule,
    Row,
    Typical,
    Weight,
    WeightRules,
    check,
    good_for,
    lean_weight,
    stale,
)
from spiracle.quantity import Quantity, figure
from spiracle.refusals import BadTable
from spiracle.source import Sources, Worked, need_sources, read_table
from spiracle.source.stated import Facts, read_stated


class SizeRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: Size
    species: Literal["dog", "cat"]
    from_kg: Decimal
    geriatric_years: Decimal


class AgeRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    condition: str
    under_days: Decimal


class ByWeightRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    condition: str
    under_kg: Decimal


class ByBodyRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    condition: str
    score_low: int
    score_high: int


class AsaRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    grade: Literal["I", "II", "III", "IV", "V"]
    words: str


class FastingRow(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    says: str
    hours_low: Decimal
    hours_high: Decimal


class RuleTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    rules: WeightRules
    lean: LeanRule
    bound: tuple[Bound, ...]
    typical: tuple[Typical, ...]
    size: tuple[SizeRow, ...]
    age: tuple[AgeRow, ...]
    by_weight: tuple[ByWeightRow, ...]
    by_body: tuple[ByBodyRow, ...]
    asa: tuple[AsaRow, ...]
    fasting: tuple[FastingRow, ...]

    def rows(self) -> Iterable[Row]:
        yield self.rules
        yield self.lean
        for group in (
            self.bound,
            self.typical,
            self.size,
            self.age,
            self.by_weight,
            self.by_body,
            self.asa,
            self.fasting,
        ):
            yield from group

    def derived_ids(self) -> Iterable[str]:
        """Conditions that follow from age, weight and body condition."""
        yield from (a.condition for a in self.age)
        yield from (w.condition for w in self.by_weight)
        yield from (b.condition for b in self.by_body)


class BreedTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    breed: tuple[Breed, ...]


class ConditionTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    condition: tuple[Condition, ...]


class PatientTables:
    """Signalment, weight, breeds and conditions. Pure answers; a refusal names the field."""

    def __init__(self, rules: RuleTable, breeds: Breeds, conditions: Conditions, facts: Facts) -> None:
        self.rules, self._breeds, self._conditions, self.facts = rules, breeds, conditions, facts
        for id_ in rules.derived_ids():
            conditions[id_]
        for breed in breeds.rows:
            for id_ in breed.derived_conditions:
                conditions[id_]

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> PatientTables:
        for name in ("patient", "patient-breeds", "patient-conditions"):
            if name not in files:
                raise BadTable(name, "is not among the tables.")
        rules = read_table(files["patient"], RuleTable, "patient")
        breeds = read_table(files["patient-breeds"], BreedTable, "patient-breeds").breed
        conditions = read_table(files["patient-conditions"], ConditionTable, "patient-conditions").condition
        cited = [(getattr(r, "id", type(r).__name__), r.source) for r in rules.rows()]
        cited += [(b.id, b.source) for b in breeds] + [(c.id, c.source) for c in conditions]
        for id_, ids in cited:
            need_sources(id_, ids)
            sources.of(ids)
        return cls(rules, Breeds(breeds), Conditions(conditions), read_stated(files, "-facts", sources))

    # ---- weight

    def check_weight(
        self,
        species: str,
        kg: Decimal,
        *,
        breed: str = "",
        age_days: Decimal | None = None,
        last: Weight | None = None,
        confirmed: bool = False,
        method: str = "scale",
        typed_once: bool = True,
    ) -> None:
        """Passes, refuses (OutOfRange) or asks again (AskAgain); a confirmed entry passes all but the bounds.

        An estimate is only held against the bounds and the breed: in an emergency nothing is typed twice.
        """
        bound = self.bound(species)
        typical = next((t for t in self.rules.typical if t.species == bound.species), None)
        found = self.breed(breed)
        known = found if found is not None and found.species == bound.species else None
        check(Entry(kg, bound, known, typical, age_days, last, method, confirmed, typed_once), self.rules.rules)

    def bound(self, species: str) -> Bound:
        wanted = read_species(species)
        return next(b for b in self.rules.bound if b.species == wanted)

    def weight_good_for(
        self, kg: Decimal, age_days: Decimal | None = None, hospital_hours: tuple[int, int] | None = None
    ) -> timedelta:
        """How long a weight holds. A hospital's own hours (usual, small) may be shorter, never longer."""
        own = good_for(kg, age_days, self.rules.rules)
        if hospital_hours is None:
            return own
        usual = timedelta(hours=self.rules.rules.fresh_hours)
        return min(own, timedelta(hours=hospital_hours[0 if own == usual else 1]))

    def weight_stale(
        self,
        weight: Weight,
        species: str,
        now: datetime,
        age_days: Decimal | None = None,
        hospital_hours: tuple[int, int] | None = None,
    ) -> str:
        """Why the weight no longer holds; empty while it does."""
        read_species(species)
        return stale(weight, now, self.weight_good_for(weight.kg, age_days, hospital_hours))

    def lean(self, species: str, kg: Decimal, body_condition: int) -> Worked[Quantity] | None:
        read_species(species)
        return lean_weight(kg, read_body_condition(body_condition), self.rules.lean)

    # ---- breed and size

    def breed(self, text: str) -> Breed | None:
        return self._breeds.find(text)

    def breeds(self, species: str) -> tuple[Breed, ...]:
        return self._breeds.of(read_species(species))

    def size_class(self, species: str, kg: Decimal, breed: str = "") -> Size:
        """Toy, small, medium, large, giant or cat: the breed's word, else by weight."""
        wanted = read_species(species)
        found = self.breed(breed)
        if found is not None and found.species == wanted:
            return found.size
        rows = [s for s in self.rules.size if s.species == wanted and s.from_kg <= kg]
        return max(rows, key=lambda s: s.from_kg).id

    # ---- conditions

    @property
    def conditions(self) -> tuple[Condition, ...]:
        return self._conditions.rows

    def condition(self, id_: str) -> Condition:
        return self._conditions[id_]

    def hospital_conditions(self) -> tuple[tuple[str, str], ...]:
        """Ids and words to choose from, without those that follow from age, weight, body or the log by themselves."""
        own = set(self.rules.derived_ids())
        return tuple((c.id, c.words) for c in self.conditions if c.id not in own and not c.from_log)

    def derived(
        self,
        species: str,
        *,
        breed: str = "",
        age_days: Decimal | None = None,
        kg: Decimal | None = None,
        body_condition: int | None = None,
        asa: str = "",
    ) -> tuple[Derived, ...]:
        """Conditions that follow from signalment, weight and body condition, each with its reason."""
        wanted = read_species(species)
        found: list[Derived] = []
        known = self.breed(breed)
        if known is not None and known.species == wanted:
            found += [Derived(id_, known.name) for id_ in known.derived_conditions]
        if age_days is not None:
            found += [
                Derived(a.condition, f"{figure(age_days, 3)} days old")
                for a in self.rules.age
                if age_days < a.under_days
            ]
        if kg is not None:
            found += [Derived(w.condition, f"{figure(kg)} kg") for w in self.rules.by_weight if kg < w.under_kg]
            found += self._by_size(wanted, kg, breed, age_days, known is not None)
        if body_condition is not None:
            score = read_body_condition(body_condition)
            found += [Derived(b.condition, f"body condition {score} of 9")
                      for b in self.rules.by_body if b.score_low <= score <= b.score_high]  # fmt: skip
        if asa and (status := read_asa(asa)).number >= 4:
            found.append(Derived("debilitated", f"ASA {status.text}"))
        return tuple(dict.fromkeys(found))

    def _by_size(self, species: str, kg: Decimal, breed: str, age_days: Decimal | None, known: bool) -> list[Derived]:
        size = self.size_class(species, kg, breed)
        found: list[Derived] = []
        young = age_days is not None and age_days < self.rules.rules.adult_from_days
        if not known and not young and size in {"toy", "giant"}:
            found.append(Derived(f"{size}-breed", f"{figure(kg)} kg"))
        years = next(s.geriatric_years for s in self.rules.size if s.id == size)
        if age_days is not None and age_days >= years * Decimal("365.25"):
            found.append(
                Derived("geriatric", f"{figure(years)} years and over for a {size} {species}".replace("cat cat", "cat"))
            )
        return found

    def conditions_of(
        self,
        species: str,
        *,
        named: Iterable[str] = (),
        breed: str = "",
        age_days: Decimal | None = None,
        kg: Decimal | None = None,
        body_condition: int | None = None,
        asa: str = "",
    ) -> frozenset[str]:
        """All conditions that hold: the named and the derived, with what goes with them. An unlisted id is refused."""
        derived = self.derived(species, breed=breed, age_days=age_days, kg=kg, body_condition=body_condition, asa=asa)
        ids = {*named, *(d.id for d in derived)}
        return self._conditions.closed(ids)

    def flags(self, ids: Iterable[str], because: Mapping[str, str] | None = None) -> tuple[Flag, ...]:
        """The conditions as lines of the assessment, the gravest first.

        One that a narrower one brings with it, and that would change the same, is not said a second time.
        """
        order = {"never": 0, "avoid": 1, "care": 2}
        reasons = because or {}
        held = [self._conditions[i] for i in ids]
        said = {(i, c.changes) for c in held for i in c.implies}
        found = [self._conditions.flag(c.id, reasons.get(c.id, "")) for c in held if (c.id, c.changes) not in said]
        place = {c.id: n for n, c in enumerate(self.conditions)}
        return tuple(sorted(found, key=lambda f: (order[f.severity], place[f.condition])))

    def conditions_in(self, text: str) -> frozenset[str]:
        """The conditions that a caution's free words speak of."""
        return self._conditions.named_in(text)
