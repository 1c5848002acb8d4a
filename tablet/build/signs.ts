import { createHash } from "node:crypto";
import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import type { Plugin } from "vite";

/**
 * The screen faces are cut into alphabets, and none of the cuts holds the signs a chart needs (subscripts, ≥, ≈, arrows).
 * They are taken from the whole faces here, so that no sign falls back to a stranger's face.
 */
export const SIGNS = "₀₁₂₃₄≤≥≈→←↑↓△▲▽▼◇○●✕";
const FROM = "virtual:signs.css";
const WEIGHTS: [number, string][] = [
  [400, "400Regular/SourceSans3_400Regular.ttf"],
  [600, "600SemiBold/SourceSans3_600SemiBold.ttf"],
];

export function signs(): Plugin {
  const find = createRequire(import.meta.url);
  const range = [...SIGNS].map((sign) => `U+${sign.codePointAt(0)!.toString(16)}`).join(",");
  let building = false;
  return {
    name: "signs",
    configResolved(config) {
      building = config.command === "build";
    },
    resolveId: (id) => (id === FROM ? `\0${FROM}` : null),
    async load(id) {
      if (id !== `\0${FROM}`) return null;
      const { default: subset } = await import("subset-font");
      const faces = WEIGHTS.map(async ([weight, file]) => {
        const whole = await readFile(find.resolve(`@expo-google-fonts/source-sans-3/${file}`));
        const cut = await subset(whole, SIGNS, { targetFormat: "woff2" });
        const fileName = `assets/signs-${weight}-${createHash("sha256").update(cut).digest("hex").slice(0, 8)}.woff2`;
        // built pages take it as a file of their own: the server lets no page load a font out of its text
        if (building) this.emitFile({ type: "asset", fileName, source: cut });
        const url = building ? `/${fileName}` : `data:font/woff2;base64,${cut.toString("base64")}`;
        return `@font-face{font-family:"Source Signs";font-weight:${weight === 400 ? "200 500" : "501 900"};src:url(${url}) format("woff2");unicode-range:${range}}`;
      });
      return (await Promise.all(faces)).join("\n");
    },
  };
}
