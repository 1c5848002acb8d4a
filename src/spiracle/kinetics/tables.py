"""The tables of kinetics: sets of constants, effect-site constants, levels of events, slow-injection advice, verifications.

Inhaled agents keep their own tables (`kinetics-gas*`) and their own reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import msgspec

from spiracle.kinetics.gas_tables import GasTables
from spiracle.kinetics.rows import EffectRow, EffectSiteRow, ModelRow, SlowRow, VerificationRow
from spiracle.refusals import BadTable, Unknown
from spiracle.source import Sources, read_table
from spiracle.source.acted_on import R, Setting, checked_rows, settings_of
from spiracle.source.stated import Facts, read_stated


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    setting: tuple[Setting, ...] = ()
    model: tuple[ModelRow, ...] = ()
    effect_site: tuple[EffectSiteRow, ...] = ()
    effect: tuple[EffectRow, ...] = ()
    slow: tuple[SlowRow, ...] = ()
    verification: tuple[VerificationRow, ...] = ()


SETTINGS = frozenset({"recomputed-within", "spread-assumed"})
GAS = "kinetics-gas"


@dataclass(frozen=True, slots=True)
class KineticsTables:
    """Everything known of the course of drugs. A row that could be mistaken for more than it is does not load."""

    stated: Facts
    settings: Mapping[str, Setting]
    models: tuple[ModelRow, ...]
    effect_sites: tuple[EffectSiteRow, ...]
    effects: tuple[EffectRow, ...]
    slow: tuple[SlowRow, ...]
    verifications: tuple[VerificationRow, ...]
    gas: GasTables

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> KineticsTables:
        own = {n: t for n, t in files.items() if not n.startswith(GAS)}
        stated = read_stated(own, "-facts", sources)
        plain = [read_table(t, _File, n) for n, t in sorted(own.items()) if not n.endswith("-facts")]

        def all_of(pick: str, shape: type[R]) -> tuple[R, ...]:
            rows: list[R] = [row for file in plain for row in getattr(file, pick)]
            return checked_rows(rows, stated, sources)

        found = cls(
            stated=stated,
            settings=settings_of(all_of("setting", Setting), SETTINGS, "kinetics"),
            models=all_of("model", ModelRow),
            effect_sites=all_of("effect_site", EffectSiteRow),
            effects=all_of("effect", EffectRow),
            slow=all_of("slow", SlowRow),
            verifications=all_of("verification", VerificationRow),
            gas=GasTables.read({n: t for n, t in files.items() if n.startswith(GAS)}, sources),
        )
        found._whole()
        return found

    def model(self, id_: str) -> ModelRow:
        """A set by id, whole or partial: whoever wants to run one asks `choosing.by_id`."""
        for row in self.models:
            if row.id == id_:
                return row
        raise Unknown("model", f"{id_[:60]!r} is no set of constants that Spiracle holds.",
                      "Known: " + ", ".join(m.id for m in self.models if m.runs) + ".")  # fmt: skip

    def of(self, drug: str, species: str) -> tuple[ModelRow, ...]:
        """All sets of a drug in a species, the first choice first and those without a rank last."""
        rows = [m for m in self.models if m.drug == drug and m.species == species]
        return tuple(sorted(rows, key=lambda m: (m.rank is None, m.rank or 0)))

    def effect_site(self, model: str) -> EffectSiteRow | None:
        """The effect-site row of a set, with or without a constant, or None where nothing is said."""
        return next((row for row in self.effect_sites if model in row.models), None)

    def _whole(self) -> None:
        for row in self.models:
            for words in _faults_of(row):
                raise BadTable(f"set {row.id}", words)
        for row_id, named, alike in self._names():
            other = next((m for m in self.models if m.id == named), None)
            if other is None or other.runs is None or (other.drug, other.species) != alike:
                raise BadTable(f"row {row_id}", f"names {named}, which is no set of the same drug and species to run.")
        for effect in self.effects:
            if (effect.made == "none") != (effect.low is None and effect.high is None) or bool(effect.unit) != bool(
                effect.model
            ):
                raise BadTable(
                    f"row {effect.id}", "has a level without a set and a unit, or says that none is known and has one."
                )
        for check in self.verifications:
            if (check.published is None) != (check.within_percent is None) or self.model(check.model).runs is None:
                raise BadTable(
                    f"row {check.id}", "holds no tolerance beside a measured level, or names a set that is not run."
                )

    def _names(self) -> Iterator[tuple[str, str, tuple[str, str]]]:
        """Every set that a row names, with the drug and species it has to be of."""
        for model in self.models:
            for other in model.widen_with:
                yield model.id, other, (model.drug, model.species)
        for site in self.effect_sites:
            for named in (*site.models, *site.lent):
                yield site.id, named, (site.drug, self.model(named).species if named in site.lent else site.species)
        for effect in self.effects:
            if effect.model:
                yield effect.id, effect.model, (effect.drug, effect.species)


def _faults_of(row: ModelRow) -> Iterator[str]:
    """What keeps a row from being a set that says what it is."""
    if row.quality == "partial":
        if row.runs or row.rank is not None or not row.lacks:
            yield "is partial: it can have nothing to run and must say what it lacks."
        return
    if row.runs is None or not row.says or row.lacks:
        yield "is called whole and has nothing to run, or no words for the screen."
        return
    if not row.background or not row.use or row.residual_log_sd is None or not row.residual_says:
        yield "does not say for what it may be used or how far it may miss."
    if row.adult_from_months is None or row.weight_from_kg is None or row.asa_at_most is None:
        yield "does not say for which animals it may be used."
    names = row.runs.named()
    if (
        names.keys() - row.spread.keys()
        or row.spread.keys() - names.keys()
        or not set(row.spread_printed) <= names.keys()
    ):
        yield f"needs a spread for {', '.join(names)}, and for nothing else."
    if len(names) not in {2, 4, 6} or ("q2" in names) != ("v2" in names) or ("q3" in names) != ("v3" in names):
        yield "has a clearance between compartments without a volume, or the other way round."
