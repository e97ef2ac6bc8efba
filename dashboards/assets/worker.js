// Kept by the browser: the live page's frame, and a page that says that the computer is not there. No numbers, no runs.
"use strict";
const KEPT = "swardflow";
const LIVE = "/live", OFFLINE = "/offline";
const FIRST = ["/", LIVE];

// The live page as it is now, with the files that it loads; what it loaded before is forgotten.
async function keep() {
  const page = await fetch(LIVE);
  if (!page.ok || page.redirected) return;
  const files = Array.from((await page.clone().text()).matchAll(/(?:href|src)="(\/assets\/[^"]+)"/g), function (found) { return found[1]; });
  const cache = await caches.open(KEPT);
  await cache.put(LIVE, page);
  const wanted = [OFFLINE, ...new Set(files)];
  await Promise.all(wanted.map(async function (file) {
    const answer = await fetch(file);
    if (answer.ok) await cache.put(file, answer);
  }));
  const known = new Set([LIVE, ...wanted].map(function (file) { return new URL(file, location.origin).href; }));
  for (const old of await cache.keys()) if (!known.has(old.url)) await cache.delete(old);
}

async function instead(request, path) {
  const cache = await caches.open(KEPT);
  if (request.mode !== "navigate") return (await cache.match(request)) || Response.error();
  return (await cache.match(FIRST.includes(path) ? LIVE : OFFLINE)) || Response.error();
}

self.addEventListener("install", function (event) {
  self.skipWaiting();
  event.waitUntil(keep());
});
self.addEventListener("activate", function (event) { event.waitUntil(self.clients.claim()); });
self.addEventListener("fetch", function (event) {
  const request = event.request, path = new URL(request.url).pathname;
  if (request.method !== "GET" || !(request.mode === "navigate" || path.startsWith("/assets/"))) return;
  event.respondWith(fetch(request).catch(function () { return instead(request, path); }));
});
