import type { RiskFlag } from "../../wire/types";

const WEIGHT = { never: 0, avoid: 1, care: 2 } as const;
export const SEVERITY = { never: "Never", avoid: "Avoid", care: "Care" } as const;

/** Cautions, the gravest first; among alike the order of the core stays. */
export const graded = (flags: readonly RiskFlag[]): RiskFlag[] =>
  [...flags].sort((a, b) => WEIGHT[a.severity] - WEIGHT[b.severity]);

export const gravest = (flags: readonly RiskFlag[]): RiskFlag | undefined => graded(flags)[0];
