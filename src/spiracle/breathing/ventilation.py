"""Dead space and ventilation: what part of a breath reaches the alveoli, and what added dead space does to CO2."""

from __future__ import annotations

from spiracle.refusals import OutOfRange


def dead_part_ml_kg(tidal_ml_kg: float, fraction: float) -> float:
    """Physiological dead space [mL/kg] as a part of the tidal volume.

    Source: about 35 % of 10 to 15 mL/kg, Veterinary Anesthesia & Analgesia Support Group, 2005.
    >>> dead_part_ml_kg(10, 0.35)
    3.5
    """
    return tidal_ml_kg * fraction


def alveolar_ml_kg(tidal_ml_kg: float, fraction: float) -> float:
    """What is left for the alveoli [mL/kg].

    >>> alveolar_ml_kg(15, 0.35)
    9.75
    """
    return tidal_ml_kg - dead_part_ml_kg(tidal_ml_kg, fraction)


def co2_with_added_dead_space(paco2: float, tidal_ml_kg: float, dead_ml_kg: float, added_ml_kg: float) -> float:
    """Arterial CO2 [the unit given] after apparatus dead space is added, at the same rate and tidal volume.

    Source: alveolar ventilation equation. An animal that breathes for itself answers by breathing more, so the true rise
    is smaller. Refused when the whole breath would be dead space.
    >>> round(co2_with_added_dead_space(40, 10, 3.5, 2), 1)
    57.8
    """
    left = tidal_ml_kg - dead_ml_kg - added_ml_kg
    if left <= 0:
        raise OutOfRange("apparatus dead space", f"{added_ml_kg:g} mL/kg leaves nothing of a {tidal_ml_kg:g} mL/kg breath.",
                         "Take parts away, or ventilate with larger breaths.")  # fmt: skip
    return paco2 * (tidal_ml_kg - dead_ml_kg) / left


def dead_share_bohr(paco2: float, mixed_expired_pco2: float) -> float:
    """Dead space as a share of the breath (Bohr, Enghoff): (PaCO2 - mixed expired PCO2) / PaCO2.

    >>> dead_share_bohr(40, 28)
    0.3
    """
    if not 0 <= mixed_expired_pco2 <= paco2 or paco2 == 0:
        raise OutOfRange("mixed expired CO2", f"{mixed_expired_pco2:g} is not between 0 and the arterial {paco2:g}.")
    return (paco2 - mixed_expired_pco2) / paco2


def expiration_per_inspiration(rate_per_min: float, inspiration_s: float) -> float:
    """The E of I:E = 1:E at a rate and an inspiratory time.

    >>> expiration_per_inspiration(20, 1.0)
    2.0
    """
    cycle = 60 / rate_per_min
    if inspiration_s >= cycle:
        raise OutOfRange(
            "inspiratory time", f"{inspiration_s:g} s leaves no time to breathe out at {rate_per_min:g} /min."
        )
    return (cycle - inspiration_s) / inspiration_s


def compliance_ml_cmh2o_kg(tidal_ml_kg: float, driving_cmh2o: float) -> float:
    """How far lung and chest give way [mL/cmH2O/kg].

    >>> round(compliance_ml_cmh2o_kg(16, 9), 2)
    1.78
    """
    return tidal_ml_kg / driving_cmh2o


def dynamic_compliance_ml_cmh2o(tidal_ml: float, pressure_cmh2o: float, peep_cmh2o: float) -> float:
    """How far this chest gives way [mL/cmH2O]: breath over the pressure that moved it. With the peak for the plateau it is lower.

    Source: definition. Refused when the pressure is not over PEEP.
    >>> round(dynamic_compliance_ml_cmh2o(450, 14.3, 6.1), 1)
    54.9
    """
    if pressure_cmh2o <= peep_cmh2o:
        raise OutOfRange("airway pressure", f"{pressure_cmh2o:g} cmH2O is not over a PEEP of {peep_cmh2o:g}.",
                         "Read plateau and PEEP again.")  # fmt: skip
    return tidal_ml / (pressure_cmh2o - peep_cmh2o)


def paco2_after(
    now: float, rate_from: float, tidal_from: float, rate_to: float, tidal_to: float, dead_ml: float
) -> float:
    """Arterial CO2 [the unit given] once a change of rate or breath [mL] has settled.

    Source: alveolar ventilation equation, CO2 made by the body and dead space in mL unchanged. Refused when a breath does not
    pass the dead space.
    >>> round(paco2_after(60, 10, 200, 15, 200, 70), 1), round(paco2_after(60, 10, 200, 10, 265, 70), 1)
    (40.0, 40.0)
    """
    if dead_ml < 0 or min(tidal_from, tidal_to) <= dead_ml or min(rate_from, rate_to) <= 0:
        raise OutOfRange("tidal volume", f"{min(tidal_from, tidal_to):g} mL does not pass {dead_ml:g} mL of dead space.",
                         "Give a larger breath, or take apparatus away.")  # fmt: skip
    return now * rate_from * (tidal_from - dead_ml) / (rate_to * (tidal_to - dead_ml))


def partial_pressure_mmhg(percent: float, barometer_mmhg: float, water_mmhg: float = 47.0) -> float:
    """Partial pressure in the airway [mmHg] of so many per cent of dry gas: water vapour takes 47 mmHg at body warmth.

    >>> round(partial_pressure_mmhg(5, 760), 2)
    35.65
    """
    return percent / 100 * (barometer_mmhg - water_mmhg)


def alveolar_po2_mmhg(inspired: float, barometer_mmhg: float, paco2: float, exchange: float = 0.8) -> float:
    """Alveolar oxygen [mmHg]: inspired part of dry gas less the CO2 that takes its place. On pure oxygen CO2 takes its own room.

    Source: alveolar gas equation, from memory of physiology; `inspired` is 0.21 to 1.
    >>> alveolar_po2_mmhg(1.0, 760, 40)
    673.0
    """
    if not 0.1 <= inspired <= 1:
        raise OutOfRange("inspired oxygen", f"{inspired:g} is not a part of the breath.", "Give 0.21 to 1.")
    taken = paco2 if inspired == 1 else paco2 / exchange
    return inspired * (barometer_mmhg - 47.0) - taken


def expected_pao2_mmhg(percent: float) -> float:
    """Arterial oxygen to expect [mmHg] on so many per cent inspired: five times. Source: UK-Vet, A is for airway.

    >>> expected_pao2_mmhg(100)
    500
    """
    return 5 * percent
