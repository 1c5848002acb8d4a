/**
 * What the main key of the Give pad says to a typed volume, in the order in which a slip would hurt. It compares and
 * words; it works out no dose: zone and order come with the rung.
 */
import type { Rung } from "../wire/types";
import type { Found, Slip } from "./ladder";
import { valueOf } from "./typing";

export interface Asked {
  text: string;
  found: Found;
  plannedMl: number | null;
  leftMl: number | null;
  leftText: string;
  holds: string;
  /** A veterinarian said so and was read back. */
  spoken: boolean;
  slip: Slip;
}

export interface Verdict {
  state: "ready" | "empty" | "said" | "refused";
  says: string;
  key: string;
  use: Rung[];
}

export function verdict(a: Asked): Verdict {
  const ml = valueOf(a.text);
  if (a.found.on === "nothing") return { state: "empty", says: "", key: "Volume first", use: [] };
  if (a.found.on === "between") return between(a.text, a.found.below, a.found.above, a.slip);
  if (a.found.on === "over") {
    const slipped = a.slip ? `is ${a.slip} the order and ` : "";
    const says = `${a.text} mL ${slipped}does not fit the ${a.holds || "syringe"}.`;
    return { state: "refused", says, key: `Given ${a.text} mL: refused`, use: [] };
  }
  if (ml !== null && a.leftMl !== null && ml > a.leftMl + 1e-9) {
    return refused(a.text, `Only ${a.leftText} is left in this syringe. Give what is left, or draw another.`);
  }
  return judgedRung(a, a.found.rung);
}

function judgedRung(a: Asked, rung: Rung): Verdict {
  if (a.slip === "ten times") return refused(a.text, `${rung.text} mL is ten times the order.`);
  if (rung.zone === "forbidden") {
    const how = "An order over the stop is written in Plan, with the veterinarian and the reason.";
    return refused(a.text, `${rung.text} mL is over the hard stop. ${how}`);
  }
  if (rung.over_order && !a.spoken) {
    const says = `${rung.text} mL is over the order. The veterinarian must say so and be read back.`;
    return { state: "said", says, key: `Over order: said by?`, use: [] };
  }
  if (a.slip === "a tenth of")
    return { state: "ready", says: `${rung.text} mL is a tenth of the order.`, key: "", use: [] };
  // What was planned and drawn was judged in Plan: rounding down to a mark is no news at the push.
  if (rung.zone === "unusual" && rung.ml !== a.plannedMl)
    return { state: "ready", says: `${rung.text} mL is outside the usual range.`, key: "", use: [] };
  return { state: "ready", says: "", key: "", use: [] };
}

function between(text: string, below: Rung | null, above: Rung | null, slipped: Slip): Verdict {
  const use = [below, above].filter((r): r is Rung => r !== null && r.zone !== "forbidden");
  const named = use.map((r) => r.text).join(" or ");
  const why = slipped
    ? `${text} mL is ${slipped} the order and lies between two marks.`
    : `${text} mL lies between two marks.`;
  return {
    state: "refused",
    says: `${why} This syringe has ${named ? `${named} mL` : "no such mark"}.`,
    key: `Given ${text} mL: refused`,
    use,
  };
}

function refused(text: string, says: string): Verdict {
  return { state: "refused", says, key: `Given ${text} mL: refused`, use: [] };
}
