"""MAC of this animal now, as a range: the studies' figures, less what cold and running drugs take away as published.

Nothing here names a depth. A multiple of MAC is a range too, and may be wrong by a third.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite, sqrt
from statistics import median

from spiracle.kinetics.gas_tables import CurveRow, GasTables, MacStudyRow, SparingRow
from spiracle.quantity import Quantity, figure
from spiracle.refusals import Contradiction, Missing, OutOfRange, UnlikeUnits

Z90 = 1.2815515655446004
"""Standard deviations to the 90th percentile of a normal spread (definition)."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Low, usual and high of one figure. `usual` is None where the sources leave none."""

    low: float
    usual: float | None
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Acting:
    """A drug that is acting: its infusion rate or its plasma level, as one quantity. A steady one: the studies waited for it."""

    drug: str
    rate: Quantity | None = None
    plasma: Quantity | None = None

    def __post_init__(self) -> None:
        if (self.rate is None) == (self.plasma is None):
            raise Missing(f"{self.drug}, level", "needs a rate or a plasma level, one of the two.", "Give one of them.")
        at = self.rate or self.plasma
        if at is not None and at.value < 0:
            raise OutOfRange(f"{self.drug}, level", f"{at} is below zero.", "Give 0 or more.")


@dataclass(frozen=True, slots=True, kw_only=True)
class MacPart:
    """One step of the sum. `left` is the share of MAC that stays (1 = all); not `counted` when nothing published covers it."""

    name: str
    left: Spread
    counted: bool
    says: str
    sources: tuple[str, ...] = ()
    memory: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MacNow:
    """MAC [% end-tidal] as a range. `animals_cv` is the spread between animals [%] that comes on top of it."""

    species: str
    agent: str
    low: float
    usual: float | None
    high: float
    animals_cv: tuple[float, float]
    parts: tuple[MacPart, ...]
    words: tuple[str, ...]

    @property
    def sources(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(s for part in self.parts for s in part.sources))

    @property
    def memory(self) -> bool:
        return any(part.memory for part in self.parts)


def left_after(percents: Iterable[float]) -> float:
    """Share of MAC left when each reduction [%] acts on what the others leave: the product of what is left [fraction].

    Source: row KG33, where 27.3 and 43.4 % were measured together as 60.9 %.
    >>> round(1 - left_after([27, 43]), 2)
    0.58
    """
    left = 1.0
    for percent in percents:
        left *= 1 - percent / 100
    return left


def curve_mac(mac: float, taken: float, half: float, level: float) -> float:
    """MAC at a plasma level of a drug: mac - taken x C / (half + C) [%]; `half` and `level` in one unit. Source: row KG31.

    >>> curve_mac(2.07, 1.76, 1.05, 1.05)
    1.19
    """
    return mac - taken * level / (half + level)


def left_in_cold(fall_c: float, percent_per_degree: float) -> float:
    """Share of MAC left after a fall of temperature [°C], in a line [fraction]. Source: row KG27.

    >>> left_in_cold(3, 5)
    0.85
    """
    return 1 - fall_c * percent_per_degree / 100


def mac_alone(tables: GasTables, species: str, agent: str) -> MacPart:
    """MAC without drugs in a warm animal: the least, the usual and the most of the studies. `left` holds the figures in %."""
    row = tables.mac_row(species, agent)
    studies = tables.mac_studies(species, row.agent)
    lows = [float(s.mac if s.mean_low is None else s.mean_low) for s in studies]
    highs = [float(s.mac if s.mean_high is None else s.mean_high) for s in studies]
    if row.usual == "only":
        lows, highs = [lows[0] - float(studies[0].sd or 0)], [highs[0] + float(studies[0].sd or 0)]
    spread = Spread(min(lows), _usual(row.usual, studies), max(highs))
    return MacPart(
        name=f"MAC of {row.agent}, {species}",
        left=spread,
        counted=True,
        says=f"{_range(spread)} % in {len(studies)} published or taught figures"
        + ("" if spread.usual is not None else "; they disagree and leave no usual one"),
        sources=tuple(dict.fromkeys(x for s in studies for x in s.source)),
        memory=any(s.memory for s in studies),
    )


