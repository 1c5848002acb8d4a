/** Which lines a drawn syringe shows: every mark it has, and labels far enough apart to be read. */
export interface Line {
  ml: number;
  kind: "label" | "mark";
  text: string;
}

const STEPS = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20];

export function lines(holds: number, mark: number, most = 6): Line[] {
  const label = STEPS.find((step) => holds / step <= most) ?? holds / most;
  const count = Math.round(holds / mark);
  const each = Math.max(1, Math.round(label / mark));
  return Array.from({ length: count + 1 }, (_, i): Line => {
    const ml = Number((i * mark).toPrecision(8));
    const labelled = i % each === 0 && i > 0;
    return { ml, kind: labelled ? "label" : "mark", text: labelled ? String(ml) : "" };
  });
}

/** The last tenth around the line to draw to: what the loupe shows. */
export function loupe(at: number, holds: number): { from: number; to: number } {
  const from = Math.max(0, Math.min(at - holds / 20, holds - holds / 10));
  return { from, to: from + holds / 10 };
}
