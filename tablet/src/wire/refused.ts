import type { Refused } from "./types";

/** A refusal as one sentence: one that begins in the middle gets its field in front ("weight" + "was not given"). */
export function sentence({ field, says }: Pick<Refused, "field" | "says">): string {
  if (!field || !/^\p{Ll}/u.test(says)) return says;
  return `${field[0]!.toUpperCase()}${field.slice(1)} ${says}`;
}
