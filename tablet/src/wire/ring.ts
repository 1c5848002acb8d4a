/** The raw samples of one wave, the last minute and more of them, by number and by time. What is missing stays missing. */
import type { LiveWave, WaveChunk } from "./types";

export type WaveName = LiveWave["wave"];

const MISSING = -0x8000_0000;
/** A step of the sender's count or clock up to here is wobble of the line and is let glide; more is a gap. */
const GLIDE_MS = 250;
const KEEPS_S = 70;

export class Ring {
  /** The oldest number that is held, and the one after the newest. */
  first = 0;
  next = 0;
  readonly step: number;
  #samples: Int32Array;
  #at: Float64Array;
  /** What is added to the stream's count: it begins anew with each stream, this one does not. */
  #shift = 0;
  #joins = true;

  constructor(
    readonly rate: number,
    readonly scale: number,
    readonly offset: number,
    seconds = KEEPS_S,
  ) {
    const size = Math.max(16, Math.ceil(rate * seconds));
    this.step = 1000 / rate;
    this.#samples = new Int32Array(size).fill(MISSING);
    this.#at = new Float64Array(size);
  }

  get size(): number {
    return this.#samples.length;
  }

  /** A new stream begins: its count is tied to this one by the next chunk. */
  restart(): void {
    this.#joins = true;
  }

  clear(): void {
    this.first = this.next = 0;
    this.#joins = true;
  }

  /** Take in a chunk. A number heard before is kept as it was heard first; numbers left out are missing samples. */
  put(chunk: Pick<WaveChunk, "first" | "at_ms" | "samples">): void {
    if (!chunk.samples.length) return;
    if (this.#joins) {
      this.#shift = this.next - chunk.first;
      this.#joins = false;
    }
    const from = chunk.first + this.#shift;
    if (from < this.first) return;
    const began = this.#begins(from, chunk.at_ms);
    if (began === null) {
      this.clear();
      this.put(chunk);
      return;
    }
    if (from - this.next < this.size)
      for (let n = this.next; n < from; n += 1) this.#set(n, MISSING, began - (from - n) * this.step);
    else this.first = from;
    for (let i = 0; i < chunk.samples.length; i += 1) {
      const n = from + i;
      if (n >= this.next) this.#set(n, chunk.samples[i] ?? MISSING, began + i * this.step);
    }
  }

  /** When sample `from` was: by the sender's word, but wobble glides. Null: time went back, nothing held fits any more. */
  #begins(from: number, at: number): number | null {
    if (this.next === this.first || from < this.next) return at;
    const expected = this.#at[(this.next - 1) % this.size]! + (from - this.next + 1) * this.step;
    const wrong = at - expected;
    if (wrong < -GLIDE_MS) return null;
    return wrong > GLIDE_MS ? at : expected + wrong / 10;
  }

  #set(n: number, sample: number, at: number): void {
    this.#samples[n % this.size] = sample;
    this.#at[n % this.size] = at;
    this.next = n + 1;
    this.first = Math.max(this.first, this.next - this.size);
  }

  at(n: number): number {
    return this.#at[n % this.size]!;
  }

  missing(n: number): boolean {
    return n < this.first || n >= this.next || this.#samples[n % this.size] === MISSING;
  }

  /** In the wave's unit; null where there is none. */
  value(n: number): number | null {
    return this.missing(n) ? null : this.#samples[n % this.size]! * this.scale + this.offset;
  }

  /** Two neighbours between which a line may be drawn. */
  joined(n: number): boolean {
    return !this.missing(n - 1) && !this.missing(n) && this.at(n) - this.at(n - 1) < 3 * this.step + 1;
  }

  /** The number after the last sample not later than `moment`. */
  after(moment: number): number {
    let [low, high] = [this.first, this.next];
    while (low < high) {
      const mid = (low + high) >> 1;
      if (this.at(mid) <= moment) low = mid + 1;
      else high = mid;
    }
    return low;
  }

  /** The last moment that is held, or null. */
  get newest(): number | null {
    return this.next > this.first ? this.at(this.next - 1) : null;
  }

  copy(): Ring {
    const twin = new Ring(this.rate, this.scale, this.offset, 0);
    twin.#samples = this.#samples.slice();
    twin.#at = this.#at.slice();
    twin.first = this.first;
    twin.next = this.next;
    return twin;
  }
}

/** The rings of one stream: one for each wave that is sent, made anew when a wave is sent in another way. */
export class Rings {
  #all = new Map<WaveName, Ring>();

  of(wave: WaveName): Ring | null {
    return this.#all.get(wave) ?? null;
  }

  /** What is sent now; a wave that is sent no longer is let go. */
  shape(waves: readonly LiveWave[]): void {
    const names = new Set(waves.map((w) => w.wave));
    for (const name of [...this.#all.keys()]) if (!names.has(name)) this.#all.delete(name);
    for (const w of waves) {
      const held = this.#all.get(w.wave);
      if (held?.rate === w.rate_hz && held.scale === w.scale && held.offset === w.offset) continue;
      this.#all.set(w.wave, new Ring(w.rate_hz, w.scale, w.offset));
    }
  }

  restart(): void {
    for (const ring of this.#all.values()) ring.restart();
  }

  clear(): void {
    this.#all.clear();
  }
}
