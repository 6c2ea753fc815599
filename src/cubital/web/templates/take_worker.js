// Keeps the empty page, its styles and its scripts, so that the page loads again where there is no connection.
// Nothing else is kept: no answer of the server, no tap, nothing of a patient.
"use strict";
const FILES = [{% for name in files %}{{ static(name) | tojson }}, {% endfor %}{% for name in fonts %}{{ ("/static/" ~ name) | tojson }}, {% endfor %}];
const SHELL = "/take/shell";
const KEPT = "cubital-take " + FILES.join(" ");

self.addEventListener("install", (event) => {
  const fill = async () => {
    const cache = await caches.open(KEPT);
    await cache.addAll([SHELL, ...FILES].map((address) => new Request(address, { cache: "no-cache" })));
    await self.skipWaiting();
  };
  event.waitUntil(fill());
});

self.addEventListener("activate", (event) => {
  const clear = async () => {
    const names = await caches.keys();
    await Promise.all(names.filter((name) => name.startsWith("cubital-take ") && name !== KEPT).map((name) => caches.delete(name)));
    await self.clients.claim();
  };
  event.waitUntil(clear());
});

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (address.origin !== self.location.origin || event.request.method !== "GET") return;
  if (event.request.mode === "navigate" && address.pathname === "/take") {
    event.respondWith(fetch(event.request).catch(() => caches.match(SHELL)));
  } else if (FILES.includes(address.pathname + address.search)) {
    event.respondWith(caches.match(event.request).then((kept) => kept || fetch(event.request)));
  }
});
