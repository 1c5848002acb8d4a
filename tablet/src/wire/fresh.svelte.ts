import { clock } from "./clock.svelte";
import { store } from "./store.svelte";

const FRESH_MS = 60_000;

/** While something on the screen goes on with the clock, ask anew once a minute: nothing written, yet the level moves. */
export function keepFresh(asOf: () => string | null | undefined): void {
  let asked = 0;
  $effect(() => {
    const at = asOf();
    if (!at || store.link !== "live") return;
    if (clock.now - Math.max(Date.parse(at), asked) <= FRESH_MS) return;
    asked = clock.now;
    void store.refresh();
  });
}
