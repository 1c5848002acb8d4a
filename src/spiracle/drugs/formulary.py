"""The formulary: every drug, every way to give it, looked up by name, species, purpose and route. Indexed once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from difflib import get_close_matches
from typing import Any, Protocol

from spiracle.drugs.choosing import Conditions, choose
from spiracle.drugs.forms import forms_of, formulation_cautions
from spiracle.drugs.naming import named, names_index, not_one_drug, plain_name
from spiracle.drugs.order import DosingWeight, OrderedDose
from spiracle.drugs.rows import DoseRow, dose_row, with_limit
from spiracle.drugs.stock import Drug, Stock, Strength, drug_of, read_strength
from spiracle.drugs.syringe import Barrel, Fineness, barrel_of
from spiracle.drugs.table import (
    FIGURE_KINDS,
    BolusBagFacts,
    BudgetFacts,
    CautionFacts,
    ClassName,
    DrugFile,
    EliminationFacts,
    FormulationFacts,
    MixingFacts,
    RowFacts,
    SecondFacts,
    ToleranceFacts,
    VeinFacts,
    WordFacts,
)
from spiracle.quantity import Quantity
from spiracle.refusals import BadTable, Unknown
from spiracle.source import Sources, read_table
from spiracle.source.rows import need_sources

_PICK_ORDER = {"default": 0, "deliberate": 1, "never": 2}


class OwnLimit(Protocol):
    """A hospital's own band for one row, in the row's unit."""

    @property
    def row(self) -> str: ...
    @property
    def usual_low(self) -> Any: ...
    @property
    def usual_high(self) -> Any: ...
    @property
    def hard(self) -> Any: ...
    @property
    def reason(self) -> str: ...
    @property
    def signed_by(self) -> str: ...


class Formulary:
    """All tables of this room. Nothing in it changes after it is made."""

    def __init__(
        self, file: DrugFile, sources: Sources, rows: Mapping[str, DoseRow] | None = None, naming: str = "INN",
        shown: Mapping[str, str] | None = None, error_percent: Decimal | None = None,
    ) -> None:  # fmt: skip
        self._file, self.sources, self._naming, self._shown = file, sources, naming, dict(shown or {})
        self._error_percent = error_percent
        self._drugs = named({d.id: drug_of(d) for d in file.drug}, file.naming, naming, self._shown)
        made = rows if rows is not None else {f.id: dose_row(f) for f in file.dose}
        self._rows = {i: replace(r, printed=self._drugs[r.drug].name) for i, r in made.items()}
        self._figures: dict[str, tuple[RowFacts, ...]] = {k: getattr(file, k) for k in FIGURE_KINDS}
        self._by_pair: dict[tuple[str, str], list[DoseRow]] = defaultdict(list)
        for row in sorted(self._rows.values(), key=lambda r: (_PICK_ORDER[r.pick], r.id)):
            self._by_pair[row.drug, row.species].append(row)
        self._names = names_index(self._drugs.values(), file.not_one)
        self._purposes, self._routes = _words(file.purpose), _words(file.route)
        self._diluents = _words(file.diluent)
        for row in self._rows.values():  # the source's own wording of a purpose is understood too
            self._purposes.setdefault(_plain(row.purpose), row.purposes[0])
        self.conditions = Conditions(file.condition)
        self.barrels: tuple[Barrel, ...] = tuple(barrel_of(b) for b in file.barrel)
        self._barrels = {b.id: b for b in self.barrels}
        self.fineness = _fineness(file, error_percent)
        self.tolerances: tuple[ToleranceFacts, ...] = file.tolerance
        self.budgets: tuple[BudgetFacts, ...] = file.budget
        self.eliminations: Mapping[tuple[str, str], EliminationFacts] = {
            (e.drug, e.species): e for e in file.elimination
        }
        self.veins: tuple[VeinFacts, ...] = file.vein
        self.bolus_bags: tuple[BolusBagFacts, ...] = file.bolus_bag
        self.mixing: Mapping[str, MixingFacts] = {m.drug: m for m in file.mixing}
        self.swap_share = next((m.value for m in file.measure if m.id == "bag swap share"), Decimal(0))
        self.classes: dict[str, tuple[str, ...]] = {c.name: c.drugs for c in file.class_}
        self._cautions = _cautions_of(file, self.classes)
        self.printed_names: Mapping[str, str] = {d.id: d.name for d in self._drugs.values()}
        self._stock = Stock(
            {d.id: tuple(s.printed for s in d.strengths) for d in self._drugs.values()},
            tuple(b.id for b in self.barrels if b.common),
        )

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> Formulary:
        """All drug tables; each row's drug and sources must exist, each id stands once."""
        file = drug_file(files)
        _check(file, sources)
        return cls(file, sources)

    # ---- drugs

    def drug(self, name: str, species: str | None = None) -> Drug:
        """A drug by international name, printed name or synonym; refused by name with near names."""
        found = self._drugs.get(name) or self._drugs.get(self._names.get(_plain(name), ""))
        if found is None:
            several = not_one_drug(name, self._file.not_one, self._drugs)
            if several is not None:
                raise several
            near = get_close_matches(_plain(name), self._names, n=3, cutoff=0.6)
            tail = " or ".join(dict.fromkeys(self.printed_names[self._names[n]] for n in near))
            raise Unknown(
                "drug", f"{name!r} is not a drug Spiracle knows.", f"Nearest: {tail}." if tail else "Check the name.",
                use=self._names[near[0]] if len(near) == 1 else None,
            )  # fmt: skip
        if species is not None and not self._known(found.id, species):
            raise Unknown("drug", f"{found.name} has no row for a {species}.", f"Choose a drug listed for a {species}.")
        return found

    def _known(self, drug: str, species: str) -> bool:
        if species not in {"dog", "cat"}:
            raise Unknown("species", f"{species!r} is not a species Spiracle knows.", "Say dog or cat.")
        return (drug, species) in self._by_pair or any(
            f.drug == drug and f.species == species for kind in self._figures.values() for f in kind
        )

    @property
    def drugs(self) -> tuple[Drug, ...]:
        return tuple(self._drugs.values())

    def name(self, drug: str) -> str:
        """A drug's name as this hospital reads it, by its id; an id that is not listed in plain words."""
        return self.printed_names.get(drug) or drug.replace("_", " ")

    def class_of(self, drug: str) -> ClassName:
        """The ISO 26825 class of a drug's label; "other" for one that is not known."""
        found = self._drugs.get(drug)
        return found.syringe_class if found else "other"

    syringe_class_of = class_of

    def controlled_class(self, drug: str) -> str:
        found = self._drugs.get(drug)
        return found.controlled if found else ""

    def is_reversal(self, drug: str) -> bool:
        found = self._drugs.get(drug)
        return bool(found and found.is_reversal)

    # ---- rows

    def row(self, row_id: str) -> DoseRow:
        if row_id not in self._rows:
            raise Unknown("row", f"{row_id!r} is not a dose row.", "Pick one from the list.")
        return self._rows[row_id]

    def all_rows(self) -> tuple[DoseRow, ...]:
        """Every dose row, those that are never picked among them."""
        return tuple(self._rows.values())

    def every(self, drug: str, species: str) -> tuple[DoseRow, ...]:
        """Every dose row of a drug and species, those that are never picked last."""
        return tuple(self._by_pair.get((self.drug(drug, species).id, species), ()))

    def rows(
        self, drug: str, species: str, purpose: str | None = None, route: str | None = None
    ) -> tuple[DoseRow, ...]:
        """The rows that may be picked, default rows first."""
        want = None if purpose is None else self.purpose(purpose)
        by = None if route is None else self.route(route)
        return tuple(
            r
            for r in self.every(drug, species)
            if r.pick != "never" and (want is None or want in r.purposes) and (by is None or by in r.routes)
        )

    def pickable(self, species: str) -> tuple[DoseRow, ...]:
        """Every row a species' picker may show: default rows first, then by the drug's name."""
        able = [r for r in self._rows.values() if r.species == species and r.pick != "never"]
        return tuple(sorted(able, key=lambda r: (_PICK_ORDER[r.pick], self.printed_names[r.drug], r.id)))

    def default(self, drug: str, species: str, purpose: str, route: str) -> DoseRow | None:
        """The row shown first for this purpose by this route; a route is always said, never assumed."""
        return next((r for r in self.rows(drug, species, purpose, route) if r.default), None)

    def choose(self, order: OrderedDose, weight: DosingWeight) -> DoseRow:
        return choose(order, weight, self)

    def figures(self, kind: str, species: str | None = None, drug: str | None = None) -> tuple[RowFacts, ...]:
        """Figures that are not doses, by kind; see `FIGURE_KINDS`."""
        if kind not in self._figures:
            raise Unknown("kind", f"{kind!r} is not a kind of figure.", "Known: " + ", ".join(self._figures) + ".")
        return tuple(f for f in self._figures[kind] if species in {None, f.species} and drug in {None, f.drug})

    def cumulative(self, row_id: str) -> tuple[Quantity, tuple[str, ...], bool] | None:
        """The ceiling on the sum that a row carries: amount per kg or animal, its sources, whether from memory."""
        if row_id in self._rows:
            stops = self._rows[row_id].stops
            found = next((s for s in stops if s.basis == "cumulative"), stops[0] if stops else None)
            return None if found is None else (found.at, found.sources, found.memory)
        for facts in self._figures["ceiling"]:
            if facts.id == row_id:
                return Quantity.of(facts.high, facts.unit), facts.sources, facts.memory
        return None

    # ---- words

    def purposes(self, drug: str, species: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(p for r in self.rows(drug, species) for p in r.purposes))

    def routes(self, drug: str, species: str, purpose: str | None = None) -> tuple[str, ...]:
        return tuple(dict.fromkeys(t for r in self.rows(drug, species, purpose) for t in r.routes))

    def purpose(self, word: str) -> str:
        return _word(word, self._purposes, "purpose")

    def route(self, word: str) -> str:
        return _word(word, self._routes, "route")

    def diluent(self, word: str) -> str:
        """What a drug is thinned with, by its listed name; a word that is not listed stays as it is."""
        return self._diluents.get(_plain(word), word.strip())

    def cautions_of(self, drug: str, species: str) -> tuple[CautionFacts, ...]:
        """Every caution written for the drug or a class it belongs to."""
        return tuple(c for c in self._cautions.get(drug, ()) if c.species in {species, "both"})

    # ---- forms of a vial, second sources

    @property
    def formulations(self) -> tuple[FormulationFacts, ...]:
        return self._file.formulation

    def forms(self, drug: str) -> tuple[str, ...]:
        """Forms of a drug that must be told apart at the shelf, each with what it holds; none where one form is listed."""
        return forms_of(drug, self._file.formulation)

    @property
    def second_sources(self) -> tuple[SecondFacts, ...]:
        """The dangerous figures that were held against a second page, and what it said."""
        return self._file.second_source

    def second_of(self, row_id: str) -> tuple[SecondFacts, ...]:
        return tuple(s for s in self._file.second_source if row_id in s.rows)

    # ---- stock

    def stock(self) -> Stock:
        """Spiracle's own stock: every listed strength, every syringe in common use."""
        return self._stock

    def barrel(self, name: str) -> Barrel:
        if name not in self._barrels:
            raise Unknown(
                "syringe", f"{name!r} is not a syringe on the list.", "Known: " + ", ".join(self._barrels) + "."
            )
        return self._barrels[name]

    def barrels_of(self, stock: Stock) -> tuple[Barrel, ...]:
        return tuple(self.barrel(b) for b in (stock.barrels or self._stock.barrels))

    def strengths_of(self, drug: Drug, stock: Stock) -> tuple[Strength, ...]:
        """The stocked strengths of a drug, with what the tables know of each."""
        texts = stock.strengths.get(drug.id, ())
        return tuple(self.strength(drug, text, stock.origin) for text in texts)

    def strength(self, drug: Drug, text: str, origin: str = "hospital") -> Strength:
        """A strength as printed on a vial; what the tables know of it (farm vial, spray) comes along."""
        for known in drug.strengths:
            if text.strip() in {known.text, known.printed}:
                return known
        quantity, plain, words = read_strength(text)
        made = Strength(plain, quantity, words, origin=origin)
        alike = next((k for k in drug.strengths if k.same(made) and not k.only), None)
        return made if alike is None else replace(made, trap=alike.trap, sources=alike.sources)

    # ---- a hospital's own

    def with_limits(self, limits: Iterable[OwnLimit], origin: str) -> Formulary:
        """The formulary with a hospital's own bands; ours stay visible in the row's stops, origins are kept."""
        rows = dict(self._rows)
        for own in limits:
            base = self.row(own.row)
            why = f"{own.reason}; signed by {own.signed_by}"
            rows[own.row] = with_limit(base, own.usual_low, own.usual_high, own.hard, why, origin)
        return Formulary(self._file, self.sources, rows, self._naming, self._shown, self._error_percent)

    def with_names(self, naming: str, shown: Mapping[str, str] | None = None) -> Formulary:
        """The formulary under the names a hospital reads: those of one list, and its own choice per drug. Ids stay."""
        return Formulary(self._file, self.sources, self._rows, naming, shown, self._error_percent)

    def with_error_limit(self, percent: Decimal) -> Formulary:
        """The formulary with a hospital's own limit on what rounding to a mark or a pump's step may take away."""
        if not 1 <= percent <= 25:
            raise BadTable("error_percent", f"{percent} % is no error limit.", "Give 1 to 25 %.")
        return Formulary(self._file, self.sources, self._rows, self._naming, self._shown, percent)


