"""Which set of constants may stand for this animal, or by name why none may. Never a curve from a guess."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from decimal import Decimal

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.population import Spread
from spiracle.kinetics.rows import Background, Constants, EffectSiteRow, ModelRow, Use
from spiracle.kinetics.saturable import Saturable
from spiracle.kinetics.tables import KineticsTables
from spiracle.quantity import figure
from spiracle.refusals import Missing, NotOneOf, OutOfRange, Unknown

PREDICTION = "Prediction for a population, not a measurement of this animal."
UNDER = {"awake": "awake", "any": "under the drug itself", "intravenous": "asleep without an inhaled agent"}
NOT_FOR = {"sighthound": "No set was measured in sighthounds."}


@dataclass(frozen=True, slots=True)
class Model:
    """A set that may be run: its typical animal, the spread around it, and everything that has to be said beside a curve.

    `spread` is that between animals and, as residual, that of a level about the set. `widen` are the other ends of the band:
    typical animals of sets that cannot be told from this one.
    """

    row: ModelRow
    disposition: Disposition
    spread: Spread
    widen: tuple[Disposition, ...]
    words: str
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    memory: bool

    @property
    def id(self) -> str:
        return self.row.id

    @property
    def quality(self) -> str:
        return self.row.quality

    @property
    def log_sd(self) -> dict[str, float]:
        """SD of each constant's logarithm between animals, by the names of the row's constants."""
        named = dict(zip(("v1", "v2", "v3", "cl", "q2", "q3", "ke0"), self.spread.logarithmic(), strict=False))
        return {k: v for k, v in named.items() if k in self.row.spread or (k == "ke0" and self.has_effect_site)}

    @property
    def residual_log_sd(self) -> float:
        """SD of the logarithm of a level around what the set gives."""
        return self.spread.sd_log_residual

    @property
    def saturable(self) -> Saturable | None:
        """The set with elimination that saturates, for the rows that have it; it is then run by that solver and no other."""
        limits = self.row.saturating
        if limits is None:
            return None
        flowing = Disposition(self.disposition.v1, 0.0, self.disposition.exchange, self.disposition.ke0)
        return Saturable(flowing, float(limits.vmax), float(limits.km))

    @property
    def has_effect_site(self) -> bool:
        return self.disposition.ke0 is not None


def by_id(tables: KineticsTables, id_: str) -> Model:
    """A set by its id, whoever it is for; a partial one is refused with what it lacks."""
    row = tables.model(id_)
    return _model(tables, row)


def choose(
    tables: KineticsTables,
    drug: str,
    species: str,
    *,
    age_months: float | None,
    weight_kg: Decimal | float | None,
    asa: int | None,
    sighthound: bool,
    conditions: Collection[str] = (),
    background: Background,
    premedicated: bool,
    use: Use,
) -> Model:
    """The first set of a drug and species that may stand for this animal.

    `background` is what else keeps the animal under: awake, isoflurane, sevoflurane, or any where it is the drug itself. Sleep by
    a drug of the vein or another gas is met by the sets for any alone.
    Raises Unknown for a drug or species without a set, for a sighthound and for a condition; Missing for what was not
    entered or not printed; OutOfRange for an animal outside the set; NotOneOf for a background or use it is not made for.
    """
    rows = _rows(tables, drug, species)
    fit = [r for r in rows if {background, "any"} & set(r.background)]
    if not fit:
        made = sorted({b for r in rows for b in r.background})
        raise NotOneOf("background", f"No set of {drug} in the {species} was made for an animal {under(background)}.",
                       f"Sets are for: {', '.join(map(under, made))}.")  # fmt: skip
    may = [r for r in fit if use in r.use]
    if not may:
        raise NotOneOf("use", f"No set of {drug} in the {species} serves for {use}.", _runnable(tables, drug, species))
    row = may[0]
    _suits(row, age_months, weight_kg, asa, {*conditions, *(["sighthound"] if sighthound else [])})
    model = _model(tables, row)
    if premedicated != row.premedicated:
        had = "after premedication" if row.premedicated else "without premedication"
        model = replace(model, cautions=(*model.cautions, f"The animals of this set were {had}, unlike this one."))
    return model


def within_total(model: Model, total_mg_kg: float) -> None:
    """Refuses a total over the set's own range [mg/kg within its minutes]: beyond it no estimate is made."""
    most = model.row.total_at_most_mg_kg
    if most is not None and total_mg_kg > float(most):
        raise OutOfRange(
            "total",
            f"{total_mg_kg:.3g} mg/kg within {model.row.total_within_min} min is past this set: {model.row.total_says}.",
            f"An estimate is made up to {figure(Decimal(most))} mg/kg.",
        )


def _rows(tables: KineticsTables, drug: str, species: str) -> list[ModelRow]:
    """Sets that are chosen from, first choice first."""
    found = tables.of(drug, species)
    rows = [r for r in found if r.runs and r.rank is not None]
    if rows:
        return rows
    if found:
        lacks = sorted({r.lacks for r in found if r.lacks})
        raise Missing("model", f"{drug} in the {species} is known only in part: {'; '.join(lacks)}.",
                      "Only sums can be shown.")  # fmt: skip
    other = sorted({m.species for m in tables.models if m.drug == drug and m.runs})
    if other:
        raise Unknown("species", f"The sets of {drug} are for the {' and the '.join(other)}, not for the {species}.",
                      "No set is carried from one species to another.")  # fmt: skip
    raise Unknown("drug", f"No set of constants is known for {drug}.", "Only sums can be shown.")


