"""What is wrong in the drug tables though each row reads well: one sentence a fault, none in the tables as shipped.

The rules look at the rows as written, not at a formulary that refused the bad ones already, so that each can be proven.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from decimal import Decimal

from spiracle.drugs.forms import formulation_cautions
from spiracle.drugs.rows import comparable, in_unit
from spiracle.drugs.stock import read_strength
from spiracle.drugs.table import FIGURE_KINDS, CautionFacts, DrugFacts, DrugFile, RowFacts
from spiracle.quantity import Quantity
from spiracle.quantity.reading import KINDS
from spiracle.refusals import Refusal

# Weights a stop per animal is looked at [kg]: a kitten, a toy dog, cats, and dogs up to a giant breed.
WEIGHTS = tuple(Decimal(k) for k in ("0.5", "1.5", "3.5", "5", "10", "25", "50", "80"))
# What a drug must be called to need a class of controlled substance. US schedules; a stricter country has its own list.
CONTROLLED_GROUPS = (
    "mu opioid",
    "mu agonist",
    "kappa agonist",
    "benzodiazepine",
    "dissociative",
    "neurosteroid",
    "barbiturate",
)
CONTROLLED_DRUGS = frozenset({
    "methadone", "hydromorphone", "oxymorphone", "morphine", "morphine_preservative_free", "fentanyl", "fentanyl_patch",
    "remifentanil", "pethidine", "buprenorphine", "butorphanol", "tramadol", "ketamine", "tiletamine_zolazepam",
    "alfaxalone", "midazolam", "diazepam", "phenobarbital",
})  # fmt: skip
# Groups whose effect has an antagonist on the shelf.
REVERSIBLE = (
    "full mu opioid",
    "partial mu opioid",
    "kappa agonist",
    "alpha-2 agonist",
    "benzodiazepine",
    "neuromuscular blocker",
)
# Not reversed, and why: the dissociative half outlasts its benzodiazepine; naloxone undoes little of tramadol.
NOT_REVERSED = frozenset({"tiletamine_zolazepam", "tramadol"})
EMERGENCIES = frozenset(
    {"arrest", "anaphylaxis", "seizure", "arrhythmia", "local anaesthetic toxicity", "malignant hyperthermia"}
)
# First rows that may stand without a stop, and why; none today.
NO_STOP_NEEDED: dict[str, str] = {}


def faults(file: DrugFile, conditions: Iterable[str] = ()) -> tuple[str, ...]:
    """Every fault of the tables in one sentence each. `conditions`: ids an animal can have, where they are known."""
    known = frozenset(conditions)
    found: list[str] = []
    for rule in RULES:
        found.extend(rule(file))
    found.extend(_conditions(file, known))
    return tuple(found)


def _given(file: DrugFile) -> Iterator[RowFacts]:
    return (row for row in file.dose if row.pick != "never")


def reversals(file: DrugFile) -> Iterator[str]:
    """A reversible drug names its reversal, and that reversal can be worked out in every species the drug is given to."""
    for drug in file.drug:
        able = any(w in drug.group for w in REVERSIBLE) and "antagonist" not in _without_mu(drug.group)
        if able and not drug.reversal and drug.id not in NOT_REVERSED:
            yield f"{drug.id}: is reversible and names no reversal."
        if not drug.reversal:
            continue
        for species in sorted({row.species for row in _given(file) if row.drug == drug.id}):
            rows = [*_given(file), *(r for r in file.multiple if r.pick != "never")]
            if not any(r.drug == drug.reversal and r.species == species for r in rows):
                yield f"{drug.id}: {drug.reversal} has no row for a {species}."


def _without_mu(group: str) -> str:
    """The group without the words in which an antagonist is part of a drug that can itself be reversed."""
    for words in ("mu antagonist", "NMDA antagonist", "peripheral antagonist"):
        group = group.replace(words, "")
    return group


def controlled(file: DrugFile) -> Iterator[str]:
    """A controlled substance carries its class, and says when that class is from memory."""
    for drug in file.drug:
        group = _without_mu(drug.group)
        must = drug.id in CONTROLLED_DRUGS or (
            any(w in drug.group for w in CONTROLLED_GROUPS) and "antagonist" not in group
        )
        if must and not drug.controlled:
            yield f"{drug.id}: is a controlled drug and has no class."


def units(file: DrugFile) -> Iterator[str]:
    """The unit of a dose row, of its stops and of its caps can be a dose."""
    for row in _given(file):
        for what, symbol in (("unit", row.unit), *((f"stop {s.at}", s.unit) for s in row.stops)):
            try:
                able = KINDS["dose"].admits(Quantity.of(1, symbol).unit)
            except Refusal:
                able = False
            if not able and not _per_day(symbol):
                yield f"{row.id}: {what} in {symbol} cannot be a dose."
        if row.low > row.high:
            yield f"{row.id}: {row.low} to {row.high} {row.unit} runs backwards."
        if row.low <= 0 and row.high <= 0:
            yield f"{row.id}: a dose of {row.high} {row.unit} is none; write it under never."


def _per_day(symbol: str) -> bool:
    """A stop per day is of the sum, not of one dose."""
    return symbol.endswith("/day") and KINDS["dose"].admits(Quantity.of(1, symbol.removesuffix("/day")).unit)


def sources(file: DrugFile) -> Iterator[str]:
    """Every row and every limit says where it was read."""
    for row in (*file.dose, *(f for kind in FIGURE_KINDS for f in getattr(file, kind))):
        if not row.sources:
            yield f"{row.id}: has no source."
        for stop in row.stops:
            if not stop.sources:
                yield f"{row.id}: its limit {stop.at} {stop.unit} has no source."
            if stop.sources == ("memory",) and not stop.memory:
                yield f"{row.id}: its limit {stop.at} {stop.unit} is from memory and does not say so."
    for caution in _cautions(file):
        if not caution.sources:
            yield f"{caution.id}: has no source."
        if caution.sources == ("memory",) and not caution.memory:
            yield f"{caution.id}: is from memory and does not say so."


def _cautions(file: DrugFile) -> tuple[CautionFacts, ...]:
    """Cautions as written, and the limits of a form read as cautions."""
    return (*file.caution, *formulation_cautions(file.formulation))


def ranges(file: DrugFile) -> Iterator[str]:
    """The usual range lies inside every hard limit, at each of several weights."""
    for row in _given(file):
        try:
            low, high = (Quantity.of(v, row.unit) for v in (row.usual or (row.low, row.high)))
        except Refusal:
            continue  # its unit is told by its own rule
        if low > high:
            yield f"{row.id}: usual {low} to {high} runs backwards."
        for stop in row.stops:
            try:
                at = Quantity.of(stop.at, stop.unit)
                alike = comparable(at.unit, low.unit)
            except Refusal:
                continue
            if alike and at.unit.dimension == low.unit.dimension and high > at:
                yield f"{row.id}: usual top {high} is over its limit {at}."
            elif alike:
                over = [kg for kg in WEIGHTS if _can_weigh(row, kg) and low > in_unit(at, low.unit, kg)]
                if over and row.usual_cap is None and not stop.ask:
                    yield f"{row.id}: all of usual {low} to {high} is over its limit {at} at {over[0]} kg."


def _can_weigh(row: RowFacts, kg: Decimal) -> bool:
    """Whether an animal of the row's species and band can have this weight; cats are looked at up to ten kilograms."""
    band = row.weight_kg
    if row.species == "cat" and kg > WEIGHTS[4]:
        return False
    return not band or (band[0] < kg and (len(band) < 2 or kg <= band[1]))