_plain = plain_name


def drug_file(files: Mapping[str, str]) -> DrugFile:
    """All drug tables as one, read strictly and not yet held against one another."""
    merged: dict[str, list[Any]] = {name: [] for name in DrugFile.__struct_fields__}
    for name, text in files.items():
        part = read_table(text, DrugFile, name)
        for key, found in merged.items():
            found.extend(getattr(part, key))
    return DrugFile(**{key: tuple(value) for key, value in merged.items()})


def _words(facts: Iterable[WordFacts]) -> dict[str, str]:
    words: dict[str, str] = {}
    for fact in facts:
        for word in (fact.name, *fact.also):
            words[_plain(word)] = fact.name
    return words


def _word(word: str, known: Mapping[str, str], field: str) -> str:
    found = known.get(_plain(word)) or known.get(_plain(word.split("(", maxsplit=1)[0]))
    if found is None:
        near = get_close_matches(_plain(word), known, n=3, cutoff=0.6)
        names = dict.fromkeys(known[n] for n in near) or dict.fromkeys(known.values())
        raise Unknown(field, f"{word!r} is not a {field} Spiracle knows.", "One of: " + ", ".join(names) + ".")
    return found


def _fineness(file: DrugFile, error_percent: Decimal | None = None) -> Fineness:
    by = {m.id: m for m in file.measure}
    wanted = ("least volume", "least marks", "error limit", "largest error", "pump step", "least rate", "most syringes")
    missing = [w for w in wanted if w not in by]
    if missing:
        raise BadTable("measures", f"{', '.join(missing)} not given.")
    largest = by["largest error"].value if error_percent is None else error_percent
    return Fineness(
        least_volume=Quantity.of(by["least volume"].value, "mL"),
        least_marks=by["least marks"].value,
        error_limit=min(by["error limit"].value, largest),
        largest_error=largest,
        pump_step=Quantity.of(by["pump step"].value, "mL/h"),
        least_rate=Quantity.of(by["least rate"].value, "mL/h"),
        most_syringes=by["most syringes"].value,
    )


