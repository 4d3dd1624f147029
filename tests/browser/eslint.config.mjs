import js from '@eslint/js';

const names = (...list) => Object.fromEntries(list.map((name) => [name, 'readonly']));

export default [
  js.configs.recommended,
  {
    languageOptions: { ecmaVersion: 2022, sourceType: 'module' },
    linterOptions: { reportUnusedDisableDirectives: 'error' },
    rules: {
      eqeqeq: 'error', 'no-var': 'error', 'prefer-const': 'error', 'no-shadow': 'error', 'no-implicit-coercion': 'error',
      'no-restricted-properties': ['error', { property: 'innerHTML' }, { property: 'outerHTML' }, { property: 'insertAdjacentHTML' }],
    },
  },
  {
    files: ['**/static/*.js'],
    languageOptions: { globals: names('document', 'window', 'location', 'history', 'fetch', 'crypto', 'AbortSignal', 'CSS', 'Intl', 'ResizeObserver') },
  },
  {
    files: ['**/*.mjs'],
    languageOptions: { globals: names('document', 'window', 'process', 'URL', 'setTimeout', 'clearTimeout', 'performance', 'getComputedStyle', 'fetch', 'structuredClone') },
  },
];
