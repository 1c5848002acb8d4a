/** Drawing a planned syringe in one touch: only where nothing about it has to be looked at or asked first. */
import type { DrugLine, Fields } from "../../wire/types";

/** A plain line of the plan: a volume on a mark, one vial, nothing to mix, nothing to account for. */
export const once = (line: DrugLine): boolean =>
  line.refusal === null &&
  line.volume !== null &&
  line.volume_ml !== null &&
  line.dilution === null &&
  line.scale === "" &&
  line.controlled === "" &&
  line.vial !== "" &&
  line.barrel !== "";

/** The entry as planned. Lot, expiry and a second pair of eyes are not filled in. */
export function mark(line: DrugLine, syringe: string): Fields<"SyringeDrawn"> {
  const ml = line.volume?.text ?? "";
  return {
    syringe,
    order: line.order,
    drug: line.drug,
    vial_concentration: line.vial,
    concentration: line.strength,
    volume_ml: ml,
    drug_volume_ml: ml,
    barrel: line.barrel,
  };
}
