/** What is measured rather than tested: on the demonstration's ground, at full size. `npm run bench`. */
import { defineConfig } from '@playwright/test';
import tests from './playwright.config.ts';

export default defineConfig({ ...tests, testDir: 'bench', timeout: 900_000 });
