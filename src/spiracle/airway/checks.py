"""The airway's formulas under the names that the check rows use: the formulas themselves, not copies."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

from spiracle.airway import bore, estimating, resistance, shares
from spiracle.quantity import Quantity

Plain = Mapping[str, float]


def _numbers(inputs: Mapping[str, object]) -> dict[str, float]:
    """A row's inputs as plain numbers, whether they came as decimals or not."""
    return {name: float(str(value)) for name, value in inputs.items()}


def _taking_rows(formula: Callable[[Plain], float]) -> Callable[[Mapping[str, object]], float]:
    return lambda inputs: formula(_numbers(inputs))


def _convert(value: float, given: str, wanted: str) -> float:
    return float(Quantity.of(Decimal(str(value)), given).number(wanted))


_FORMULAS: dict[str, Callable[[Plain], float]] = {
    "airway.tube_dead_space_ml": lambda i: bore.tube_dead_space_ml(i["id_mm"], i["length_cm"] * 10),
    "airway.cut_saves_ml": lambda i: bore.cut_saves_ml(i["id_mm"], i["cut_cm"] * 10),
    "airway.od_mm_of_french": lambda i: bore.od_mm_of_french(i["fr"]),
    "airway.french_of_od_mm": lambda i: bore.french_of_od_mm(i["od_mm"]),
    "airway.circumference_of_french_mm": lambda i: bore.circumference_mm(bore.od_mm_of_french(i["fr"])),
    "airway.od_for_trachea_mm": lambda i: bore.od_for_trachea_mm(i["itd_mm"], i["fraction"]),
    "airway.brachycephalic_id_mm": lambda i: bore.brachycephalic_id_mm(i["predicted_id_mm"], i["bias_mm"]),
    "airway.half_width_95_mm": lambda i: bore.half_width_95_mm(i["sd_mm"]),
    "airway.trachea_mm_from_back": lambda i: bore.trachea_mm_from_back(i["ot_cm"]) + i.get("bias_mm", 0),
    "airway.trachea_length_cm_from_back": lambda i: bore.trachea_length_cm_from_back(i["ot_cm"]),
    "airway.back_cm_of_trachea_mm": lambda i: bore.back_cm_of_trachea_mm(i["ivd_mm"]),
    "airway.cmh2o_of_mmhg": lambda i: _convert(i["mmhg"], "mmHg", "cmH2O"),
    "airway.mmhg_of_cmh2o": lambda i: _convert(i["cmh2o"], "cmH2O", "mmHg"),
    "airway.cmh2o_of_pa": lambda i: _convert(i["pa"], "Pa", "cmH2O"),
    "airway.bore_exponent": lambda i: resistance.bore_exponent(6.0, i["p6_pa"], 8.0, i["p8_pa"]),
    "airway.times_more_when_narrowed": lambda i: resistance.times_more_when_narrowed(i["ratio"], i["power"]),
    "airway.laminar_loss_cmh2o": lambda i: _convert(
        resistance.laminar_loss_pa(i["id_mm"], i["length_cm"] * 10, i["flow_lpm"], i["mu"]), "Pa", "cmH2O"
    ),
    "airway.ratio_of_means": lambda i: shares.ratio(i["width_mm"], i["height_mm"]),
    "airway.count_of_percent": lambda i: shares.count_of_percent(i["percent"], i["n"]),
    "airway.mean_with_sds": lambda i: shares.mean_with_sds(i["mean"], i["sd"], i["sds"]),
    "airway.share": lambda i: shares.share(i["part"], i["n"]),
    "airway.percent": lambda i: shares.share(i["part"], i["n"]) * 100,
    "airway.times_longer": lambda i: shares.ratio(i["oxygen_s"], i["air_s"]),
    "airway.sd_of_hits_mm": lambda i: estimating.sd_of_hits_mm(i["percent"] / 100, i["half_width_mm"]),
    "airway.joined_id_mm": lambda i: estimating.joined(
        [(i["one_mm"], i["one_sd_mm"]), (i["other_mm"], i["other_sd_mm"])]
    )[0],
    "airway.birge_ratio": lambda i: estimating.joined(
        [(i["one_mm"], i["one_sd_mm"]), (i["other_mm"], i["other_sd_mm"])]
    )[2],
    "airway.reynolds": lambda i: resistance.reynolds(i["id_mm"], i["flow_lpm"], resistance.Gas(i["mu"], i["rho"])),
}
CHECKS = {name: _taking_rows(formula) for name, formula in _FORMULAS.items()}
