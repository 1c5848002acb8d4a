/** The log holds a hand's id; a sheet prints initials. The id behind what is printed, or the text itself for a stranger. */
import type { Hand } from "../wire/types";

export function idOf(staff: readonly Hand[], printed: string): string {
  return staff.find((h) => h.id === printed || h.initials === printed)?.id ?? printed;
}
