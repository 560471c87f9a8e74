import js from "@eslint/js";

export default [
  js.configs.recommended,
  {
    files: ["dashboards/**/*.js"],
    languageOptions: { ecmaVersion: 2022, sourceType: "module" },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      // The type checker knows the browser's names, and knows them better than a list would.
      "no-undef": "off",
      curly: ["error", "all"],
      eqeqeq: "error",
      "no-eval": "error",
      "no-implied-eval": "error",
      "no-new-func": "error",
      "no-var": "error",
      "prefer-const": "error",
      "no-console": "error",
      "max-lines": ["error", { max: 300, skipBlankLines: false, skipComments: false }],
      "no-shadow": "error",
      "no-param-reassign": "error",
      // What comes from a gauge, a file or a person is shown as text and can be nothing else.
      "no-restricted-properties": [
        "error",
        ...["innerHTML", "outerHTML", "insertAdjacentHTML", "write", "writeln", "srcdoc"].map(
          (property) => ({ property, message: "Text goes in through dom.js, as text." }),
        ),
      ],
    },
  },
];
