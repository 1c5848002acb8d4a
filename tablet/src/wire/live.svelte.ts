import { api, listen, whyNot } from "./api";
import { Playout } from "./playout";
import { Rings, type Ring, type WaveName } from "./ring";
import type { LiveBreath, LiveNumber, LiveState, LiveWave, WaveChunk } from "./types";

export type { WaveName };
/** Silence of the line itself for so long is said, whatever the last state was: it comes twice a second. */
export const QUIET_MS = 5000;
const BREATHS_S = 80;

/**
 * What a monitor sends, as one stream: the state, the raw waves, the breaths. `live` is now; `replay` is what was kept,
 * played again. The waves are outside of what the page reacts to: a canvas asks for them at each frame.
 */
export class Stream {
  state = $state.raw<LiveState | null>(null);
  breaths = $state.raw<readonly LiveBreath[]>([]);
  /** Which waves there are, and how each is drawn. */
  waves = $state.raw<readonly LiveWave[]>([]);
  open = $state(false);
  /** When the line opened or broke, by this tablet's clock. */
  since = $state(Date.now());
  /** When the last state came, by this tablet's clock. */
  heardAt = $state(0);
  caseId = $state("");
  speed = $state(1);
  #rings = new Rings();
  #pen = new Playout();
  /** The server's clock less this tablet's: the least ever seen of a state's time less its arrival is the nearest. */
  #ahead: number | null = null;

  /** What takes each kind of message down the line. */
  readonly events = {
    live: (text: string): void => this.took(JSON.parse(text) as LiveState),
    wave: (text: string): void => this.drew(JSON.parse(text) as WaveChunk),
    breath: (text: string): void => this.breathed(JSON.parse(text) as LiveBreath),
  };

  /** Begin anew for this case; what another case or another speed left is gone. */
  begin(caseId: string, speed = 1): void {
    this.#rings.clear();
    this.#ahead = null;
    this.#pen = new Playout(speed);
    [this.state, this.breaths, this.waves, this.heardAt] = [null, [], [], 0];
    [this.caseId, this.speed, this.open, this.since] = [caseId, speed, false, Date.now()];
  }

  /** The line opened, or broke. A new line counts its samples anew. */
  linked(open: boolean): void {
    if (open !== this.open) this.since = Date.now();
    this.open = open;
    if (open) this.#rings.restart();
  }

  /** A state came. One of another case than the followed one is dropped. */
  took(state: LiveState, local = Date.now()): void {
    if (state.case !== this.caseId) return;
    this.#clock(Date.parse(state.replay_at ?? state.as_of) - local * this.speed);
    this.#rings.shape(state.waves);
    if (JSON.stringify(this.waves) !== JSON.stringify(state.waves)) this.waves = state.waves;
    if (state.monitor !== this.state?.monitor) this.breaths = [];
    this.state = state;
    this.heardAt = local;
  }

  /** A difference that only waiting on the line makes smaller is not the clock's; a step of seconds is. */
  #clock(ahead: number): void {
    const stepped = this.#ahead === null || Math.abs(ahead - this.#ahead) > 5000 * this.speed;
    this.#ahead = stepped ? ahead : Math.max(ahead, this.#ahead! - 2);
  }

  drew(chunk: WaveChunk, local = Date.now()): void {
    const ring = this.#rings.of(chunk.wave);
    if (!ring) return;
    ring.put(chunk);
    const span = chunk.samples.length * ring.step;
    this.#pen.heard(chunk.at_ms + span, span, local);
  }

  breathed(breath: LiveBreath): void {
    const oldest = breath.end_ms - BREATHS_S * 1000;
    const others = this.breaths.filter((one) => one.start_ms !== breath.start_ms && one.end_ms > oldest);
    this.breaths = [...others, breath].sort((a, b) => a.start_ms - b.start_ms);
  }

  ring(wave: WaveName): Ring | null {
    return this.#rings.of(wave);
  }

  /** Where the pen stands. With the line broken it stands still: nothing is known of what came since. */
  head(local = Date.now()): number | null {
    return this.#pen.head(this.open ? local : Math.min(local, this.since));
  }

  /** Now, by the clock that the values are stamped with. It goes on without a line, so that what is shown ages. */
  now(local: number): number {
    return this.#ahead === null ? local : local * this.speed + this.#ahead;
  }

  /** The line is open and speaks. */
  speaks(local: number): boolean {
    return this.open && local - this.heardAt < QUIET_MS;
  }

  number(reading: string): LiveNumber | null {
    return this.state?.numbers.find((one) => one.reading === reading) ?? null;
  }
}

/**
 * What the monitor sends now: it comes down the case's own line. It is kept whether a panel shows it or not: the last
 * seconds come with the line, before any panel stands, and a page that is opened shows them at once.
 */
class Live extends Stream {
  /** A monitor is paired, and its values may be shown as now. */
  get paired(): boolean {
    return !!this.state?.monitor && this.state.link !== "no monitor" && this.state.link !== "held back";
  }
}

/** What was kept, played again. A line that ends is at its end: it is never begun again by itself. */
class Replay extends Stream {
  /** Shown in the place of the live picture. */
  on = $state(false);
  /** Why it does not play, in the server's words. */
  refused = $state("");
  #hang: (() => void) | null = null;
  #asked = 0;

  async play(caseId: string, from: Date, speed: number): Promise<void> {
    this.#hang?.();
    this.#hang = null;
    this.refused = "";
    const asked = (this.#asked += 1);
    const path = api.replay(caseId, from, speed);
    const no = await whyNot(path);
    if (asked !== this.#asked) return;
    this.refused = no;
    if (no) return;
    this.on = true;
    this.begin(caseId, speed);
    this.#hang = listen(path, { onchange: () => {}, onlink: (open) => this.#line(open), events: this.events });
  }

  #line(open: boolean): void {
    if (!open) this.#hang?.();
    this.linked(open);
  }

  end(): void {
    this.#asked += 1;
    this.#hang?.();
    this.#hang = null;
    [this.on, this.refused] = [false, ""];
    this.begin("");
  }
}

export const live = new Live();
export const replay = new Replay();
