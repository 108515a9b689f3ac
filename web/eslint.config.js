import js from '@eslint/js';
import { defineConfig } from 'eslint/config';
import globals from 'globals';
import svelte from 'eslint-plugin-svelte';
import ts from 'typescript-eslint';
import svelteConfig from './svelte.config.js';

/** The rooms that own something nobody else may touch, and why. */
const rooms = [
  { group: ['maplibre-gl', 'maplibre-gl/*'], message: 'Only src/map draws maps.' },
  { group: ['idb'], message: 'Only src/outbox touches IndexedDB.' },
];

/**
 * @param {string[]} allowed
 * @returns {['error', { patterns: typeof rooms }]}
 */
const closedRooms = (...allowed) => [
  'error',
  { patterns: rooms.filter((room) => !room.group.some((name) => allowed.includes(name))) },
];

export default defineConfig(
  { ignores: ['dist', 'node_modules', 'src/api/schema.ts'] },
  js.configs.recommended,
  ...ts.configs.strictTypeChecked,
  ...svelte.configs.recommended,
  {
    languageOptions: {
      globals: globals.browser,
      parserOptions: { projectService: true, extraFileExtensions: ['.svelte'] },
    },
    rules: {
      'no-console': 'error',
      eqeqeq: 'error',
      'no-restricted-imports': closedRooms(),
      // A number in a label is what labels here are made of.
      '@typescript-eslint/restrict-template-expressions': ['error', { allowNumber: true }],
      '@typescript-eslint/no-confusing-void-expression': ['error', { ignoreArrowShorthand: true }],
    },
  },
  {
    files: ['**/*.svelte', '**/*.svelte.ts'],
    languageOptions: { parserOptions: { parser: ts.parser, svelteConfig } },
    // The parser sees a bound value of a component as `any`; svelte-check knows its type and checks it.
    rules: {
      '@typescript-eslint/no-unsafe-argument': 'off',
      '@typescript-eslint/no-unsafe-assignment': 'off',
      '@typescript-eslint/no-unsafe-return': 'off',
    },
  },
  { files: ['src/map/**'], rules: { 'no-restricted-imports': closedRooms('maplibre-gl') } },
  { files: ['src/outbox/**'], rules: { 'no-restricted-imports': closedRooms('idb') } },
  { files: ['*.js', '*.ts'], languageOptions: { globals: globals.node } },
  { files: ['weight.js'], rules: { 'no-console': 'off' } },
);
