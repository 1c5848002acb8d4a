/**
 * A hand scanner that types: a burst of keys faster than a hand, ended by Enter. What it read is told once; keys that go into
 * a field are left alone. A busy device may hold a few keys of a burst up, so the pace is the mean over the code; a text that
 * is one of our codes is taken at any pace, for nobody types one by accident.
 */
const LOST_MS = 1500; // after so long a gap what was begun is no longer going on
const PACE_MS = 60;
const LEAST = 12;

export interface Wedge {
  key: (key: string, at: number, inField: boolean) => string | null;
}

export function wedge(ours: (text: string) => boolean): Wedge {
  let text = "";
  let first = 0;
  let last = -Infinity;
  return {
    key(key, at, inField) {
      if (inField) {
        text = "";
        return null;
      }
      if (at - last > LOST_MS) text = "";
      last = at;
      if (key === "Enter") {
        const code = text;
        text = "";
        if (code.length < LEAST) return null;
        return at - first <= PACE_MS * code.length || ours(code) ? code : null;
      }
      if (key.length !== 1) return null; // Shift and the like stand between the signs
      if (!text) first = at;
      text += key;
      return null;
    },
  };
}
