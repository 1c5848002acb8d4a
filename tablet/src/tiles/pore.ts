/** The shape of time: two facing arcs, open while there is time, a line when there is none. */
export function lips(h: number, o: number, stroke: number): string {
  const open = Math.min(1, Math.max(0, o));
  const w = 0.62 * h * open;
  const c = width(h) / 2;
  const [top, mid, bottom] = [stroke / 2, h / 2, h - stroke / 2];
  if (open <= 0.02) return `M${c} ${top}V${bottom}`;
  const g = 0.16 * w + stroke / 4;
  const [near, far] = [r(c - g), r(c + g)];
  return `M${near} ${top}Q${r(c - g - w)} ${mid} ${near} ${bottom}M${far} ${top}Q${r(c + g + w)} ${mid} ${far} ${bottom}`;
}

/** A filled pore: done. */
export function filled(h: number): string {
  const c = width(h) / 2;
  const w = 0.62 * h * 0.52;
  return `M${c} 1Q${r(c + w)} ${h / 2} ${c} ${h - 1}Q${r(c - w)} ${h / 2} ${c} 1Z`;
}

/** The box a pore of this height lies in. */
export const width = (h: number): number => r(h * 0.96);

const r = (n: number): number => Math.round(n * 10) / 10;