def _suits(
    row: ModelRow, age_months: float | None, weight_kg: Decimal | float | None, asa: int | None, conditions: set[str]
) -> None:
    """Refuses an animal outside those that the set may stand for."""
    months, least_kg, healthy = row.adult_from_months or 0, Decimal(row.weight_from_kg or 0), row.asa_at_most or 0
    if weight_kg is None:
        raise Missing("weight", "The weight is not entered.", "Weigh the animal.")
    if age_months is None:
        raise Missing("age", "The age is not entered.", "Enter the age.")
    if asa is None:
        raise Missing("ASA status", "The physical status is not entered.", "Enter I to V.")
    for condition in sorted(conditions & set(row.not_for)):
        raise Unknown("model", NOT_FOR.get(condition, f"This set was made in healthy adults; {condition} stands on the list."),
                      "Only sums can be shown.")  # fmt: skip
    if age_months < months:
        raise OutOfRange("age", f"It is {age_months:.3g} months old; the animals of this set were grown.",
                         f"It is used from {months} months on.")  # fmt: skip
    if Decimal(str(weight_kg)) < least_kg:
        raise OutOfRange("weight", f"{float(weight_kg):.3g} kg is less than the animals of this set weighed.",
                         f"It is used from {figure(least_kg)} kg on.")  # fmt: skip
    if asa > healthy:
        raise OutOfRange(
            "ASA status", f"The status is {asa}; the animals of this set were healthy.", f"It is used up to {healthy}."
        )


def _model(tables: KineticsTables, row: ModelRow) -> Model:
    if row.runs is None:
        raise Missing("model", f"{row.id} is partial: {row.lacks}.", _runnable(tables, row.drug, row.species))
    site = tables.effect_site(row.id)
    ke0 = None if site is None or site.ke0 is None else float(site.ke0)
    others = [tables.model(other) for other in row.widen_with]
    return Model(
        row=row,
        disposition=_disposition(row.runs, ke0),
        spread=_spread(row, site if ke0 is not None else None),
        widen=tuple(_disposition(o.runs, ke0) for o in others if o.runs),
        words=_words(row, site),
        cautions=tuple(_cautions(row, site)),
        sources=tuple(dict.fromkeys((*row.source, *(site.source if site else ())))),
        memory=row.memory or (site is not None and site.memory),
    )


def _disposition(runs: Constants, ke0: float | None) -> Disposition:
    pairs = [(q, v) for q, v in ((runs.q2, runs.v2), (runs.q3, runs.v3)) if q is not None and v is not None]
    exchange = tuple((float(q), float(v)) for q, v in pairs)
    return Disposition(float(runs.v1), float(runs.cl), exchange, ke0)


def _spread(row: ModelRow, site: EffectSiteRow | None) -> Spread:
    """The row's coefficients of variation [%] as shares; logarithms' SD where the row has those."""
    cv = {name: float(value) / 100 for name, value in row.spread.items()}
    return Spread(
        cv_v1=cv["v1"],
        cv_v2=cv.get("v2", 0.0),
        cv_v3=cv.get("v3", 0.0),
        cv_clearance=cv["cl"],
        cv_q2=cv.get("q2", 0.0),
        cv_q3=cv.get("q3", 0.0),
        sd_log_ke0=0.0 if site is None else float(site.log_sd or 0),
        sd_log_residual=float(row.residual_log_sd or 0),
    )


def _words(row: ModelRow, site: EffectSiteRow | None) -> str:
    """The set in one line for the screen."""
    many = f" (n = {row.n})" if row.n else ""
    tail = f"; effect site {site.quality}" if site is not None and site.ke0 is not None else ""
    return f"{row.says}{many}{tail}."


def _cautions(row: ModelRow, site: EffectSiteRow | None) -> list[str]:
    lines = [PREDICTION]
    if row.saturating is not None:
        lines.append("Elimination saturates: the constants here hold for traces alone.")
    if row.not_before_min is not None:
        lines.append(f"Not for the first {row.not_before_min} min after a dose.")
    if row.never:
        lines.append(f"Never for {', '.join(row.never)}.")
    if row.total_at_most_mg_kg is not None:
        lines.append(
            f"Up to {figure(Decimal(row.total_at_most_mg_kg))} mg/kg within {row.total_within_min} min: {row.total_says}."
        )
    if site is None:
        lines.append("No effect-site constant is known: the curve is that of the plasma.")
    else:
        lines.append(site.says)
    return lines


def under(background: str) -> str:
    """A background in words that follow 'an animal'."""
    return UNDER.get(background, f"under {background}")


def _runnable(tables: KineticsTables, drug: str, species: str) -> str:
    """What may be run instead."""
    ids = [m.id for m in tables.of(drug, species) if m.runs]
    return f"To run: {', '.join(ids)}." if ids else "Only sums can be shown."
