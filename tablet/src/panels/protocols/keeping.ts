import type { Refused } from "../../wire/types";

/** The id a name gives: small letters, digits and hyphens, as the hospital's log wants it. */
export const slug = (title: string): string =>
  title
    .normalize("NFKD")
    .toLowerCase()
    .replace(/[\u0300-\u036f]/g, "")
    .replace(/[^a-z0-9]+/g, "-")
    .replace(/^-+|-+$/g, "");

/** Which line a refusal speaks of, counted from 1; 0: none, it is about the whole. */
export const atLine = ({ field }: Pick<Refused, "field">): number => Number(/^line (\d+)\b/.exec(field)?.[1] ?? 0);