def words(file: DrugFile) -> Iterator[str]:
    """Routes, purposes, conditions and diluents are words of the lists."""
    routes, purposes = {w.name for w in file.route}, {w.name for w in file.purpose}
    conditions, diluents = {c.name for c in file.condition}, {w.name for w in file.diluent}
    for row in file.dose:
        if not row.routes or set(row.routes) - routes:
            yield f"{row.id}: its route {', '.join(sorted(set(row.routes) - routes)) or 'is missing'} is not on the list."
        if not row.purposes or set(row.purposes) - purposes:
            yield f"{row.id}: its purpose {', '.join(sorted(set(row.purposes) - purposes)) or 'is missing'} is not on the list."
        for strange in sorted(set(row.conditions) - conditions):
            yield f"{row.id}: its condition {strange!r} is not on the list."
    for drug in file.drug:
        for diluent in drug.diluents:
            if diluent.name not in diluents:
                yield f"{drug.id}: its diluent {diluent.name!r} is not on the list."


def emergencies(file: DrugFile) -> Iterator[str]:
    """A row for an emergency is never blocked; the first row of each drug has a limit, or a written reason why not."""
    for row in _given(file):
        if EMERGENCIES & set(row.purposes) and not row.emergency:
            yield f"{row.id}: is for {', '.join(row.purposes)} and would be blocked by its limits."
        if row.pick == "default" and not row.stops and not NO_STOP_NEEDED.get(row.id):
            yield f"{row.id}: is shown first and has no limit."