def mac_now(
    tables: GasTables, species: str, agent: str, temperature_c: float | None, running: Sequence[Acting] = ()
) -> MacNow:
    """MAC as a range [% end-tidal] for a temperature and drugs that are running.

    Reductions are multiplied as shares of what is left. A drug outside its published span, or without a published figure in
    the species, is not counted and the words say so; figures never cross from one species to the other.
    Raises OutOfRange for a temperature under 28 °C or none at all, Contradiction when a drug is named twice.
    """
    alone = mac_alone(tables, species, agent)
    twice = [a.drug for i, a in enumerate(running) if a.drug in {b.drug for b in running[:i]}]
    if twice:
        raise Contradiction(f"{twice[0]}, running", "is given twice.", "Give each drug once, with all of its rate.")
    parts = [alone, _cold(tables, agent.strip().casefold(), temperature_c)]
    parts += [_spared(tables, species, agent.strip().casefold(), acting) for acting in running]
    low, high, usual = alone.left.low, alone.left.high, alone.left.usual
    for part in parts[1:]:
        low, high = low * max(0.0, part.left.low), high * part.left.high
        usual = None if usual is None or part.left.usual is None else usual * part.left.usual
    words = ["A range from published figures, no measurement of this animal: it names no depth and gives no order."]
    words += [part.says for part in parts[1:]]
    counted = [p.name for p in parts[2:] if p.counted]
    if len(counted) > 1:
        words.append(
            "Several drugs: each takes its share of what the others leave; together some take more (opioid with alpha-2). "
            "The ends of the range take the end of every part at once."
        )
    cv = (tables.number("mac-spread-low"), tables.number("mac-spread-high"))
    return MacNow(species=species, agent=agent.strip().casefold(), low=low, usual=usual, high=high, animals_cv=cv,
                  parts=tuple(parts), words=tuple(words))  # fmt: skip


def multiple(end_tidal_percent: float, now: MacNow) -> Spread:
    """End-tidal % over MAC as a range [x MAC]: never a word for a depth. Raises OutOfRange below zero or over 100 %."""
    if not (isfinite(end_tidal_percent) and 0 <= end_tidal_percent <= 100):
        raise OutOfRange("end-tidal agent", f"{end_tidal_percent:g} % cannot be.", "Give 0 to 100 %.")
    high = end_tidal_percent / now.low if now.low > 0 else float("inf") if end_tidal_percent else 0.0
    return Spread(end_tidal_percent / now.high, None if not now.usual else end_tidal_percent / now.usual, high)


def _usual(how: str, studies: Sequence[MacStudyRow]) -> float | None:
    if how == "none":
        return None
    kept = [s for s in studies if how != "review" or s.kind == "review"]
    return float(median([float(s.mac) for s in kept]))


def _cold(tables: GasTables, agent: str, temperature_c: float | None) -> MacPart:
    row = tables.cold(agent)
    warm, hot, coldest = (tables.number(k) for k in ("mac-temperature-low", "mac-temperature-high", "mac-coldest"))
    whole = Spread(1.0, 1.0, 1.0)
    if temperature_c is None:
        return MacPart(
            name="temperature", left=whole, counted=False, says="Temperature not given: not corrected for cold."
        )
    if not (isfinite(temperature_c) and coldest <= temperature_c <= 45):
        raise OutOfRange("temperature", f"{temperature_c:g} °C is outside what MAC was followed to.",
                         f"Give {coldest:g} °C and more, or leave it out.")  # fmt: skip
    if temperature_c > hot:
        return MacPart(name="temperature", left=whole, counted=False,
                       says=f"{temperature_c:g} °C is warmer than any animal of the studies ({hot:g} °C): not corrected.")  # fmt: skip
    if temperature_c >= warm:
        return MacPart(name="temperature", left=whole, counted=True,
                       says=f"{temperature_c:g} °C: as warm as the animals of the studies.")  # fmt: skip
    fall = warm - temperature_c
    left = Spread(*(left_in_cold(fall, float(p)) for p in (row.high, row.usual, row.low)))
    return MacPart(
        name="temperature", left=left, counted=True, sources=row.source, memory=row.memory,
        says=f"{temperature_c:g} °C: MAC less by {float(row.low):g} to {float(row.high):g} % for each °C under {warm:g}.",
    )  # fmt: skip


