/** One-touch reasons for a gap, by what is missing. The gap itself stays a gap. */
const BY_WORD: readonly [RegExp, readonly string[]][] = [
  [/pressure|cuff/i, ["cuff slipped", "being moved", "monitor lost"]],
  [/temperature/i, ["by hand, so", "probe fault", "out of reach"]],
  [/row|reading|rate|spo|co2|co₂|breath|chart/i, ["being moved", "monitor lost", "hands full"]],
  [/consent|owner|resuscitation/i, ["owner not reached", "emergency"]],
  [/fast|food|water|allerg|history|medicine|weigh/i, ["owner not reached", "emergency", "not known"]],
  [/check|list|machine|sign-in|time-out/i, ["emergency", "done, not written"]],
  [/outcome|call|48/i, ["not due yet", "owner not reached"]],
];
const ALWAYS = ["not needed", "not done"];

export function reasonsFor(title: string): string[] {
  const found = BY_WORD.find(([word]) => word.test(title));
  return [...(found?.[1] ?? ALWAYS)];
}
