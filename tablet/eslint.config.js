import svelte from "eslint-plugin-svelte";
import ts from "typescript-eslint";
import config from "./svelte.config.js";

export default [
  ...ts.configs.recommended,
  ...svelte.configs.recommended,
  ...svelte.configs.prettier,
  {
    files: ["**/*.svelte", "**/*.svelte.ts"],
    languageOptions: { parserOptions: { parser: ts.parser, extraFileExtensions: [".svelte"], svelteConfig: config } },
  },
  {
    rules: {
      complexity: ["error", 12],
      "max-lines": ["error", 400],
      "no-console": "error",
      "svelte/no-navigation-without-resolve": "off",
    },
  },
  { ignores: ["node_modules/", "dist/", "src/wire/types.ts"] },
];
