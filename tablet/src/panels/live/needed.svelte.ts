import { live } from "../../wire/live.svelte";

/** While the panel stands, the waves of the case's monitor are kept. */
export function needed(): void {
  $effect(() => live.need());
}