def _spared(tables: GasTables, species: str, agent: str, acting: Acting) -> MacPart:
    """What one drug leaves of MAC. The agent's own studies first, else those of another agent, and it is said."""
    drug, at = acting.drug, acting.rate or acting.plasma
    if at is None:
        raise Missing(f"{drug}, level", "needs a rate or a plasma level.", "Give one of them.")
    per = "rate" if acting.rate is not None else "plasma"
    rows = [r for r in tables.sparings if (r.species, r.drug, r.per) == (species, drug, per)]
    curves = [c for c in tables.curves if (c.species, c.drug) == (species, drug)] if per == "plasma" else []
    agents = list(dict.fromkeys([r.agent for r in rows] + [c.agent for c in curves]))
    if not agents:
        if drug in tables.drugs_that_spare(species):
            other = "plasma level" if per == "rate" else "rate"
            return _not_counted(drug, f"{drug}: published only by its {other} in {species}s, so not counted.")
        return _not_counted(drug, f"{drug}: no published effect on MAC in {species}s was read, so not counted.")
    measured = agent if agent in agents else agents[0]
    own = [r for r in rows if r.agent == measured]
    curve = next((c for c in curves if c.agent == measured), None)
    found = _of_curve(curve, at) if curve else _of_points(own, at, float(tables.number("sparing-spread")))
    borrowed = "" if measured == agent else f", measured with {measured}"
    never = next((r.never for r in own if r.never), "")
    tail = f" Flagged: {never}." if never else ""
    used: Sequence[SparingRow | CurveRow] = [curve] if curve else own
    if isinstance(found, str):
        return _not_counted(drug, f"{drug} {at}: published only {found}{borrowed}, so not counted.{tail}")
    taken = _range(found, places=0)
    return MacPart(
        name=drug,
        left=Spread(1 - found.high / 100, None if found.usual is None else 1 - found.usual / 100, 1 - found.low / 100),
        counted=True,
        says=f"{drug} {at}: takes {taken} % of MAC away{borrowed}.{tail}",
        sources=tuple(dict.fromkeys(s for r in used for s in r.source)),
        memory=any(r.memory for r in used),
    )


def _not_counted(drug: str, says: str) -> MacPart:
    return MacPart(name=drug, left=Spread(1.0, 1.0, 1.0), counted=False, says=says)


def _of_points(rows: Sequence[SparingRow], at: Quantity, assumed: float) -> Spread | str:
    """Reduction [%] at a level, in lines between the published ones. Outside them: what the published span is, in words."""
    level = _level(at, rows[0].unit)
    points: dict[float, list[Spread]] = {}
    for row in rows:
        points.setdefault(float(row.at), []).append(_printed(row, assumed))
    places = sorted(points)
    if not places[0] <= level <= places[-1]:
        ends = [Quantity.of(str(p), rows[0].unit).to(at.unit) for p in (places[0], places[-1])]
        return f"at {_written(ends[0])}" if len(places) == 1 else f"from {_written(ends[0])} to {_written(ends[1])}"
    merged = {p: _merge(points[p]) for p in places}
    left = max(p for p in places if p <= level)
    right = min(p for p in places if p >= level)
    if left == right:
        return merged[left]
    share = (level - left) / (right - left)
    a, b = merged[left], merged[right]
    usual = (a.usual or 0.0) + share * ((b.usual or 0.0) - (a.usual or 0.0))
    return Spread(a.low + share * (b.low - a.low), usual, a.high + share * (b.high - a.high))


def _printed(row: SparingRow, assumed: float) -> Spread:
    """A point's own spread: the printed range, else one SD either side, else the assumed points of per cent."""
    middle = float(row.percent)
    if row.low is not None and row.high is not None:
        return Spread(float(row.low), middle, float(row.high))
    reach = float(row.sd) if row.sd is not None else assumed
    return Spread(max(0.0, middle - reach), middle, min(100.0, middle + reach))


def _merge(found: Sequence[Spread]) -> Spread:
    """Studies of one level: the least, the mean of their figures, the most."""
    usual = [s.usual for s in found if s.usual is not None]
    return Spread(min(s.low for s in found), sum(usual) / len(usual), max(s.high for s in found))


def _of_curve(row: CurveRow, at: Quantity) -> Spread | str:
    """Reduction [%] on a published curve; the ends take SE x root of n, at the 10th and 90th percentile, for the animals."""
    level = _level(at, row.unit)
    if level > float(row.tested_to):
        return f"up to {float(row.tested_to):g} {row.unit}"
    reach = Z90 * sqrt(row.animals)
    mac, taken, half = float(row.mac), float(row.taken), float(row.half)

    def percent(side: int) -> float:
        t, h = taken + side * reach * float(row.taken_se), half - side * reach * float(row.half_se)
        return 100 * (1 - curve_mac(mac, t, h, level) / mac)

    return Spread(max(0.0, percent(-1)), percent(0), min(100.0, percent(1)))


def _level(at: Quantity, unit: str) -> float:
    try:
        return float(at.number(unit))
    except UnlikeUnits as fault:
        raise UnlikeUnits("drug, level", f"{at} cannot be set beside {unit}.", f"Give it like 1 {unit}.") from fault


def _written(level: Quantity) -> str:
    return f"{figure(level.value, 3)} {level.unit}"


def _range(spread: Spread, places: int = 2) -> str:
    low, high = f"{spread.low:.{places}f}", f"{spread.high:.{places}f}"
    if spread.usual is None:
        return f"{low} to {high}"
    return f"{spread.usual:.{places}f} ({low} to {high})"
