/**
 * Where the pen stands: a steady clock a little behind the sender, so that chunks that come unevenly are drawn evenly.
 * It holds back as long as a chunk lasts and as the line wobbles, and no longer. In milliseconds of the sender's clock.
 */
const LATE_MS = 5000;
const MOST_BEHIND_MS = 3000;

export class Playout {
  #base: number | null = null;
  #behind = 0;
  #head = -Infinity;
  #heard = 0;

  /** `rate`: how fast the sender's time runs, 1 for now, 10 for a replay at ten times. */
  constructor(readonly rate = 1) {}

  /** A chunk that ends at `end` and lasts `span` arrived at `local`. */
  heard(end: number, span: number, local: number): void {
    const seen = end - this.rate * local;
    const passed = Math.max(0, local - this.#heard);
    this.#heard = local;
    if (this.#base === null || this.#base - seen > LATE_MS * this.rate) {
      this.#base = seen;
      this.#behind = 0;
      this.#head = -Infinity;
    }
    // the sender's crystal and ours drift: what was the quickest arrival slowly stops counting
    this.#base = Math.max(seen, this.#base - 0.005 * this.rate * passed);
    const late = this.#base - seen;
    this.#behind = Math.min(
      MOST_BEHIND_MS * this.rate,
      Math.max(span + late, this.#behind * (1 - Math.min(1, passed / 50_000))),
    );
  }

  get behind(): number {
    return this.#behind;
  }

  /** The moment that is drawn up to; it never steps back. Null before anything was heard. */
  head(local: number): number | null {
    if (this.#base === null) return null;
    this.#head = Math.max(this.#head, this.rate * local + this.#base - this.#behind);
    return this.#head;
  }
}
