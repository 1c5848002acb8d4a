import type { DrugLine } from "../../wire/types";

/** What the drawn volume really gives, as the core worked it out from the mark: the ordered amount only where no mark is known. */
export function delivered(line: DrugLine): { amount: string; perKg: string } {
  const rung = line.ladder?.rungs.find((one) => one.ml === line.volume_ml);
  if (rung) return { amount: rung.amount_text, perKg: rung.per_kg_text };
  const amount = line.delivered ?? line.amount;
  return { amount: written(amount), perKg: written(line.dose) };
}

const written = (num: DrugLine["amount"]): string => (num ? `${num.text} ${num.unit}`.trim() : "—");
