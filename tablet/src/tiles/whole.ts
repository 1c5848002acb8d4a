import type { Action } from "svelte/action";

/** Rows of a scrolled list, those of a list within it one by one. */
function rowsOf(node: HTMLElement): HTMLElement[] {
  return [...node.children].flatMap((one) =>
    one.classList.contains("rows") ? ([...one.children] as HTMLElement[]) : [one as HTMLElement],
  );
}

/** A row that would leave more than this empty is shown cut: an empty half tells nothing. */
const MOST_PX = 90;

/** How much of the lower edge is left out so that no row is cut [px]. */
export function cutAt(rows: readonly { top: number; bottom: number }[], top: number, bottom: number): number {
  const cut = rows.find((row) => row.top > top + 1 && row.top < bottom && row.bottom > bottom + 1);
  return cut && bottom - cut.top <= MOST_PX ? bottom - cut.top : 0;
}

/** A row that the lower edge would cut is not shown: what is seen is whole. A row too high for the list stays. */
export const wholeRows: Action<HTMLElement, (more: boolean) => void> = (node, told) => {
  const clip = (): void => {
    const { top, bottom } = node.getBoundingClientRect();
    const cut = cutAt(
      rowsOf(node).map((row) => row.getBoundingClientRect()),
      top,
      bottom,
    );
    node.style.clipPath = cut > 0 ? `inset(0 -8px ${Math.ceil(cut)}px -8px)` : "";
    told(node.scrollTop + node.clientHeight < node.scrollHeight - 2);
  };
  const changed = new MutationObserver(clip);
  changed.observe(node, { childList: true, subtree: true, characterData: true });
  const sized = typeof ResizeObserver === "undefined" ? null : new ResizeObserver(clip);
  sized?.observe(node);
  node.addEventListener("scroll", clip, { passive: true });
  clip();
  return {
    destroy(): void {
      changed.disconnect();
      sized?.disconnect();
      node.removeEventListener("scroll", clip);
    },
  };
};

/** One page on, beginning with the first row that was not whole; at the end back to the top. */
export function onward(node: HTMLElement): void {
  const { top, bottom } = node.getBoundingClientRect();
  if (node.scrollTop + node.clientHeight >= node.scrollHeight - 2) {
    node.style.paddingBottom = "";
    node.scrollTop = 0;
    return;
  }
  const next = rowsOf(node)
    .map((row) => row.getBoundingClientRect())
    .find((row) => row.top > top + 1 && row.bottom > bottom + 1);
  const to = node.scrollTop + (next ? next.top - top : node.clientHeight - 40);
  // the last page begins with a whole row too: what lacks below it is left empty
  node.style.paddingBottom = `${Math.max(0, Math.ceil(to + node.clientHeight - node.scrollHeight))}px`;
  node.scrollTop = to;
}
