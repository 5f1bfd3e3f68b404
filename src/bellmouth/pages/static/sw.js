// The offline shell: styles, scripts and one page that says that the server is away, and comes back
// by itself. Nothing of a car is ever kept here. The server puts the tag of its parts into the shell's
// name and into every address of theirs (view_shell.py).

const SHELL = "bellmouth-shell-1";
const PARTS = ["/offline", "/static/look.css", "/static/coach.css", "/static/site.js", "/static/live.js", "/static/mark.svg",
  "/static/coach/coach.js", "/static/coach/clock.js", "/static/coach/conduct.js", "/static/coach/face.js", "/static/coach/live.js",
  "/static/coach/seat.js", "/static/coach/sound.js", "/static/coach/chair.js", "/static/coach/kept.js", "/static/coach/windows.js"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((shell) => shell.addAll(PARTS)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys().then((names) => Promise.all(names.filter((name) => name !== SHELL).map((name) => caches.delete(name)))).then(() => self.clients.claim()));
});
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET") return;
  if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => caches.match("/offline")));
  else if (new URL(request.url).pathname.startsWith("/static/")) event.respondWith(fetch(request).catch(() => caches.match(request)));
});
