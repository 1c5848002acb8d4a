"""Each way of choosing a tube gives a size with its spread; here they are worked out, and put together.

A size is the inside diameter [mm] of the tube that would fit best; its spread is one standard deviation. What measures the
trachea gives an outside diameter first, and the bore through the usual ratio of the two (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations
from math import fsum, hypot, sqrt
from statistics import NormalDist

from spiracle.airway.bore import brachycephalic_id_mm, half_width_95_mm, od_for_trachea_mm, trachea_mm_from_back
from spiracle.airway.measured import BACK, PALPATED, PREVIOUS, SEPTUM, TRACHEA, ULTRASOUND, Measured
from spiracle.airway.tables import AirwayTables
from spiracle.quantity import Quantity, printed_size, reading
from spiracle.refusals import OutOfRange
from spiracle.source import Input, Mark, Working

WEIGHT = "weight"


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """What one way of choosing says: bore and spread [mm].

    `of_body`: it rests on the size of the body, as others may too. `binds`: it is of this very trachea (measured, or the tube of
    the grown animal), and so nothing larger than it allows comes first, weighed or not.
    """

    name: str
    id_mm: float
    sd_mm: float
    says: str
    inputs: tuple[Input, ...]
    sources: tuple[str, ...]
    memory: bool = True
    of_body: bool = False
    binds: bool = False

    @property
    def text(self) -> str:
        return size_text(self.id_mm, self.sd_mm)

    @property
    def working(self) -> Working:
        return Working(
            f"{self.says}: {self.text}.", self.inputs, sources=self.sources, memory=self.memory, estimated=True
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """All estimates in one. `widened`: how many times the spread was widened because they lie further apart than they should."""

    id_mm: float
    sd_mm: float
    widened: float
    working: Working

    @property
    def text(self) -> str:
        return size_text(self.id_mm, self.sd_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Every estimate that is weighed, why others are not, and what is to be said about them.

    `left_out` lie too far from what weight says to be believed; `apart` are the weighed ones that disagree.
    """

    estimates: tuple[Estimate, ...]
    combined: Combined
    disagreements: tuple[str, ...]
    unused: tuple[str, ...]
    cautions: tuple[str, ...]
    left_out: tuple[Estimate, ...] = ()
    apart: tuple[tuple[Estimate, Estimate], ...] = ()

    @property
    def by_weight(self) -> Estimate:
        return self.estimates[0]

    @property
    def within_mm(self) -> float:
        """How far the size really used lies from the one that weight says, in 95 of 100 animals like this one [mm]."""
        return half_width_95_mm(self.by_weight.sd_mm)

    def named(self, name: str) -> Estimate | None:
        """An estimate by its name, weighed or left out."""
        return next((e for e in (*self.estimates, *self.left_out) if e.name == name), None)


def size_text(id_mm: float, sd_mm: float) -> str:
    """A size with its spread, as it is said.

    >>> size_text(6.176, 0.441)
    'ID 6.2 ± 0.4 mm'
    """
    return f"ID {_tenths(id_mm)} ± {_tenths(sd_mm)} mm"


def sd_of_hits_mm(share: float, half_width_mm: float) -> float:
    """Standard deviation [mm] of a way that comes within `half_width_mm` in this share (0 to 1) of animals; normal law.

    >>> round(sd_of_hits_mm(0.46, 0.5), 2), round(sd_of_hits_mm(0.21, 0.5), 2)
    (0.82, 1.88)
    """
    if not 0 < share < 1 or half_width_mm <= 0:
        raise OutOfRange(
            "hits", f"{share:g} within {half_width_mm:g} mm tells no spread.", "Give a share between 0 and 1."
        )
    return half_width_mm / NormalDist().inv_cdf((1 + share) / 2)


def joined(estimates: Iterable[tuple[float, float]]) -> tuple[float, float, float]:
    """Mean of independent (size, spread) pairs, each weighed by 1/spread²; its spread; and how far that was widened.

    Where two lie further apart than their joint spread, the spread is widened by that ratio: for two of them it is the
    Birge ratio (R. T. Birge, Phys Rev 1932;40:207; from memory), and for more the widest pair speaks.

    >>> size, sd, widened = joined([(8.0, 0.84), (6.176, 0.441)])
    >>> round(size, 2), round(sd, 2), round(widened, 2)
    (6.57, 0.75, 1.92)
    """
    pairs = list(estimates)
    weights = [sd**-2 for _, sd in pairs]
    total = fsum(weights)
    mean = fsum(w * size for w, (size, _) in zip(weights, pairs, strict=True)) / total
    widened = max((1.0, *(abs(a - b) / hypot(s, t) for (a, s), (b, t) in combinations(pairs, 2))))
    return mean, widened / sqrt(total), widened


