/** How one cell of the ribbon is told: the figure, its mark, and its age in words. Missing is a dash, stale two. */
import type { MarkName, Vital } from "../wire/types";
import { hhmm } from "../wire/times";
import { ago, MINUTE, ms } from "./time";

export interface Told {
  figure: string;
  mark: MarkName | null;
  icon: MarkName | "stale" | null;
  foot: string;
  /** The foot where there is room for little. */
  short: string;
  stale: boolean;
}

export function told(vital: Vital, now: number): Told {
  const value = vital.value;
  if (!value)
    return { figure: "—", mark: null, icon: null, foot: vital.foot || "not read yet", short: "not read", stale: false };
  const age = value.at ? now - ms(value.at) : 0;
  if (value.at && age > vital.stale_after_s * 1000) {
    const past = ago(value.at, now);
    return {
      figure: "– –",
      mark: value.mark,
      icon: "stale",
      foot: `last ${value.text}, ${past}`,
      short: `${value.text}, ${past.replace(" ago", "")}`,
      stale: true,
    };
  }
  const words = foot(vital, now, age);
  return {
    figure: value.text,
    mark: value.mark,
    icon: value.mark,
    foot: words,
    short: words.split(" · ")[0] ?? "",
    stale: false,
  };
}

function foot(vital: Vital, now: number, age: number): string {
  const value = vital.value;
  if (!value?.at) return vital.foot;
  const when =
    value.mark === "typed" ? `typed ${hhmm(value.at)}` : age < MINUTE ? "now" : ago(value.at, now).replace(" ago", "");
  const how = vital.foot.replace(/^oscillometric(?: · (cuff .*))?$/, (_all, cuff?: string) => cuff ?? "cuff");
  return how ? `${when} · ${how}` : when;
}
