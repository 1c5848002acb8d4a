/** A touched mark in words: the value, where it comes from, and when it was entered. */
import { hhmm } from "../wire/times";
import type { Touchable } from "./plotted";

export interface Touched {
  title: string;
  detail: string;
  /** A reading may be called an artefact. */
  reading: boolean;
  struck: boolean;
}

const SOURCE: Record<string, string> = {
  measured: "measured",
  typed: "typed",
  worked: "worked out",
  predicted: "estimate",
  table: "from the table",
};

export function described(t: Touchable, initials: (id: string) => string): Touched {
  const struck = t.kind !== "band" && t.shown === "struck";
  if (t.kind === "band") {
    const to = t.part.to_at ? `to ${hhmm(t.part.to_at)}` : "still";
    return { title: t.text, detail: `from ${hhmm(t.part.from_at)} ${to}`, reading: false, struck };
  }
  if ("detail" in t) {
    const number = t.number === null ? "" : `${t.number}: `;
    return {
      title: `${number}${t.text}`,
      detail: [hhmm(t.at), t.detail].filter(Boolean).join(" · "),
      reading: false,
      struck,
    };
  }
  const p = t.point;
  const who = p.by ? ` by ${initials(p.by)}` : "";
  const late = p.late ? `entered ${hhmm(p.recorded_at)}, late` : "";
  const method = "method" in p ? p.method : "";
  const state = p.struck ? "struck" : p.artefact ? "artefact" : "";
  const detail = [`${SOURCE[p.mark]}${who}`, method, late, state].filter(Boolean).join(" · ");
  return { title: `${p.text} at ${hhmm(p.at)}`, detail, reading: !p.artefact, struck };
}
