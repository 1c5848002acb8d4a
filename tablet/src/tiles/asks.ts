/** A small form as data: what is asked, in which way a finger answers, and which field of the event it fills. */
export interface Ask {
  field: string;
  label: string;
  kind: "text" | "number" | "choice" | "many";
  unit?: string;
  /** value and words; a plain word stands for both */
  choices?: readonly (string | readonly [string, string])[];
  optional?: boolean;
  lines?: number;
}

export type Values = Record<string, string>;

export const pairs = (ask: Ask): (readonly [string, string])[] =>
  (ask.choices ?? []).map((one) => (typeof one === "string" ? ([one, one] as const) : one));

export const picked = (text: string | undefined): string[] => (text ? text.split("|") : []);

/** A touch on one of several: it joins, or leaves. */
export const flipped = (text: string | undefined, value: string): string =>
  picked(text).includes(value)
    ? picked(text)
        .filter((one) => one !== value)
        .join("|")
    : [...picked(text), value].join("|");

/** What is still to be answered before this can be written. */
export const lacking = (asks: readonly Ask[], values: Values): string[] =>
  asks.filter((ask) => !ask.optional && !values[ask.field]).map((ask) => ask.label);

/** Answers as the event's fields: nothing is filled in, an unanswered field stays away, a figure goes as it was typed. */
export function answered(asks: readonly Ask[], values: Values): Record<string, string | string[]> {
  return Object.fromEntries(
    asks
      .filter((ask) => values[ask.field])
      .map((ask) => [ask.field, ask.kind === "many" ? picked(values[ask.field]) : values[ask.field]!]),
  );
}