def _cautions_of(file: DrugFile, classes: Mapping[str, tuple[str, ...]]) -> dict[str, list[CautionFacts]]:
    by: dict[str, list[CautionFacts]] = defaultdict(list)
    for caution in (*file.caution, *formulation_cautions(file.formulation)):
        for drug in (caution.drug,) if caution.drug else classes[caution.class_]:
            by[drug].append(caution)
    return by


def _check(file: DrugFile, sources: Sources) -> None:
    """Every id once, every drug listed, every source listed, every class named."""
    drugs = {d.id for d in file.drug}
    seen: set[str] = set()
    figures = (f for kind in FIGURE_KINDS for f in getattr(file, kind))
    for row in (*file.dose, *figures):
        if row.id in seen:
            raise BadTable(f"row {row.id}", "stands twice.")
        seen.add(row.id)
        if row.drug not in drugs:
            raise BadTable(f"row {row.id}", f"is of {row.drug!r}, which is not a drug here.")
        _cited(row.id, row.sources, sources)
        for stop in row.stops:
            _cited(f"{row.id}, stop", stop.sources, sources)
    for id_, cited in _others(file):
        _cited(id_, cited, sources)
    _check_known(file, drugs, seen)
    _check_classes(file)


def _check_known(file: DrugFile, drugs: set[str], rows: set[str]) -> None:
    """What names a drug or a row names one that stands here."""
    wanted = [(f.id, d) for f in file.formulation for d in (f.drug,)] + [
        (w.name, d) for w in file.not_one for d in w.drugs
    ]
    wanted += [(f"mixing {m.drug}", d) for m in file.mixing for d in (m.drug, *m.fluids, *m.with_)]
    for id_, drug in wanted:
        if drug not in drugs:
            raise BadTable(id_, f"speaks of {drug!r}, which is not a drug here.")
    for second in file.second_source:
        for row in second.rows:
            if row not in rows:
                raise BadTable(f"second source {second.id}", f"speaks of {row!r}, which is not a row here.")


