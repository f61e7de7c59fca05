// Keeps the pages of the bush on the phone, for when there is no signal: all of them from
// the first visit on. What is asked of the network comes first; after a few seconds without
// an answer the kept page is shown. Nothing but reading goes through here.
"use strict";

const name = "thawline-EDITION";
const home = new URL(self.registration.scope).pathname;
const bush = new RegExp("^" + home.replace(/[.*+?^${}()|[\]\\]/g, "\\$&") + "(site/[^/]+/?(PAGES)?)?$");
const files = ["style.css?v=EDITION", "script.js?v=EDITION", "pan.js?v=EDITION", "sugar.js?v=EDITION", "icon.svg"];
const again = 15 * 60000; // milliseconds after which all of it is fetched anew
let filled = 0;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(name).then((c) => c.addAll(files.map((f) => home + f))).then(fill).then(() => self.skipWaiting()));
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
  if (r.mode !== "navigate" || !(bush.test(url.pathname) || url.pathname.startsWith(home + "site/") || url.pathname === home + "status")) return;
  event.respondWith(page(r, bush.test(url.pathname)));
  if (bush.test(url.pathname) && (Date.now() - filled > again || /[?&](lang|units)=/.test(url.search))) event.waitUntil(fill());
});

// fill fetches every page of the bush, and the one that stands where nothing is kept. What
// does not come stays as it was.
async function fill() {
  filled = Date.now();
  try {
    const list = await fetch(home + "pages.json");
    if (!list.ok || list.redirected) return;
    const cache = await caches.open(name);
    await Promise.all((await list.json()).map(async (path) => {
      const answer = await fetch(path);
      if (answer.ok && !answer.redirected) await cache.put(path, answer);
    }));
  } catch {
    filled = 0; // no signal
  }
}

async function page(r, keeps) {
  const cache = await caches.open(name);
  const asked = fetch(r).then((answer) => {
    if (keeps && answer.ok && answer.type === "basic" && !answer.redirected) cache.put(r, answer.clone());
    return answer;
  });
  const patience = new Promise((done) => setTimeout(done, 6000));
  try {
    const answer = await Promise.race([asked, patience]);
    if (answer) return answer;
    return (keeps && (await old(cache, r))) || (await asked);
  } catch {
    return (keeps && (await old(cache, r))) || (await cache.match(home + "offline")) || Response.error();
  }
}

// old is the kept page, marked as such: it must not be taken for a fresh one.
async function old(cache, r) {
  const kept = (await cache.match(r)) || (await cache.match(r, { ignoreSearch: true }));
  if (!kept) return undefined;
  const text = (await kept.text()).replace("<body ", '<body data-old="1" ');
  return new Response(text, { headers: kept.headers });
}