def leaning_on_one_body(estimates: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """One (size, spread) from several that share their error: weighed as ever, and no surer than they are themselves.

    >>> size, sd = leaning_on_one_body([(8.0, 0.84), (8.0, 0.84)])
    >>> round(size, 2), round(sd, 2)
    (8.0, 0.84)
    """
    mean, _, widened = joined(estimates)
    weights = [sd**-2 for _, sd in estimates]
    shared = fsum(w * sd for w, (_, sd) in zip(weights, estimates, strict=True)) / fsum(weights)
    return mean, shared * widened


def combine(estimates: Sequence[Estimate]) -> Combined:
    """All estimates in one; those that rest on the body's size count together as one."""
    body = [(e.id_mm, e.sd_mm) for e in estimates if e.of_body]
    rest = [(e.id_mm, e.sd_mm) for e in estimates if not e.of_body]
    size, sd, widened = joined([*([leaning_on_one_body(body)] if body else []), *rest])
    says = f"Together {size_text(size, sd)}, each weighed by its spread"
    if widened > 1:
        says += "; widened, for they lie apart"
    if len(estimates) == 1:
        says = estimates[0].working.says.rstrip(".")
    return Combined(
        id_mm=round(size, 4), sd_mm=sd, widened=widened,
        working=Working(f"{says}.", tuple(Input(e.name, e.text, Mark.WORKED) for e in estimates),
                        sources=tuple(dict.fromkeys(s for e in estimates for s in e.sources)), memory=True, estimated=True),
    )  # fmt: skip


def sds_apart(a: Estimate, b: Estimate) -> float:
    """How many of their joint standard deviations two estimates lie apart."""
    return abs(a.id_mm - b.id_mm) / hypot(a.sd_mm, b.sd_mm)


def believed(facts: AirwayTables, found: Sequence[Estimate]) -> tuple[tuple[Estimate, ...], tuple[Estimate, ...]]:
    """Those that are weighed, and those too far from the first (weight) for one of the two not to be a slip."""
    most, by_weight = facts.setting("slip-sds").number, found[0]
    far = tuple(e for e in found[1:] if sds_apart(by_weight, e) > most)
    return tuple(e for e in found if e not in far), far


def apart(facts: AirwayTables, estimates: Sequence[Estimate]) -> tuple[tuple[Estimate, Estimate], ...]:
    """The pairs that lie too far apart to be believed together."""
    most = facts.setting("apart-sds").number
    return tuple((a, b) for a, b in combinations(estimates, 2) if sds_apart(a, b) > most)


def disagreement(a: Estimate, b: Estimate, by_weight: Estimate, *, far: bool = False) -> str:
    """Two that lie apart, in words: what each says, which to measure again, and what leads until then.

    `far`: the second is not weighed, and if it is the smaller it leads only where it is of this very trachea.
    """
    doubted = max((a, b), key=lambda e: sds_apart(e, by_weight))
    again = f"{_again(doubted)}, and weigh again." if by_weight in {a, b} else f"{_again(doubted)}."
    until = f" Until then nothing over ID {_tenths(min(a.id_mm, b.id_mm))} mm comes first."
    if far and b.id_mm < a.id_mm:
        until = " Until then nothing larger than it allows comes first." if b.binds else ""
    return f"{_capital(a.name)} says {a.text}, {b.name} {b.text}: they disagree. {again}{until}"


def left_out_words(facts: AirwayTables, by_weight: Estimate, far: Estimate) -> str:
    """Why an estimate is not weighed, and what to do about it."""
    most = facts.setting("slip-sds").value
    only = ", save as the most that may come first" if far.id_mm < by_weight.id_mm and far.binds else ""
    return (f"{_capital(far.name)} ({far.text}) is not used{only}: it lies more than {most} joint spreads from what weight says "
            f"({by_weight.text}). {_again(far)}.")  # fmt: skip


def _again(e: Estimate) -> str:
    return f"Look up the {e.name} again" if e.name == PREVIOUS else f"Measure the {e.name} again"


def _capital(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}"


def evidence(facts: AirwayTables, species: str, weight: Quantity, brachycephalic: bool, measured: Measured) -> Evidence:
    """Every way for which something is known. Raises OutOfRange for a back outside what its line was drawn for."""
    by_weight, said = from_weight(facts, species, weight, brachycephalic)
    found, cautions, unused = [by_weight], list(said), list[str]()
    for way in (_from_radiograph, _from_ultrasound, _from_palpation, _from_septum, _from_back, _from_previous):
        answer = way(facts, species, brachycephalic, measured)
        if isinstance(answer, str):
            unused.append(answer)
        elif answer is not None:
            found.append(answer)
    if species == "cat" and (measured.tracheal_diameter or measured.ultrasound_diameter):
        cautions.append("The share of the trachea comes from dogs: in a cat it only makes the tube smaller.")
    kept, far = believed(facts, found)
    pairs = apart(facts, kept)
    return Evidence(
        estimates=kept, combined=combine(kept), left_out=far, apart=pairs, cautions=tuple(cautions),
        disagreements=(*(disagreement(a, b, by_weight) for a, b in pairs),
                       *(disagreement(by_weight, e, by_weight, far=True) for e in far)),
        unused=(*unused, *(left_out_words(facts, by_weight, e) for e in far)),
    )  # fmt: skip


def from_weight_mm(facts: AirwayTables, species: str, kg: Decimal) -> tuple[Decimal, str]:
    """Inside diameter [mm] read off the ladder of weights, straight between two steps and flat beyond its ends.

    The ladder is from memory and carries that mark.
    """
    facts.reach(species)
    steps = [s for s in facts.sizes if s.species == species]
    below = [s for s in steps if s.kg <= kg]
    above = [s for s in steps if s.kg >= kg]
    if not below:
        return steps[0].mm, f"the ladder begins at {steps[0].kg} kg with {steps[0].mm} mm"
    low = below[-1]
    if not above or low.kg == kg:
        more = "" if above else f", and ends there ({low.low_mm} to {low.high_mm} mm)"
        return low.mm, f"{low.kg} kg takes {low.mm} mm{more}"
    high = above[0]
    mm = low.mm + (high.mm - low.mm) * (kg - low.kg) / (high.kg - low.kg)
    return mm, f"between {low.kg} kg with {low.mm} mm and {high.kg} kg with {high.mm} mm: {mm:.1f} mm"


def from_weight(
    facts: AirwayTables, species: str, weight: Quantity, brachycephalic: bool
) -> tuple[Estimate, tuple[str, ...]]:
    """By the ladder of weights, shifted down in a brachycephalic dog; and what is to be said about it."""
    by_weight, says = from_weight_mm(facts, species, weight.number("kg"))
    inputs = [Input("weight", str(weight), Mark.TYPED)]
    spread = facts.setting(f"weight-sd-{species}")
    mm, sources = float(by_weight), ["memory", *spread.source]
    cautions: list[str] = []
    if brachycephalic and species == "dog":
        shift, spread = facts.setting("brachycephalic-shift"), facts.setting("weight-sd-brachycephalic")
        smallest = float(facts.reach(species).id_low_mm)
        mm = round(brachycephalic_id_mm(mm, shift.number), 2)
        says = f"{says}, less {shift.value} mm for a brachycephalic dog: {_tenths(mm)} mm"
        inputs.append(Input("brachycephalic", f"{shift.value} mm smaller", Mark.TABLE, shift.says))
        sources += shift.source
        if mm < smallest:
            mm = smallest
            cautions.append(
                f"The shift was found in adult dogs and would pass below ID {smallest:g} mm, which stands first."
            )
    elif brachycephalic:
        cautions.append("Brachycephalic cat: no figure was found; have the smaller tube in the hand first.")
    return _estimate(WEIGHT, mm, spread.number, f"By weight: {says}", inputs, sources, of_body=True), tuple(cautions)


def _from_radiograph(facts: AirwayTables, _species: str, _short: bool, measured: Measured) -> Estimate | None:
    return _share_of(facts, TRACHEA, measured.tracheal_diameter, "By the measured trachea")


def _from_ultrasound(facts: AirwayTables, _species: str, _short: bool, measured: Measured) -> Estimate | None:
    """Ultrasound reads slightly under CT (T27) by no known figure: taken as it is, which errs to the smaller tube."""
    return _share_of(facts, ULTRASOUND, measured.ultrasound_diameter,
                     "By ultrasound, which reads slightly small and is not corrected", ("a_ultrasound2022",))  # fmt: skip


def _share_of(
    facts: AirwayTables, name: str, bore: Quantity | None, how: str, more: tuple[str, ...] = ()
) -> Estimate | None:
    if bore is None:
        return None
    share, high = facts.setting("trachea-fraction"), facts.setting("trachea-fraction-high")
    trachea, per = float(bore.number("mm")), facts.setting("od-per-id").number
    od = od_for_trachea_mm(trachea, share.number / 100)
    sd = (high.number - share.number) / 2 / 100 * trachea / per
    says = f"{how}: {share.value} % of {bore} is {_tenths(od)} mm outside"
    return _estimate(
        name, od / per, sd, says, [Input(name, str(bore), Mark.MEASURED)], [*share.source, *more, "memory"], binds=True
    )


def _from_palpation(facts: AirwayTables, species: str, short: bool, measured: Measured) -> Estimate | str | None:
    felt = measured.palpated_outer
    if felt is None:
        return None
    if species != "dog" or short:
        return f"The felt trachea ({felt}) is not used: it was tried in long-nosed dogs alone."
    wall, hits = facts.setting("trachea-wall"), facts.setting("palpation-hits")
    bore = float(felt.number("mm")) - 2 * wall.number
    share, per = facts.setting("trachea-fraction"), facts.setting("od-per-id").number
    mm = od_for_trachea_mm(bore, share.number / 100) / per
    says = f"By the felt trachea: {felt} less {wall.value} mm of wall each side (from memory), {share.value} % of it outside"
    says += _picks_small(facts, mm)
    sd = sd_of_hits_mm(hits.number / 100, facts.setting("hit-half-width").number)
    return _estimate(
        PALPATED, mm, sd, says, [Input(PALPATED, str(felt), Mark.MEASURED)], [*hits.source, *share.source, "memory"]
    )


def _from_septum(facts: AirwayTables, species: str, short: bool, measured: Measured) -> Estimate | str | None:
    """The width is paired with the tube's outside diameter (T35)."""
    width = measured.septum_width
    if width is None:
        return None
    if species != "dog" or short:
        return f"The nasal septum ({width}) is not used: it was tried in long-nosed dogs alone."
    hits, per = facts.setting("septum-hits"), facts.setting("od-per-id").number
    sd = sd_of_hits_mm(hits.number / 100, facts.setting("hit-half-width").number)
    mm = float(width.number("mm")) / per
    says = f"By the nasal septum: a tube {width} wide outside{_picks_small(facts, mm)}"
    return _estimate(SEPTUM, mm, sd, says, [Input(SEPTUM, str(width), Mark.MEASURED)],
                     [*hits.source, "memory"])  # fmt: skip


def _picks_small(facts: AirwayTables, mm: float) -> str:
    """T11, said and not corrected: no figure was found, and the smaller tube is the kinder fault."""
    least = facts.setting("picks-small-from")
    return f"; from {least.value} mm it tended to pick too small" if mm >= least.number else ""


def _from_back(facts: AirwayTables, species: str, short: bool, measured: Measured) -> Estimate | str | None:
    back = measured.occiput_to_tail
    if back is None:
        return None
    if species != "dog" or short:
        return f"The back's length ({back}) is not used: its line was drawn for dogs, and not for short noses."
    short_by, spread = facts.setting("back-shortfall"), facts.setting("back-sd")
    share, per = facts.setting("trachea-fraction"), facts.setting("od-per-id").number
    trachea = trachea_mm_from_back(float(back.number("cm"))) + short_by.number
    sd = spread.number * share.number / 100 / per
    says = f"By the back's length: trachea about {_tenths(trachea)} mm, {share.value} % of it outside"
    return _estimate(BACK, od_for_trachea_mm(trachea, share.number / 100) / per, sd, says,
                     [Input(BACK, str(back), Mark.MEASURED)], [*short_by.source, *share.source, "memory"], of_body=True)  # fmt: skip


def _from_previous(facts: AirwayTables, _species: str, _short: bool, measured: Measured) -> Estimate | str | None:
    """The tube of an earlier anaesthetic: one step up if it leaked, one down if it was tight."""
    tube, outcome = measured.previous_tube_id, measured.previous_outcome
    if tube is None:
        return None
    size = f"ID {printed_size(tube.number('mm'))} mm"
    if measured.previous_full_grown is False:
        return f"{size} before is not used: under {facts.setting('grown-months').value} months then, and the trachea has grown."
    step, spread = facts.setting("one-size").number, facts.setting("previous-sd")
    how: dict[str | None, tuple[float, float, str]] = {
        "served": (0, 1, "served before"),
        "leaked": (step, 1, "leaked before: one step up"),
        "tight": (-step, 1, "was tight before: one step down"),
        None: (0, 2, "was used before, and nobody noted how it did"),
    }
    shift, times, words = how[outcome]
    says = f"{size} {words}"
    if measured.previous_full_grown is None:
        says += "; whether full-grown then is not known"
    return _estimate(PREVIOUS, float(tube.number("mm")) + shift, spread.number * times, says,
                     [Input(PREVIOUS, size, Mark.TYPED)], spread.source,
                     binds=measured.previous_full_grown is True and outcome in {"served", "tight"})  # fmt: skip


def _estimate(
    name: str,
    mm: float,
    sd: float,
    says: str,
    inputs: Sequence[Input],
    sources: Iterable[str],
    *,
    of_body: bool = False,
    binds: bool = False,
) -> Estimate:
    return Estimate(name=name, id_mm=mm, sd_mm=sd, says=says, inputs=tuple(inputs), sources=tuple(dict.fromkeys(sources)),
                    of_body=of_body, binds=binds)  # fmt: skip


def _tenths(mm: float) -> str:
    return reading(Decimal(str(round(mm, 4))), 1)
