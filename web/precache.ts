/**
 * Builds the service worker after the pages, with the list of what they are made of: so that a phone has all
 * of a version on it, or none. What is left out is fetched when it is wanted: the pictures for a home screen,
 * and the reader of codes, which is only of use where a pass can be checked.
 */
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { build, type Plugin } from 'vite';

const leftOut = /\.png$|\/jsQR-|^service-worker\.js$/;

export function precache(): Plugin {
  let root = '';
  let outDir = '';
  return {
    name: 'laywire-precache',
    apply: 'build',
    configResolved(config) {
      root = config.root;
      outDir = join(config.root, config.build.outDir);
    },
    async closeBundle() {
      const files = readdirSync(outDir, { recursive: true, withFileTypes: true })
        .filter((entry) => entry.isFile())
        .map((entry) => join(entry.parentPath, entry.name).slice(outDir.length + 1))
        .filter((file) => !leftOut.test(file))
        .sort();
      const sha256 = (file: string) =>
        createHash('sha256')
          .update(readFileSync(join(outDir, file)))
          .digest('hex');
      // An asset's name tells its contents; the rest keeps its name when it changes.
      const version = createHash('sha256');
      for (const file of files) version.update(file.startsWith('assets/') ? file : sha256(file));
      await build({
        configFile: false,
        root,
        logLevel: 'warn',
        publicDir: false,
        define: {
          __VERSION__: JSON.stringify(version.digest('hex').slice(0, 16)),
          __PAGE_SHA256__: JSON.stringify(sha256('index.html')),
          __FILES__: JSON.stringify(files.map((file) => (file === 'index.html' ? '/' : `/${file}`))),
        },
        build: {
          outDir,
          emptyOutDir: false,
          target: 'es2022',
          modulePreload: false,
          rolldownOptions: {
            input: join(root, 'src/offline/service-worker.ts'),
            output: { format: 'iife', entryFileNames: 'service-worker.js' },
          },
        },
      });
    },
  };
}
