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

/** What the loupe shows: a tenth of the barrel around the line to draw to, and never fewer than six marks. */
export function loupe(at: number, holds: number, mark: number): { from: number; to: number } {
  const size = Math.min(holds, Math.max(holds / 10, mark * 6));
  const from = Math.max(0, Math.min(at - size / 2, holds - size));
  return { from, to: from + size };
}
