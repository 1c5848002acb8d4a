/** A gas that runs beside the oxygen: it is neither forgotten nor carried on unasked when the oxygen is set anew. */
export interface Other {
  gas: string;
  flow: string;
}

export type Still = "" | "runs" | "off";

/** What the oxygen's entry holds; null while nobody has said whether the other gas still runs. */
export function gasFields(
  flow: string,
  other: Other | null,
  still: Still,
): { oxygen_l_min: string; other?: string; other_l_min?: string } | null {
  if (!other || still === "off") return { oxygen_l_min: flow };
  if (!still) return null;
  return { oxygen_l_min: flow, other: other.gas, ...(other.flow ? { other_l_min: other.flow } : {}) };
}

/** As it is said beside the oxygen. */
export const otherWords = (other: Other): string => (other.flow ? `${other.gas} ${other.flow} L/min` : other.gas);
