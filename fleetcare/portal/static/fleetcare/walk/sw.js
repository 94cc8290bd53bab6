// The service worker: files first from the phone, pages first from the network, a walk also without one.
// TOLD is written above by the server: version, files, addresses.

const FILES = `files-${TOLD.version}`;
const PAGES = "pages";
const WALK = /\/walks\/[0-9a-f-]{36}\//;
const HASHED = /\.[0-9a-f]{12}\./;
const PATIENCE_MS = 4_000;

let round = 0;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(FILES).then((cache) => cache.addAll([...TOLD.files, TOLD.offline])));
  self.skipWaiting();
});

self.addEventListener("activate", (event) => {
  event.waitUntil(takeOver());
});

async function takeOver() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name !== FILES && name !== PAGES).map((name) => caches.delete(name)));
  await self.clients.claim();
}

self.addEventListener("message", (event) => {
  if (event.data.clear) event.waitUntil(clear());
  if (event.data.keep) event.waitUntil(keep(event.data.keep, event.source));
});

function clear() {
  round += 1;
  return caches.delete(PAGES);
}

// Pages of a walk, so that it goes on under a car where there is no signal.
async function keep(addresses, client) {
  const mine = round;
  let kept = 0;
  for (const address of addresses) {
    try {
      const answer = await fetch(address, { credentials: "same-origin", redirect: "manual" });
      if (mine !== round) return;
      if (answer.ok) {
        await put(address, answer);
        kept += 1;
      }
    } catch {
      break;
    }
  }
  client?.postMessage({ kept, of: addresses.length });
}

async function put(address, answer) {
  const { pathname } = new URL(address, self.location.origin);
  await (await caches.open(PAGES)).put(pathname, answer);
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  if (request.method === "GET" && pathname.startsWith(TOLD.static)) event.respondWith(file(request, pathname));
  else if (request.mode === "navigate" && request.method === "GET") event.respondWith(page(event, pathname));
  else if (request.mode === "navigate") event.respondWith(form(event, pathname));
});

async function file(request, pathname) {
  const kept = await caches.match(request, { ignoreSearch: true });
  if (kept && HASHED.test(pathname)) return kept;
  try {
    return await fetch(request);
  } catch (error) {
    if (kept) return kept;
    throw error;
  }
}

async function page(event, pathname) {
  const kept = WALK.test(pathname) ? await caches.match(pathname) : undefined;
  const fresh = fromNetwork(event, pathname);
  if (!kept) return fresh.catch(noConnection);
  const late = new Promise((done) => setTimeout(done, PATIENCE_MS, kept));
  return Promise.race([fresh.catch(() => kept), late]);
}

async function fromNetwork(event, pathname) {
  const mine = round;
  const answer = await fetch(event.request);
  if (answer.ok && WALK.test(pathname) && mine === round) event.waitUntil(put(pathname, answer.clone()));
  return answer;
}

// Whoever signs in or out leaves nobody's pages behind.
async function form(event, pathname) {
  if (pathname.startsWith(TOLD.signIn) || pathname === TOLD.signOut) event.waitUntil(clear());
  return fetch(event.request).catch(noConnection);
}

async function noConnection() {
  return (await caches.match(TOLD.offline)) ?? Response.error();
}