def budgets(file: DrugFile) -> Iterator[str]:
    """A shared ceiling names rows that stand here, of drugs that it counts."""
    rows = {r.id: r for r in (*file.dose, *file.ceiling)}
    for budget in file.budget:
        for row_id in budget.limits:
            if row_id not in rows:
                yield f"budget {budget.id}: its limit {row_id!r} is not a row."
            elif rows[row_id].drug not in budget.drugs:
                yield f"budget {budget.id}: its limit {row_id!r} is of a drug it does not count."
    purposes = {r.purpose for r in file.dose} | {p for r in file.dose for p in r.purposes}
    for budget in file.budget:
        for purpose in budget.exempt:
            if purpose not in purposes:
                yield f"budget {budget.id}: nothing is given for {purpose!r}, which it leaves out."
    yield from _beside(file)


def _beside(file: DrugFile) -> Iterator[str]:
    """What a ceiling is worked with: known drugs, sources, limits in order, and two figures that disagree told."""
    drugs = {d.id for d in file.drug}
    for owner, named, read in (
        *((e.id, (e.drug,), e.sources) for e in file.elimination),
        *((v.id, v.drugs, v.sources) for v in file.vein),
        *((b.id, (b.drug,), b.sources) for b in file.bolus_bag),
    ):
        if not read:
            yield f"{owner}: has no source."
        for drug in named:
            if drug not in drugs:
                yield f"{owner}: {drug!r} is not a drug."
    for vein in file.vein:
        if not vein.ask_percent <= vein.stop_percent <= vein.great_percent:
            yield f"{vein.id}: a great vein takes no less than a limb's, and a stop is no lower than a question."


def names(file: DrugFile) -> Iterator[str]:
    """What names a drug or a row names one that stands here; every drug given has a vial that can be drawn from, or a form."""
    drugs = {d.id: d for d in file.drug}
    for owner, named in (
        *((r.id, r.drug) for r in file.dose),
        *((n.drug, n.drug) for n in file.naming),
        *((f.id, f.drug) for f in file.formulation),
        *((c.id, c.drug) for c in file.caution if c.drug),
    ):
        if named not in drugs:
            yield f"{owner}: {named!r} is not a drug."
    for drug in drugs.values():
        yield from _strengths(drug)


def references(file: DrugFile) -> Iterator[str]:
    """A second source speaks of rows that stand here and says what was done where it disagrees; a form, of listed vials."""
    rows = {r.id for r in (*file.dose, *(f for kind in FIGURE_KINDS for f in getattr(file, kind)))}
    drugs = {d.id: d for d in file.drug}
    for second in file.second_source:
        for row_id in second.rows:
            if row_id not in rows:
                yield f"second source {second.id}: {row_id!r} is not a row."
        if not second.agrees and not second.done:
            yield f"second source {second.id}: disagrees, and what was done about it is not said."
    for form in file.formulation:
        listed = {_printed(s.text, s.words) for s in drugs[form.drug].strengths} if form.drug in drugs else set()
        for strength in form.strengths:
            if strength not in listed:
                yield f"{form.id}: {strength!r} is not a listed strength of {form.drug}."


def _printed(text: str, more: str) -> str:
    return f"{text} {more}".strip()


def _strengths(drug: DrugFacts) -> Iterator[str]:
    for strength in drug.strengths:
        try:
            made = None if strength.form else read_strength(strength.text)[0]
        except Refusal:
            yield f"{drug.id}: its strength {strength.text!r} cannot be read."
            continue
        if not strength.form and made is None:
            yield f"{drug.id}: its strength {strength.text!r} holds no figure."


def _conditions(file: DrugFile, known: frozenset[str]) -> Iterator[str]:
    """A caution speaks of conditions an animal can have, and one that stops a drug says for which."""
    for caution in _cautions(file):
        for condition in caution.when:
            if known and condition not in known:
                yield f"{caution.id}: {condition!r} is not a condition an animal can have."
        if caution.stops and not caution.when:
            yield f"{caution.id}: stops the drug and does not say in which animal."


RULES: tuple[Callable[[DrugFile], Iterator[str]], ...] = (
    reversals, controlled, units, sources, ranges, words, emergencies, budgets, names, references,
)  # fmt: skip
