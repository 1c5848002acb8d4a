import { store, type Written } from "../wire/store.svelte";
import type { Refused } from "../wire/types";

/** One entry on its way: the key rests while it is, and a refusal stays to be read with nothing cleared. */
export class Entering {
  busy = $state(false);
  refused = $state.raw<Refused | null>(null);

  /** True when the entry is written, or kept on this tablet for want of a link. */
  async run(write: () => Promise<Written>): Promise<boolean> {
    if (this.busy) return false;
    this.busy = true;
    this.refused = null;
    try {
      const written = await write();
      const answer = await written.answer;
      if (!answer?.refused) return true;
      this.refused = answer.refused;
      await store.seen(written.id);
      return false;
    } finally {
      this.busy = false;
    }
  }
}
