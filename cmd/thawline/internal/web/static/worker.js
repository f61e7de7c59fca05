// Keeps the last seen pages of the bush on the phone, for when there is no
// signal. What is asked of the network comes first; after a few seconds without
// an answer the kept page is shown. Nothing but reading goes through here.
"use strict";

const name = "thawline-EDITION";
const home = new URL(self.registration.scope).pathname;
const site = new RegExp("^" + home.replace(/[.*+?^${}()|[\]\\]/g, "\\$&") + "(site/[^/]+/?(flow|season|boil|pan|rounds|records|skill|wall)?)?$");
const files = ["style.css?v=EDITION", "script.js?v=EDITION", "pan.js?v=EDITION", "icon.svg"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(name).then((c) => c.addAll(files.map((f) => home + f))).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys().then((all) => Promise.all(all.filter((n) => n !== name).map((n) => caches.delete(n)))).then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const r = event.request;
  const url = new URL(r.url);
  if (r.method !== "GET" || url.origin !== self.location.origin) return;
  if (files.some((f) => home + f === url.pathname + url.search)) {
    event.respondWith(caches.match(r).then((kept) => kept || fetch(r)));
    return;
  }
  if (r.mode === "navigate" && site.test(url.pathname)) event.respondWith(page(r));
});

async function page(r) {
  const cache = await caches.open(name);
  const asked = fetch(r).then((answer) => {
    if (answer.ok && answer.type === "basic" && !answer.redirected) cache.put(r, answer.clone());
    return answer;
  });
  const patience = new Promise((done) => setTimeout(done, 6000));
  try {
    const answer = await Promise.race([asked, patience]);
    if (answer) return answer;
    return (await old(cache, r)) || (await asked);
  } catch {
    return (await old(cache, r)) || Response.error();
  }
}

// old is the kept page, marked as such: it must not be taken for a fresh one.
async function old(cache, r) {
  const kept = (await cache.match(r)) || (await cache.match(r, { ignoreSearch: true }));
  if (!kept) return undefined;
  const text = (await kept.text()).replace("<body ", '<body data-old="1" ');
  return new Response(text, { headers: kept.headers });
}
