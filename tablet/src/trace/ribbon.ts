/** How one cell of the ribbon is told: the figure, its mark, and its age in words. Missing is a dash, stale two. */
import type { MarkName, Vital } from "../wire/types";
import { hhmm } from "../wire/times";
import { ago, MINUTE, ms } from "./time";

export interface Told {
  figure: string;
  mark: MarkName | null;
  icon: MarkName | "stale" | null;
  foot: string;
  stale: boolean;
}

export function told(vital: Vital, now: number): Told {
  const value = vital.value;
  if (!value) return { figure: "—", mark: null, icon: null, foot: vital.foot || "not read yet", stale: false };
  const age = value.at ? now - ms(value.at) : 0;
  if (value.at && age > vital.stale_after_s * 1000) {
    const foot = `last ${value.text}, ${ago(value.at, now)}`;
    return { figure: "– –", mark: value.mark, icon: "stale", foot, stale: true };
  }
  return { figure: value.text, mark: value.mark, icon: value.mark, foot: foot(vital, now, age), stale: false };
}

function foot(vital: Vital, now: number, age: number): string {
  const value = vital.value;
  if (!value?.at) return vital.foot;
  const when =
    value.mark === "typed" ? `typed ${hhmm(value.at)}` : age < MINUTE ? "now" : ago(value.at, now).replace(" ago", "");
  return vital.foot ? `${when} · ${vital.foot}` : when;
}
