/**
 * Builds the map library from its own sources, so that the code that the page and its worker both
 * need is one shared file and is fetched once (as published it is in both, 442 kB gzip together).
 * It changes nothing in the library. In development the library is served as published.
 */
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { type Plugin, transformWithOxc } from 'vite';

const published = createRequire(import.meta.url).resolve('maplibre-gl/package.json');
const sources = join(dirname(published), 'src');
const worker = 'virtual:map-worker';

export function maplibre(): Plugin {
  let building = false;
  let workerFile = '';
  return {
    name: 'laywire-maplibre',
    enforce: 'pre',
    configResolved(config) {
      building = config.command === 'build';
    },
    buildStart() {
      if (!building) return;
      workerFile = this.emitFile({
        type: 'chunk',
        id: join(sources, 'source/worker.ts'),
        name: 'map-worker',
      });
    },
    resolveId(id) {
      if (id === worker) return `\0${worker}`;
      if (building && id === 'maplibre-gl') return join(sources, 'index.ts');
      return null;
    },
    async transform(code, id) {
      if (!id.startsWith(sources) || !id.endsWith('.ts')) return null;
      // Its classes declare fields that the parent's constructor fills: a field without a value is no field.
      return transformWithOxc(code, id, {
        target: 'es2022',
        typescript: { removeClassFieldsWithoutInitializer: true },
        assumptions: { setPublicClassFields: true },
      });
    },
    load(id) {
      if (id !== `\0${worker}`) return null;
      return building
        ? `export default import.meta.ROLLUP_FILE_URL_${workerFile};`
        : `export { default } from 'maplibre-gl/dist/maplibre-gl-worker.mjs?worker&url';`;
    },
  };
}
