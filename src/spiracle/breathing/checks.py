"""The breathing room's formulas under the names that the check rows use: the formulas themselves, not copies."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

from spiracle.breathing import flows, ventilation
from spiracle.breathing.agent import Price, cost_per_hour
from spiracle.breathing.burden import rise_by_deeper, rise_by_faster
from spiracle.breathing.countdown import drive_gas_l_min, litres_of_water_capacity, used_litres
from spiracle.breathing.leak import circuit_compliance_ml_cmh2o, leak_from_drop_ml_min
from spiracle.breathing.oxygen import hours_by_rule, litres_by_factor, litres_left, minutes_of
from spiracle.quantity import Quantity

Plain = Mapping[str, float]


def _d(value: float) -> Decimal:
    return Decimal(str(value))


def _numbers(inputs: Mapping[str, object]) -> dict[str, float]:
    """A row's inputs as plain numbers, whether they came as decimals or not."""
    return {name: float(str(value)) for name, value in inputs.items()}


def _taking_rows(formula: Callable[[Plain], float]) -> Callable[[Mapping[str, object]], float]:
    return lambda inputs: formula(_numbers(inputs))


_FORMULAS: dict[str, Callable[[Plain], float]] = {
    "breathing.flow_ml_min": lambda i: flows.flow_ml_min(i["kg"], i["ml_kg_min"]),
    "breathing.flow_l_min": lambda i: flows.flow_ml_min(i["kg"], i["ml_kg_min"]) / 1000,
    "breathing.minute_volume_l": lambda i: flows.minute_volume_ml(i["rr"], i["vt_ml"]) / 1000,
    "breathing.bag_ml": lambda i: flows.bag_ml(i["kg"], i["vt_ml_kg"], i["multiple"]),
    "breathing.time_constant_min": lambda i: flows.time_constant_min(i["circuit_l"], i["fgf_lpm"]),
    "breathing.part_changed": lambda i: flows.part_changed(i["taus"]),
    "breathing.half_time_min": lambda i: flows.half_time_min(i["tau_min"]),
    "breathing.oxygen_need_ml_min": lambda i: flows.oxygen_need_ml_min(i["kg"]),
    "breathing.liquid_agent_ml_h": lambda i: flows.liquid_agent_ml_h(
        i["percent"], i["fgf_ml_min"], i["vapour_ml_per_ml"]
    ),
    "breathing.liquid_agent_by_rule_ml_h": lambda i: flows.liquid_agent_ml_h(
        i["percent"], i["fgf_lpm"] * 1000, 600 / i["factor"]
    ),
    "breathing.wash_in_minutes": lambda i: flows.wash_in_minutes(i["tau_min"], i["share"]),
    "breathing.vapour_ml_per_ml": lambda i: flows.vapour_ml_per_ml(i["density"], i["mw"], i["molar_l"]),
    "breathing.times": lambda i: flows.times(i["one"], i["other"]),
    "breathing.cat_surface_m2": lambda i: flows.cat_surface_m2(i["kg"], i["k"]),
    "breathing.agent_cost": lambda i: float(
        cost_per_hour(
            _d(i["ml_h"]), Price(amount=_d(i["amount"]), currency="of the bottle", bottle_ml=_d(i["bottle_ml"]))
        )
    ),
    "breathing.mg_m3_of_ppm": lambda i: flows.mg_m3_of_ppm(i["ppm"], i["mw"], i["molar_l"]),
    "breathing.litres_left": lambda i: float(litres_left(_d(i["full_l"]), _d(i["full"]), _d(i["gauge"]))),
    "breathing.oxygen_minutes": lambda i: float(
        minutes_of(litres_left(_d(i["full_l"]), _d(i["full"]), _d(i["gauge"])), _d(i["lpm"]))
    ),
    "breathing.litres_above_reserve": lambda i: float(
        litres_left(_d(i["full_l"]), _d(i["full"]), _d(i["gauge"]) - _d(i["reserve"]))
    ),
    "breathing.minutes_of": lambda i: float(minutes_of(_d(i["litres"]) * _d(i.get("margin", 1)), _d(i["lpm"]))),
    "breathing.hours_of": lambda i: float(minutes_of(_d(i["litres"]), _d(i["lpm"]))) / 60,
    "breathing.litres_by_factor": lambda i: float(litres_by_factor(_d(i["psi"]), _d(i["factor"]))),
    "breathing.hours_by_rule": lambda i: float(hours_by_rule(_d(i["psi"]), _d(i["lpm"]), _d(i["divisor"]))),
    "breathing.litres_of_water_capacity": lambda i: float(litres_of_water_capacity(_d(i["water_l"]), _d(i["bar"]))),
    "breathing.drive_gas_l_min": lambda i: float(drive_gas_l_min(_d(i["vt_ml"]), _d(i["rr"]), _d(i["share"]))),
    "breathing.used_litres": lambda i: float(
        used_litres([(_d(0), _d(i["first_lpm"])), (_d(i["change_min"]), _d(i["then_lpm"]))], _d(0), _d(i["until_min"]))
    ),
    "breathing.dead_part_ml_kg": lambda i: ventilation.dead_part_ml_kg(i["vt_ml_kg"], i["fraction"]),
    "breathing.alveolar_ml_kg": lambda i: ventilation.alveolar_ml_kg(i["vt_ml_kg"], i["fraction"]),
    "breathing.co2_with_added_dead_space": lambda i: ventilation.co2_with_added_dead_space(
        i["paco2_0"], i["vt_ml_kg"], i["vd_ml_kg"], i["extra_ml_kg"]
    ),
    "breathing.dead_share": lambda i: ventilation.dead_share_bohr(i["paco2"], i["expired"]),
    "breathing.expiration_per_inspiration": lambda i: ventilation.expiration_per_inspiration(i["rr"], i["ti_s"]),
    "breathing.compliance_ml_cmh2o_kg": lambda i: ventilation.compliance_ml_cmh2o_kg(i["vt_ml_kg"], i["dp_cmh2o"]),
    "breathing.dynamic_compliance_ml_cmh2o": lambda i: ventilation.dynamic_compliance_ml_cmh2o(
        i["vt_ml"], i["plateau"], i["peep"]
    ),
    "breathing.paco2_after": lambda i: ventilation.paco2_after(
        i["paco2"], i["rr_from"], i["vt_from"], i["rr_to"], i["vt_to"], i["vd_ml"]
    ),
    "breathing.rise_by_deeper": lambda i: rise_by_deeper(i["vt_ml"], i["extra_ml"]),
    "breathing.rise_by_faster": lambda i: rise_by_faster(i["vt_ml"], i["vd_ml"], i["extra_ml"]),
    "breathing.partial_pressure_mmhg": lambda i: ventilation.partial_pressure_mmhg(i["percent"], i["pb"], i["ph2o"]),
    "breathing.alveolar_po2_mmhg": lambda i: ventilation.alveolar_po2_mmhg(i["fio2"], i["pb"], i["paco2"]),
    "breathing.alveolar_arterial_mmhg": lambda i: (
        ventilation.alveolar_po2_mmhg(i["fio2"], i["pb"], i["paco2"], i["r"]) - i["pao2"]
    ),
    "breathing.expected_pao2_mmhg": lambda i: ventilation.expected_pao2_mmhg(i["percent"]),
    "breathing.leak_from_drop_ml_min": lambda i: leak_from_drop_ml_min(
        circuit_compliance_ml_cmh2o(i["litres"], i["wall"], i["atmosphere"]), i["before"], i["after"], i["seconds"]
    ),
    "breathing.mmhg_of_kpa": lambda i: float(Quantity.of(_d(i["kpa"]), "kPa").number("mmHg")),
}
CHECKS = {name: _taking_rows(formula) for name, formula in _FORMULAS.items()}
