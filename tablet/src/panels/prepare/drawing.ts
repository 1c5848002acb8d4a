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

/** The entry as planned. Lot and expiry are the shelf's one lot, shown on the key, or empty; nobody else's eyes are filled in. */
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
    lot: line.lot,
    expires: line.expires,
  };
}

/** The lot a draw in one touch writes, as it is read from the vial. */
export const lotOf = (line: DrugLine): string =>
  line.lot || line.expires
    ? `${line.lot ? `lot ${line.lot}` : "no lot"}, ${line.expires ? `to ${line.expires}` : "no date"}`
    : "lot and expiry not noted";
