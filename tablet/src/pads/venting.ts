/** What a ventilator is set to, as touched: nothing stands there beforehand and an unanswered field stays away. */
export type Mode = "spontaneous" | "assisted by hand" | "ventilator";
export type VentField = "rate" | "tidal_ml" | "peak_cmh2o" | "peep_cmh2o" | "inspiration_s";

export const MODES: readonly (readonly [Mode, string])[] = [
  ["spontaneous", "Breathes itself"],
  ["assisted by hand", "By hand"],
  ["ventilator", "Ventilator"],
];

export const FIELDS: readonly { field: VentField; label: string; unit: string }[] = [
  { field: "rate", label: "rate", unit: "/min" },
  { field: "tidal_ml", label: "breath", unit: "mL" },
  { field: "peak_cmh2o", label: "peak", unit: "cmH₂O" },
  { field: "peep_cmh2o", label: "PEEP", unit: "cmH₂O" },
  { field: "inspiration_s", label: "breath in", unit: "s" },
];

type Values = Partial<Record<VentField, string>>;

/** A figure that has an end: not empty, and not "4." */
const finished = (text: string | undefined): boolean => !!text && /^\d+(\.\d+)?$/.test(text);

/** What is still to be answered before this can be written. */
export function lacks(mode: Mode | "", values: Values): string[] {
  if (!mode) return ["how it breathes"];
  if (mode === "spontaneous") return [];
  const open = FIELDS.filter((f) => values[f.field] && !finished(values[f.field])).map((f) => f.label);
  if (mode === "ventilator" && !values.rate) open.unshift("rate");
  if (values.rate?.includes(".")) open.push("rate as a whole number");
  return open;
}

/** The entry's fields as typed; the rate is counted in whole breaths. */
export function setFields(
  mode: Mode,
  held: "" | "volume" | "pressure",
  values: Values,
  reason: string,
): Record<string, string | number> {
  const fields: Record<string, string | number> = { mode };
  if (held && mode === "ventilator") fields.held_by = held;
  if (mode !== "spontaneous")
    for (const { field } of FIELDS) {
      const text = values[field];
      if (text) fields[field] = field === "rate" ? Number(text) : text;
    }
  if (reason.trim()) fields.reason = reason.trim();
  return fields;
}

/** As a key says it. */
export function said(mode: Mode, values: Values): string {
  const words = MODES.find(([one]) => one === mode)?.[1].toLowerCase() ?? mode;
  const figures = mode === "spontaneous" ? [] : FIELDS.filter((f) => values[f.field]);
  return [words, ...figures.map((f) => `${f.label} ${values[f.field]}`)].join(", ");
}
