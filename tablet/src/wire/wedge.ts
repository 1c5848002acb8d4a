/**
 * A hand scanner that types: a burst of keys far faster than a hand, ended by Enter. What it read is told once; keys that go
 * into a field, or come slowly, are left alone.
 */
const BURST_MS = 60;
const LEAST = 12;

export interface Wedge {
  key: (key: string, at: number, inField: boolean) => string | null;
}

export function wedge(): Wedge {
  let text = "";
  let last = -Infinity;
  return {
    key(key, at, inField) {
      if (inField) {
        text = "";
        return null;
      }
      const fast = at - last <= BURST_MS;
      last = at;
      if (key === "Enter") {
        const read = fast && text.length >= LEAST ? text : null;
        text = "";
        return read;
      }
      if (key.length !== 1) return null; // Shift and the like stand between the signs
      text = fast ? text + key : key;
      return null;
    },
  };
}
