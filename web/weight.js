/**
 * What a first page load weighs: every file that the built page names, that those import at once, the map's worker
 * with its share and the service worker, as a server sends them with gzip. Fails above the limit.
 */
import { readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { gzipSync } from 'node:zlib';

const limit = 450_000;
/**
 * Fetched when somebody asks for it, and never before: the reader of codes in a browser that has none, the drawings that
 * need the service's reckoning anyway, each page that takes the place of one's own, what a command post does at a desk, and
 * the pictures of a page that is put on the home screen.
 */
const seldom = [
  'jsQR',
  'SpanSection',
  'WireSection',
  'ShareOut',
  'ByRoad',
  'Passes',
  'Plan',
  'LinePage',
  'RecoveryPage',
  'taking-up',
  'Stores',
  'Records',
  'QrCode',
  'Table',
  'Frame',
  'Forecast',
  'AllLines',
  'Helps',
  'Replay',
  'seldom',
  'Review',
];
const onAsking = new RegExp(`/(?:${seldom.join('|')})-|\\.png$`);
const dist = join(import.meta.dirname, 'dist');

/** @type {Map<string, number>} */
const weighed = new Map();

/** @param {string} file */
function weigh(file) {
  if (weighed.has(file)) return;
  const text = readFileSync(join(dist, file));
  weighed.set(file, gzipSync(text, { level: 6 }).length);
  const source = text.toString();
  const named = file.endsWith('.html')
    ? [...source.matchAll(/(?:src|href)="\/([^"]+)"/g)].map(([, name]) => name ?? '')
    : // Imports and the worker's address alike are names of files that stand beside this one.
      [...source.matchAll(/[`"'](?:\.\/|\/?assets\/)?([\w.-]+\.(?:js|css))[`"']/g)].map(([, name]) =>
        join(dirname(file), name ?? ''),
      );
  for (const name of named) if (!name.startsWith('data:') && !onAsking.test(name)) weigh(name);
}

weigh('index.html');
// It names again what it keeps; that comes from the browser's own cache.
weighed.set(
  'service-worker.js',
  gzipSync(readFileSync(join(dist, 'service-worker.js')), { level: 6 }).length,
);
for (const [file, bytes] of weighed) console.log(`${(bytes / 1000).toFixed(1).padStart(7)} kB  ${file}`);
const total = [...weighed.values()].reduce((sum, bytes) => sum + bytes, 0);
console.log(`${(total / 1000).toFixed(1).padStart(7)} kB  in all, gzip; the limit is ${limit / 1000} kB`);
if (![...weighed.keys()].some((file) => file.includes('map-worker'))) {
  console.error("The map's worker was not found among the files: this figure would be too low.");
  process.exit(1);
}
if (total > limit) {
  console.error('The page is too heavy for a field link: load less at first, or find what grew.');
  process.exit(1);
}
