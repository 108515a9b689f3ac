/**
 * Gives a browser its pages and its ground when there is no network. It has all files of one version, or is not
 * installed at all; a newer one waits until somebody lets it take over. It never touches what is reported, the
 * feed, or any other answer of the service than a tile of the ground.
 */
declare const __VERSION__: string;
/** of the page itself: the only file whose name does not change when its contents do, and that names the others */
declare const __PAGE_SHA256__: string;
declare const __FILES__: readonly string[];

interface Work extends Event {
  waitUntil: (work: Promise<unknown>) => void;
}
interface Asked extends Work {
  request: Request;
  respondWith: (answer: Promise<Response>) => void;
}
interface Scope {
  skipWaiting: () => Promise<void>;
  clients: { claim: () => Promise<void> };
  addEventListener: ((name: 'install' | 'activate', heard: (event: Work) => void) => void) &
    ((name: 'fetch', heard: (event: Asked) => void) => void) &
    ((name: 'message', heard: (event: MessageEvent) => void) => void);
}
const scope = self as unknown as Scope;

const PREFIX = 'laywire-pages-';
const PAGES = PREFIX + __VERSION__;
/** What the headers vary by is not asked for here: each address has one answer. */
const BY_ADDRESS = { ignoreVary: true };

scope.addEventListener('install', (event) => event.waitUntil(fetchAll()));

scope.addEventListener('activate', (event) => event.waitUntil(takeOver()));

scope.addEventListener('message', ({ data }) => {
  if (data === 'take over') void scope.skipWaiting();
});

scope.addEventListener('fetch', (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== 'GET' || origin !== location.origin) return;
  if (/^\/api\/operations\/[^/]+\/tiles\//.test(pathname)) event.respondWith(ground(request));
  else if (pathname.startsWith('/api/')) return;
  else if (request.mode === 'navigate') event.respondWith(file('/', request));
  else if (__FILES__.includes(pathname)) event.respondWith(file(pathname, request));
});

async function fetchAll(): Promise<void> {
  const pages = await caches.open(PAGES);
  await Promise.all(
    __FILES__.map(async (name) => {
      if (await pages.match(name, BY_ADDRESS)) return;
      const lasting = name.startsWith('/assets/');
      // A version shares most of its files with the one before.
      const known = lasting ? await caches.match(name, BY_ADDRESS) : undefined;
      const answer = known ?? (await fetch(name, { cache: lasting ? 'default' : 'reload' }));
      if (!answer.ok) throw new Error(`${name} is not there: ${answer.status}`);
      // A still newer version may stand at the service by now: its page would ask for files that are not here.
      if (name === '/' && (await sha256(answer.clone())) !== __PAGE_SHA256__)
        throw new Error('not this version');
      await pages.put(name, answer);
    }),
  );
}

async function takeOver(): Promise<void> {
  const old = (await caches.keys()).filter((name) => name.startsWith(PREFIX) && name !== PAGES);
  await Promise.all(old.map((name) => caches.delete(name)));
  await scope.clients.claim();
}

async function file(name: string, request: Request): Promise<Response> {
  return (await caches.match(name, { ...BY_ADDRESS, cacheName: PAGES })) ?? fetch(request);
}

async function ground(request: Request): Promise<Response> {
  const kept = await caches.match(request, BY_ADDRESS);
  if (!kept) return fetch(request);
  const packed = kept.headers.get('laywire-packed');
  if (packed !== 'gzip' || !kept.body) return kept;
  const headers = { 'content-type': kept.headers.get('content-type') ?? '' };
  return new Response(kept.body.pipeThrough(new DecompressionStream('gzip')), { headers });
}

async function sha256(answer: Response): Promise<string> {
  const digest = await crypto.subtle.digest('SHA-256', await answer.arrayBuffer());
  return Array.from(new Uint8Array(digest), (byte) => byte.toString(16).padStart(2, '0')).join('');
}
