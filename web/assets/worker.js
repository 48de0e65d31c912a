// The offline worker: pages of the stove, the trays and a ballot that were
// open once open again without the network, as they last were. Everything
// else goes to the server as if there were no worker; nothing is ever sent
// from here.
"use strict";
const pages = "trivet-pages-1", files = "trivet-files-1";
const kept = (path) => /^\/(b|trays)\/[^/]+$/.test(path) || /^\/studies\/[^/]+\/(cooks(\/[^/]+)?|load)$/.test(path);
const still = (path) => /^\/(assets|ui)\//.test(path); // names carry a hash

self.addEventListener("install", (event) => {
  self.skipWaiting();
  // Where the browser can be told so, pages that are not kept do not wait for
  // the worker to wake up.
  if (event.addRoutes) event.addRoutes([
    ...["/b/*", "/trays/*", "/studies/*/cooks", "/studies/*/cooks/*", "/studies/*/load"].map((urlPattern) => ({ condition: { urlPattern }, source: "fetch-event" })),
    { condition: { requestMode: "navigate", requestMethod: "GET" }, source: "network" },
  ]).catch(() => {});
});
self.addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name !== pages && name !== files) await caches.delete(name);
  await self.clients.claim();
})()));

self.addEventListener("fetch", (event) => {
  const request = event.request, path = new URL(request.url).pathname;
  if (new URL(request.url).origin !== self.location.origin) return;
  if (request.method === "POST" && path === "/logout") event.waitUntil(caches.delete(pages));
  if (request.method !== "GET") return;
  if (still(path)) event.respondWith(fromFiles(event));
  else if (request.mode === "navigate" && kept(path)) event.respondWith(fromServer(event, path));
});

// What is kept is taken on the side, so that a page is shown as it comes.
async function fromFiles(event) {
  const request = event.request;
  const cache = await caches.open(files);
  const old = await cache.match(request);
  if (old) return old;
  const answer = await fetch(request);
  if (answer.ok) event.waitUntil(cache.put(request, answer.clone()));
  return answer;
}

async function fromServer(event, path) {
  const opened = caches.open(pages);
  let answer;
  try {
    answer = await fetch(event.request);
  } catch (err) {
    const old = await (await opened).match(path);
    if (old) return old;
    throw err;
  }
  const cache = await opened;
  if (answer.ok && !answer.redirected) event.waitUntil(cache.put(path, answer.clone()));
  else if ([401, 403, 404, 410].includes(answer.status) || answer.redirected || answer.type === "opaqueredirect") await cache.delete(path);
  return answer;
}
