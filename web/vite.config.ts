import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vitest/config';
import { maplibre } from './maplibre.ts';
import { precache } from './precache.ts';
import { tokensCss } from './src/ui/tokens.ts';

export default defineConfig({
  plugins: [
    maplibre(),
    svelte(),
    precache(),
    {
      // The colours stand in the page itself: it is on paper, or dim red, before any script runs.
      name: 'laywire-tokens',
      transformIndexHtml: () => [{ tag: 'style', children: tokensCss(), injectTo: 'head' }],
    },
  ],
  // In development the service runs beside this one.
  server: { host: '127.0.0.1', proxy: { '/api': process.env['LAYWIRE'] ?? 'http://127.0.0.1:8080' } },
  // The page's weight is watched by weight.js, compressed; the map library alone passes the bundler's 500 kB.
  build: {
    target: 'es2022',
    assetsInlineLimit: 0,
    chunkSizeWarningLimit: 800,
    rolldownOptions: {
      output: {
        // What three pages or more share stays in one file: cut up by who shares it, it weighs more with every page.
        // Not the frame of the pages that are fetched when somebody asks for them: nobody needs it before.
        codeSplitting: {
          groups: [{ name: 'common', test: /\/src\/(?!operation\/Frame\.svelte)/, minShareCount: 3 }],
        },
      },
    },
  },
  worker: { format: 'es' },
  test: { include: ['src/**/*.test.ts'] },
});
