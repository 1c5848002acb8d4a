/** The beat to press by, as a short tick. Sound in this house is for danger only; this is the one that lasts. */
export class Beat {
  #context: AudioContext | null = null;
  #timer: ReturnType<typeof setInterval> | undefined;

  start(perMinute: number): void {
    this.stop();
    if (typeof AudioContext === "undefined") return;
    this.#context ??= new AudioContext();
    void this.#context.resume();
    this.#timer = setInterval(() => this.#tick(), 60_000 / perMinute);
  }

  stop(): void {
    clearInterval(this.#timer);
    this.#timer = undefined;
  }

  #tick(): void {
    const context = this.#context;
    if (!context || context.state !== "running") return;
    const [tone, level] = [context.createOscillator(), context.createGain()];
    tone.frequency.value = 880;
    level.gain.setValueAtTime(0.18, context.currentTime);
    level.gain.exponentialRampToValueAtTime(0.001, context.currentTime + 0.06);
    tone.connect(level).connect(context.destination);
    tone.start();
    tone.stop(context.currentTime + 0.07);
  }
}
