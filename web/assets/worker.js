// The offline worker: pages of the stove, the trays and a ballot that were
// open once open again without the network, as they last were. Everything
// else goes to the server as if there were no worker; nothing is ever sent
// from here.
"use strict";
const pages = "trivet-pages-1", files = "trivet-files-1";
const kept = (path) => /^\/(b|trays)\/[^/]+$/.test(path) || /^\/studies\/[^/]+\/(cooks(\/[^/]+)?|load)$/.test(path);
const still = (path) => /^\/(assets|ui)\//.test(path); // names carry a hash

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name !== pages && name !== files) await caches.delete(name);
  await self.clients.claim();
})()));

self.addEventListener("fetch", (event) => {
  const request = event.request, path = new URL(request.url).pathname;
  if (new URL(request.url).origin !== self.location.origin) return;
  if (request.method === "POST" && path === "/logout") event.waitUntil(caches.delete(pages));
  if (request.method !== "GET") return;
  if (still(path)) event.respondWith(fromFiles(request));
  else if (request.mode === "navigate" && kept(path)) event.respondWith(fromServer(request, path));
});

async function fromFiles(request) {
  const cache = await caches.open(files);
  const old = await cache.match(request);
  if (old) return old;
  const answer = await fetch(request);
  if (answer.ok) await cache.put(request, answer.clone());
  return answer;
}

async function fromServer(request, path) {
  const cache = await caches.open(pages);
  let answer;
  try {
    answer = await fetch(request);
  } catch (err) {
    const old = await cache.match(path);
    if (old) return old;
    throw err;
  }
  if (answer.ok && !answer.redirected) await cache.put(path, answer.clone());
  else if ([401, 403, 404, 410].includes(answer.status) || answer.redirected || answer.type === "opaqueredirect") await cache.delete(path);
  return answer;
}
