import type { PickRow } from "../../wire/types";

export interface Drug {
  drug: string;
  name: string;
  syringe_class: PickRow["syringe_class"];
  purposes: string[];
}

/** Each drug once, in the order of the alphabet, with what it may be ordered for. */
export function drugs(rows: readonly PickRow[]): Drug[] {
  const found = new Map<string, Drug>();
  for (const row of rows) {
    const one = found.get(row.drug) ?? {
      drug: row.drug,
      name: capital(row.name),
      syringe_class: row.syringe_class,
      purposes: [],
    };
    if (!one.purposes.includes(row.purpose)) one.purposes.push(row.purpose);
    found.set(row.drug, one);
  }
  return [...found.values()].sort((a, b) => a.name.localeCompare(b.name));
}

/** A name as the plan prints it: its first letter large. */
export const capital = (name: string): string => `${name.slice(0, 1).toUpperCase()}${name.slice(1)}`;

/** The first letters there are. */
export const letters = (all: readonly Drug[]): string[] =>
  [...new Set(all.map((one) => one.name[0]!.toUpperCase()))].sort();

/** The ways a row may be given: one of them is ordered. */
export const routes = (row: PickRow): string[] => row.route.split(", ");