def _others(file: DrugFile) -> Iterable[tuple[str, tuple[str, ...]]]:
    for drug in file.drug:
        yield drug.id, drug.sources
        yield from ((f"{drug.id}, strength", s.sources) for s in drug.strengths)
        yield from ((f"{drug.id}, diluent", d.sources) for d in drug.diluents)
    yield from ((c.id, c.sources) for c in file.caution)
    yield from ((f.id, f.sources) for f in file.formulation)
    yield from ((f"names of {n.drug}", n.sources) for n in file.naming)
    yield from ((f"word {w.name}", w.sources) for w in file.not_one)
    yield from ((f"second source {s.id}", (s.source,)) for s in file.second_source if s.source)
    yield from ((b.id, (*b.sources, *b.dead_sources)) for b in file.barrel)
    yield from ((t.id, t.sources) for t in file.tolerance)
    yield from ((b.id, b.sources) for b in file.budget)
    yield from ((e.id, e.sources) for e in file.elimination)
    yield from ((v.id, v.sources) for v in file.vein)
    yield from ((b.id, b.sources) for b in file.bolus_bag)
    yield from ((m.id, m.sources) for m in file.measure)
    yield from ((f"{m.drug}, mixing", m.sources) for m in file.mixing)


def _check_classes(file: DrugFile) -> None:
    classes = {c.name for c in file.class_}
    for caution in file.caution:
        if bool(caution.drug) == bool(caution.class_) or (caution.class_ and caution.class_ not in classes):
            raise BadTable(caution.id, "names neither one drug nor one known class.")


def _cited(row_id: str, cited: tuple[str, ...], sources: Sources) -> None:
    need_sources(row_id, cited)
    for source in cited:
        sources[source]
