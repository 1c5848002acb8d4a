import { expect, it } from "vitest";
import { sentence } from "./refused";

it.each([
  ["weight", "was not given.", "Weight was not given."],
  ["weight", "84 kg is ten times the last weight.", "84 kg is ten times the last weight."],
  ["", "is closed.", "is closed."],
])("%s, %s", (field, says, whole) => expect(sentence({ field, says })).toBe(whole));
