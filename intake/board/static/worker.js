// Keeps the count page and today's list on the phone, served by https alone: a reload without the board shows them as kept.
"use strict";
const PAGES = "vatside-pages", FILES = "vatside-files", WAIT = 6000;
const keptPage = (url) => url.pathname === "/c" || url.pathname === "/work";
const nameOf = (url) => url.origin + url.pathname + url.search;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

// A page tells its address and its files: the first visit is kept too, though it came before this worker.
self.addEventListener("message", (event) => {
  const asked = event.data || {};
  if (asked.keep) event.waitUntil(Promise.all([keep(new Request(asked.keep, { credentials: "same-origin" })), files(asked.files || [])]));
});
async function keep(request) {
  const answer = await fetch(request).catch(() => null);
  if (answer) await stored(request, answer);
}
async function files(names) {
  const box = await caches.open(FILES);
  const build = (name) => new URL(name).pathname.split("/")[2], kept = await box.keys();
  await Promise.all(kept.filter((one) => names.length && build(one.url) !== build(names[0])).map((one) => box.delete(one)));
  await Promise.all(names.map(async (name) => { if (!await box.match(name)) await box.add(name).catch(() => null); }));
}
async function stored(request, answer) {
  if (!answer.ok || answer.redirected || !keptPage(new URL(answer.url))) return;
  const headers = new Headers(answer.headers);
  headers.set("x-kept-ms", String(Date.now()));
  const box = await caches.open(PAGES), body = await answer.clone().blob();
  await box.put(nameOf(new URL(request.url)), new Response(body, { status: 200, headers }));
}

self.addEventListener("fetch", (event) => {
  const request = event.request, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  // Another person, or nobody: what was kept for the one before is not shown.
  if (request.method === "POST" && /^\/(sign-in|sign-out|join\/)/.test(url.pathname)) { event.waitUntil(caches.delete(PAGES)); return; }
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/s/")) event.respondWith(fromFiles(request));
  else if (request.mode === "navigate" && keptPage(url)) event.respondWith(fromBoard(event, url));
});
async function fromFiles(request) {
  const kept = await caches.match(request.url);
  return kept || fetch(request);
}
async function fromBoard(event, url) {
  const stop = new AbortController(), limit = setTimeout(() => stop.abort(), WAIT);
  try {
    const answer = await fetch(event.request, { signal: stop.signal, cache: "no-store" });
    event.waitUntil(stored(event.request, answer.clone()));
    return answer;
  } catch (error) {
    const box = await caches.open(PAGES), kept = await box.match(nameOf(url)) || await box.match(url.origin + url.pathname);
    return kept ? marked(kept) : Response.error();
  } finally { clearTimeout(limit); }
}
// The page must say that it is kept, and since when: the moment stands on its body.
async function marked(kept) {
  const text = (await kept.text()).replace("<body", '<body data-kept="' + Number(kept.headers.get("x-kept-ms")) + '"');
  const headers = new Headers(kept.headers);
  headers.delete("content-length");
  headers.delete("content-encoding");
  return new Response(text, { status: 200, headers });
}
